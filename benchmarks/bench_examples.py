"""Whether findings hold when another program's recordings are changed in what should not matter.

    python benchmarks/bench_examples.py FOLDER [--seed 0] [--only faint,pair]

FOLDER holds ramp-*.h5 and pair-good.h5, pair-bad.h5 with placement lists and landmarks beside them,
and truth.json. Each is turned, thinned out in time, cut, made coarser and noisier, its landmarks
are misplaced by 0.7 px, a wide drift is laid over it, and the supply's log is left out; then
`thermview locate` and `thermview compare` are asked as a user would. The recordings are simulated.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import h5py
import hdf5plugin  # noqa: F401 - the recordings may be packed with any of its filters
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Change = Callable[["Example", np.random.Generator], "Example"]


@dataclass(frozen=True)
class Example:
    """A recording: counts (frame, row, column), times s, K per count, landmarks, supply's log."""

    counts: Floats
    times_s: Floats
    scale: float
    marks: list[dict[str, Any]]
    supply: dict[str, Floats] | None

    @classmethod
    def read(cls, path: Path) -> Example:
        """Read one with what lies beside it."""
        marks = json.loads(path.with_suffix(".landmarks.json").read_text())["landmarks"]
        with h5py.File(path) as file:
            counts = file["entry/thermal/counts"]
            log = file.get("entry/supply")
            supply = None if log is None else {name: log[name][()] for name in log}
            scale, times_s = float(counts.attrs["scale_factor"]), file["entry/thermal/time"][()]
            return cls(counts[()].astype(float), times_s, scale, marks, supply)

    def write(self, path: Path, parts: Path) -> Path:
        """Write it with landmarks and a placement list beside it."""
        with h5py.File(path, "w") as file:
            whole = np.clip(np.rint(self.counts), 0, 65535).astype(np.uint16)
            counts = file.create_dataset("entry/thermal/counts", data=whole)
            counts.attrs.update(scale_factor=self.scale, add_offset=0.0, units="K")
            file["entry/thermal/time"] = self.times_s
            for name, values in (self.supply or {}).items():
                file[f"entry/supply/{name}"] = values
        path.with_suffix(".landmarks.json").write_text(json.dumps({"landmarks": self.marks}))
        shutil.copy(parts, path.with_suffix(".parts.csv"))
        return path

    def marked(self, moved: Callable[[float, float], tuple[float, float]]) -> Example:
        """Return it with its landmarks elsewhere in the picture."""
        return replace(self, marks=[m | {"pixel": list(moved(*m["pixel"]))} for m in self.marks])


def cut(example: Example, chosen: slice) -> Example:
    """Return some of the frames."""
    return replace(example, counts=example.counts[chosen], times_s=example.times_s[chosen])


def turned(example: Example, _: np.random.Generator) -> Example:
    """Turn the camera a quarter."""
    width = example.counts.shape[2]
    seen = replace(example, counts=np.rot90(example.counts, 1, (1, 2)))
    return seen.marked(lambda x, y: (y, width - x))


def coarse(example: Example, _: np.random.Generator) -> Example:
    """Film with half as many pixels each way."""
    frames, rows, columns = example.counts.shape
    even = example.counts[:, : rows // 2 * 2, : columns // 2 * 2]
    mean = even.reshape(frames, rows // 2, 2, columns // 2, 2).mean(axis=(2, 4))
    return replace(example, counts=mean).marked(lambda x, y: (x / 2, y / 2))


def noisy(example: Example, rng: np.random.Generator) -> Example:
    """Add noise of 30 mK."""
    noise = rng.normal(0.0, 0.03 / example.scale, example.counts.shape)
    return replace(example, counts=example.counts + noise)


def drifting(example: Example, _: np.random.Generator) -> Example:
    """Add a drift that is wide in space and slow."""
    y, x = np.mgrid[0 : example.counts.shape[1], 0 : example.counts.shape[2]] / 200.0
    since = (example.times_s - example.times_s[0]) / np.ptp(example.times_s)
    wave, way = np.sin(1.4 * np.pi * since)[:, None, None], (since**2)[:, None, None]
    drift_k = wave * (0.3 * x - 0.2 * y) + way * 0.4 * y
    return replace(example, counts=example.counts + drift_k / example.scale)


def misplaced(example: Example, rng: np.random.Generator) -> Example:
    """Misplace the landmarks by 0.7 px each way."""
    return example.marked(lambda x, y: (x + rng.normal(0, 0.7), y + rng.normal(0, 0.7)))


CHANGES: dict[str, Change] = {
    "as it is": lambda one, _: one,
    "no log": lambda one, _: replace(one, supply=None),
    "turned": turned,
    "half the rate": lambda one, _: cut(one, slice(None, None, 2)),
    "begun later": lambda one, _: cut(one, slice(12, None)),
    "a fifth shorter": lambda one, _: cut(one, slice(0, len(one.times_s) * 4 // 5)),
    "noisier": noisy,
    "half the pixels": coarse,
    "marks off": misplaced,
    "drift": drifting,
}


def asked(command: str, *words: str | Path) -> dict[str, Any]:
    """Return what a command says, as JSON."""
    program = [sys.executable, "-c", "from thermview.cli.main import main; main()"]
    line = [*program, command, *map(str, words), "--format", "json"]
    done = subprocess.run(line, capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout))


def located(path: Path, truth: dict[str, Any], logged: bool) -> tuple[bool, str]:
    """Tell whether the right part is first (or nothing, where nothing heats), and its power."""
    period = truth.get("period_s")
    told = asked("locate", path, *([] if period is None or logged else ["--period", str(period)]))
    if truth["part"] is None:
        return not told["heated"], ""
    first = (told["suspects"] or [{"part": "none", "nature": "", "power_W": 0.0}])[0]
    right = first["part"] == truth["part"] and first["nature"] == "heating"
    power_w = first["power_W"]
    return right, f"{first['part']} {1e3 * power_w:.2f} of {1e3 * truth['power_W']:.2f} mW"


def compared(good: Path, bad: Path, truth: dict[str, Any]) -> tuple[bool, str]:
    """Tell whether just the parts that differ are named."""
    said: dict[str, set[str]] = {"colder": set(), "hotter": set()}
    for part in asked("compare", good, bad)["parts"]:
        if part["verdict"] in said:
            said[part["verdict"]].add(part["part"])
    right = all(said[kind] == set(truth[kind]) for kind in said)
    return right, "; ".join(
        f"{kind} {' '.join(sorted(refs)) or '–'}" for kind, refs in said.items()
    )


def main() -> None:
    """Print each example under each change, and how many were right."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("folder", type=Path)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", default="strong,faint,mirror,handheld,pulsed,quiet,pair")
    chosen = options.parse_args()
    folder: Path = chosen.folder
    truth = json.loads((folder / "truth.json").read_text())
    right = cases = 0
    with tempfile.TemporaryDirectory() as scratch:
        for kind in chosen.only.split(","):
            name = "pair-bad" if kind == "pair" else f"ramp-{kind}"
            example, parts = Example.read(folder / f"{name}.h5"), folder / f"{name}.parts.csv"
            for change, make in CHANGES.items():
                made = make(example, np.random.default_rng(chosen.seed))
                path = made.write(Path(scratch) / f"{name}.h5", parts)
                if kind == "pair":
                    good, words = compared(folder / "pair-good.h5", path, truth["pair"])
                else:
                    good, words = located(path, truth[name], made.supply is not None)
                cases, right = cases + 1, right + good
                print(f"{kind:9s} {change:16s} {'right' if good else 'WRONG'}  {words}", flush=True)
    print(f"{right} of {cases} right")


if __name__ == "__main__":
    main()
