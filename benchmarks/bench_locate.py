"""Which part dissipates: rates over kinds and seeds, beside two plain methods.

    python benchmarks/bench_locate.py [--kinds strong,faint] [--seeds 1000-1010] [--cache DIR]
                                      [--failures] [--without-list]

Each case is random (`hard_cases`): another board, fault, camera and room. Counted is the right part
first; on boards where nothing in view heats, `heated` false. The plain methods are the hottest
pixel and the largest rise, late against early, of a part's mean; on quiet boards they have no way
to say so, and count as right below six times the noise of such a mean.
"""

from __future__ import annotations

import argparse
import pickle
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from hard_cases import K_PER_COUNT, KINDS, Case, generate
from numpy.typing import NDArray
from trial_search import search

from thermview.analysis.heat.locate import Located, Nature, Place
from thermview.analysis.prepare import Shots
from thermview.board import BoardView, Landmark, Part, fit_homography, part_outline_px
from thermview.frames import SupplyLog
from thermview.regions import Polygon, pixel_indices

SIGMAS = 6.0
NEAR_PX = 2.5


@dataclass
class Tally:
    cases: int = 0
    ours: int = 0
    hottest: int = 0
    rise: int = 0
    ratios_log: list[float] = field(default_factory=list)
    ratios_none: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    healthy: int = 0
    healthy_seen: int = 0


def cached(kind: str, seed: int, folder: Path | None) -> Case:
    """Compute a case, or take it from a folder of cases computed before."""
    if folder is None:
        return generate(kind, seed)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{kind}-{seed}.pickle"
    if not path.exists():
        path.write_bytes(pickle.dumps(generate(kind, seed), protocol=5))
    case = pickle.loads(path.read_bytes())
    assert isinstance(case, Case)
    return case


def board_of(case: Case) -> tuple[list[Part], BoardView]:
    parts = [Part(p.ref, p.package, p.x, p.y, width_mm=p.w, height_mm=p.h) for p in case.parts]
    return parts, fit_homography([Landmark(mm, px) for mm, px in case.landmarks])


def find(case: Case, *, listed: bool = True) -> Located:
    """Locate as the command does, on frames in memory; unless `listed`, with no placement list."""
    same = (case.counts[1:, ::4, ::4] == case.counts[:-1, ::4, ::4]).mean(axis=(1, 2)) > 0.9
    held = np.concatenate([[False], same])
    segment = np.cumsum(~held & np.concatenate([[False], held[:-1]]))[~held]
    kelvin = case.counts[~held].astype(np.float32) * np.float32(K_PER_COUNT)
    parts, view = board_of(case)
    return search(
        Shots(kelvin, case.time_s[~held], segment),
        parts if listed else [],
        view if listed else None,
        supply=SupplyLog(*case.supply) if case.supply is not None else None,
        period_s=case.period_s,
        meant_warm=case.meant_warm,
    )


def plain(case: Case) -> tuple[str | None, str | None]:
    """Return the parts that the hottest pixel and the largest mean rise accuse."""
    parts, view = board_of(case)
    shape = (int(case.counts.shape[1]), int(case.counts.shape[2]))
    early = case.counts[:15].mean(axis=0) * K_PER_COUNT
    late = case.counts[-15:].mean(axis=0) * K_PER_COUNT
    rise = late - early
    rise -= np.median(rise)
    noise = float(np.median(np.abs(rise))) * 1.48
    inside: dict[str, NDArray[np.int32]] = {}
    for part in parts:
        if part.designator not in case.meant_warm:
            corners = tuple((float(x), float(y)) for x, y in part_outline_px(part, view))
            pixels = pixel_indices(Polygon(corners), shape)
            if pixels.size:
                inside[part.designator] = pixels
    flat_late, flat_rise = late.ravel(), rise.ravel()
    hot = max(inside, key=lambda ref: float(flat_late[inside[ref]].max()))
    up = max(inside, key=lambda ref: float(flat_rise[inside[ref]].mean()))
    silent = float(flat_rise[inside[up]].mean()) < SIGMAS * noise / np.sqrt(inside[up].size)
    return hot, None if silent else up


def judge(case: Case, tally: Tally) -> bool:
    start = time.perf_counter()
    located = find(case)
    tally.seconds.append(time.perf_counter() - start)
    tally.cases += 1
    hot, up = plain(case)
    tally.hottest += hot == case.culprit
    tally.rise += up == case.culprit
    if case.culprit is None:
        tally.ours += not located.heated
        return not located.heated
    heating = [s for s in located.suspects if s.nature is Nature.HEATING and not s.expected]
    right = bool(heating) and heating[0].part == case.culprit
    tally.ours += right
    if right:
        ratios = tally.ratios_none if case.supply is None else tally.ratios_log
        ratios.append(heating[0].power_w / case.power_w)
    return right


def judge_places(case: Case, tally: Tally) -> bool:
    """Tell whether heat is seen at the culprit, wherever else; counts the healthy heaters too."""
    start = time.perf_counter()
    located = find(case, listed=False)
    tally.seconds.append(time.perf_counter() - start)
    tally.cases += 1
    parts, view = board_of(case)
    outlines = {p.designator: part_outline_px(p, view).astype(np.float32) for p in parts}

    def at(ref: str) -> list[Place]:
        return [
            place
            for place in located.elsewhere
            if place.nature is Nature.HEATING
            and cv2.pointPolygonTest(outlines[ref], (place.x_px, place.y_px), True) > -NEAR_PX
        ]

    tally.healthy += len(case.meant_warm)
    tally.healthy_seen += sum(bool(at(ref)) for ref in case.meant_warm)
    right = bool(at(case.culprit)) if case.culprit is not None else not located.heated
    tally.ours += right
    return right


def factor(ratios: list[float]) -> str:
    """Return the median factor between told and true power."""
    return f"{np.exp(np.median(np.abs(np.log(ratios)))):.2f}" if ratios else "–"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--seeds", default="1000-1010", help="from-to, the last left out")
    parser.add_argument("--cache", type=Path, help="folder for cases, computed once")
    parser.add_argument("--failures", action="store_true", help="list what went wrong")
    parser.add_argument(
        "--without-list", action="store_true", help="is heat seen at the culprit with no list?"
    )
    options = parser.parse_args()
    first, last = (int(s) for s in options.seeds.split("-"))
    head = "right first   hottest px  largest rise  factor: log  none   s/recording"
    if options.without_list:
        head = "     seen    healthy heaters seen   s/recording"
    print(f"kind            {head}")
    for kind in options.kinds.split(","):
        tally = Tally()
        for seed in range(first, last):
            case = cached(kind, seed, options.cache)
            right = (judge_places if options.without_list else judge)(case, tally)
            if not right and options.failures:
                print(f"  {kind} {seed}: not {case.culprit}")
        n = tally.cases
        if options.without_list:
            print(
                f"{kind:16}{tally.ours / n:8.0%} /{n:3}"
                f"{tally.healthy_seen:12} /{tally.healthy:4}{np.median(tally.seconds):19.2f}",
                flush=True,
            )
            continue
        print(
            f"{kind:16}{tally.ours / n:8.0%} /{n:3}{tally.hottest / n:12.0%}{tally.rise / n:13.0%}"
            f"{factor(tally.ratios_log):>14}{factor(tally.ratios_none):>7}"
            f"{np.median(tally.seconds):12.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
