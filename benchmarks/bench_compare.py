"""How well boards are compared, on hard pairs, beside a plain difference of rises.

    python benchmarks/bench_compare.py [--first 1000] [--pairs 60] [--cache DIR] [--changed 12] [-v]

The plain method reads each part's mean rise at the end of the common time, takes the boards' common
ratio out, and accuses beyond a threshold; the threshold is the one that accuses 0.5 % of the others
on the pairs `--tune` … (other seeds than those reported). It is told the power-on times.

"within limits" counts the missed parts whose true powers, as drawn, differ by no more than the
verdict's limits: those are rightly called alike. Chips that do one job are held against each other
too, on the second board alone. `--changed` of the pairs are compared again with the second
recording turned a quarter, scaled, and begun later.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from hard_films import Film
from hard_pairs import MemoryFootage, Pair, cached, landmarks_of, placement_csv
from numpy.typing import NDArray

from thermview.analysis.pair.alone import alone, among_equals
from thermview.analysis.pair.compare import Comparison, compare_boards, filmed, subjects_of
from thermview.analysis.pair.equals import FEWEST
from thermview.analysis.pair.verdict import Limits
from thermview.board import Part, fit_homography, parse_placement, part_outline_px

Floats = NDArray[np.float64]
WEAK_W = 0.1
LIMITS = Limits()
SCALED = 1.5
BEFORE_S = 1.0


@dataclass
class Tally:
    """Counts over many pairs."""

    cold: int = 0
    cold_found: int = 0
    hot: int = 0
    hot_found: int = 0
    weak: int = 0
    weak_found: int = 0
    others: int = 0
    accused: int = 0
    healthy: int = 0
    healthy_clean: int = 0
    warm: int = 0
    undecided: int = 0
    within: int = 0
    seconds: list[float] = field(default_factory=list)

    def add(self, pair: Pair, said: dict[str, str]) -> list[str]:
        """Count a pair's verdicts; return what was wrong in words."""
        wrong = []
        wanted = dict.fromkeys(pair.colder, "colder") | dict.fromkeys(pair.hotter, "hotter")
        accused = 0
        for part, watts in zip(pair.parts, pair.power_w, strict=True):
            verdict, right = said[part.ref], wanted.get(part.ref)
            if right is None:
                self.others += 1
                if verdict in ("colder", "hotter"):
                    accused += 1
                    wrong.append(f"{part.ref} {part.package} {1e3 * watts:.0f} mW said {verdict}")
                continue
            found = verdict == right
            self.cold += right == "colder"
            self.cold_found += right == "colder" and found
            self.hot += right == "hotter"
            self.hot_found += right == "hotter" and found
            self.weak += watts < WEAK_W
            self.weak_found += watts < WEAK_W and found
            self.within += not found and not beyond_limits(pair, part.ref)
            if not found:
                wrong.append(
                    f"{part.ref} {part.package} {1e3 * watts:.0f} mW {right} missed: {verdict}"
                )
        self.accused += accused
        if not wanted:
            self.healthy += 1
            self.healthy_clean += accused == 0
        self.warm += len(pair.warm)
        self.undecided += sum(said[ref] in ("unreadable", "out of view") for ref in pair.warm)
        return wrong

    def row(self, name: str) -> str:
        """Return a line of the table."""
        seconds = np.median(self.seconds) if self.seconds else 0.0
        return (
            f"{name:8}  cold {self.cold_found}/{self.cold}  hot {self.hot_found}/{self.hot}  "
            f"weak (< 100 mW) {self.weak_found}/{self.weak} (of the missed {self.within} within "
            f"limits)  others accused {self.accused}/"
            f"{self.others} = {self.accused / max(self.others, 1):.2%}  healthy pairs clean "
            f"{self.healthy_clean}/{self.healthy}  warm undecided {self.undecided}/{self.warm}  "
            f"median {seconds:.1f} s"
        )


def beyond_limits(pair: Pair, ref: str) -> bool:
    """Tell whether a part's true powers, the healthy parts' ratio taken out, call for a verdict."""
    sick = {*pair.colder, *pair.hotter}
    ratio = pair.true_bad_w / np.maximum(pair.true_good_w, 1e-9)
    names = [p.ref for p in pair.parts]
    healthy = [ratio[names.index(name)] for name in pair.warm if name not in sick]
    own = ratio[names.index(ref)] / (np.median(healthy) if healthy else 1.0)
    return bool(own < LIMITS.colder_below or own > LIMITS.hotter_above)


def ours(pair: Pair, bad: Film | None = None) -> Comparison:
    """Compare as the program does, from frames, list and landmarks alone."""
    bad = bad or pair.bad
    return compare_boards(
        MemoryFootage(pair.good, "good"),
        MemoryFootage(bad, "bad"),
        parse_placement(placement_csv(pair)),
        (landmarks_of(pair.good), landmarks_of(bad)),
    )


def verdicts_of(found: Comparison) -> dict[str, str]:
    """Return each part's verdict."""
    return {one.name: one.verdict for one in found.subjects}


def changed(film: Film) -> dict[str, Film]:
    """Return a film turned a quarter, scaled, and begun a second before the power."""
    turned = [(board, (v, film.counts.shape[2] - u)) for board, (u, v) in film.landmarks]
    scaled = [(board, (SCALED * u, SCALED * v)) for board, (u, v) in film.landmarks]
    larger = [
        cv2.resize(c.astype(np.float32), None, fx=SCALED, fy=SCALED, interpolation=cv2.INTER_CUBIC)
        for c in film.counts
    ]
    late = film.time_s > film.on_s - BEFORE_S
    return {
        "turned": replace(film, counts=np.rot90(film.counts, axes=(1, 2)), landmarks=turned),
        "scaled": replace(
            film, counts=np.round(np.stack(larger)).astype(np.uint16), landmarks=scaled
        ),
        "begun later": replace(film, counts=film.counts[late], time_s=film.time_s[late]),
    }


def equals_of(pair: Pair) -> list[tuple[str, ...]]:
    """Return groups of three or more chips of one kind that do one job."""
    jobs: dict[tuple[str, float], list[str]] = {}
    for part, watts in zip(pair.parts, pair.power_w, strict=True):
        if watts > 0:
            jobs.setdefault((part.package, float(watts)), []).append(part.ref)
    return [tuple(names) for names in jobs.values() if len(names) >= FEWEST]


@dataclass
class Equals:
    """Counts of chips compared with their equals on one board alone."""

    odd: int = 0
    found: int = 0
    others: int = 0
    accused: int = 0
    undecided: int = 0

    def add(self, pair: Pair) -> None:
        """Compare the chips of a pair's second board among themselves."""
        groups = equals_of(pair)
        if not groups:
            return
        parts, marks = parse_placement(placement_csv(pair)), landmarks_of(pair.bad)
        film = filmed(MemoryFootage(pair.bad, "bad"), parts, marks)
        found = among_equals(alone(film, subjects_of(parts, fit_homography(marks))), groups)
        for ref, verdict in verdicts_of(found).items():
            right = "colder" if ref in pair.colder else "hotter" if ref in pair.hotter else "alike"
            self.odd += right != "alike"
            self.found += right != "alike" and verdict == right
            self.others += right == "alike"
            self.accused += right == "alike" and verdict in ("colder", "hotter")
            self.undecided += verdict in ("unreadable", "out of view")

    def row(self) -> str:
        """Return a line of the table."""
        return (
            f"equals    odd {self.found}/{self.odd}  others accused {self.accused}/{self.others}  "
            f"undecided {self.undecided}"
        )


def plain_differences(pair: Pair) -> dict[str, float]:
    """Return each part's rise on the second board minus that on the first, common ratio out."""
    parts = parse_placement(placement_csv(pair))
    until_s = min(f.time_s[-1] - f.on_s for f in (pair.good, pair.bad))
    rises = np.array([_rises(film, parts, until_s) for film in (pair.good, pair.bad)])
    warm = rises[0] > 1.0
    ratio = float(np.median(rises[1][warm] / rises[0][warm])) if warm.any() else 1.0
    difference = rises[1] - ratio * rises[0]
    return {p.designator: float(d) for p, d in zip(parts, difference, strict=True)}


def _rises(film: Film, parts: tuple[Part, ...], until_s: float) -> Floats:
    view = fit_homography(landmarks_of(film))
    zero = film.counts[film.time_s < film.on_s].mean(axis=0)
    since = film.time_s - film.on_s
    late = film.counts[(since > until_s - 1.0) & (since <= until_s)].mean(axis=0)
    rise = (late - zero) * film.k_per_count
    out = []
    for part in parts:
        outline = part_outline_px(part, view)
        (x0, y0), (x1, y1) = np.floor(outline.min(axis=0)), np.ceil(outline.max(axis=0))
        cut = rise[int(max(y0, 0)) : int(y1), int(max(x0, 0)) : int(x1)]
        out.append(float(cut.mean()) if cut.size else 0.0)
    return np.array(out)


def plain_said(differences: dict[str, float], threshold_k: float) -> dict[str, str]:
    """Return the plain method's verdicts."""
    return {
        ref: "colder" if d < -threshold_k else "hotter" if d > threshold_k else "alike"
        for ref, d in differences.items()
    }


def tuned_threshold(seeds: range, cache: Path) -> float:
    """Return the threshold that accuses 0.5 % of the healthy parts."""
    sizes: list[float] = []
    for seed in seeds:
        pair = cached(seed, cache)
        sick = {*pair.colder, *pair.hotter}
        found = plain_differences(pair)
        sizes += [abs(d) for ref, d in found.items() if ref not in sick]
    return float(np.percentile(sizes, 99.5))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--pairs", type=int, default=60)
    parser.add_argument("--tune", type=int, default=30, help="plain method tuned on seeds 0 …")
    parser.add_argument("--changed", type=int, default=0, help="pairs that are compared again")
    parser.add_argument("--cache", type=Path, default=Path(".cache/pairs"))
    parser.add_argument("-v", "--verbose", action="store_true")
    options = parser.parse_args()
    mine, plain, equals = Tally(), Tally(), Equals()
    unlike: dict[str, list[int]] = {}
    threshold_k = tuned_threshold(range(options.tune), options.cache) if options.tune else 1.0
    for seed in range(options.first, options.first + options.pairs):
        pair = cached(seed, options.cache)
        start = time.perf_counter()
        found = ours(pair)
        mine.seconds.append(time.perf_counter() - start)
        said = verdicts_of(found)
        wrong = mine.add(pair, said)
        equals.add(pair)
        if seed < options.first + options.changed:
            for name, film in changed(pair.bad).items():
                again = verdicts_of(ours(pair, film))
                unlike.setdefault(name, []).append(sum(again[r] != said[r] for r in said))
        plain.add(pair, plain_said(plain_differences(pair), threshold_k))
        if options.verbose:
            for words in wrong:
                print(f"  seed {seed}: {words}", flush=True)
    print(f"seeds {options.first} … {options.first + options.pairs - 1}")
    print(mine.row("ours"))
    print(plain.row("plain"), f"(threshold {threshold_k:.2f} K)")
    print(equals.row())
    for name, counts in unlike.items():
        print(f"{name:12}  verdicts that changed, pair by pair: {counts}")


if __name__ == "__main__":
    main()
