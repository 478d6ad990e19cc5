"""How long a search that is no longer wanted goes on, beside how long it takes in all.

    python benchmarks/bench_cancel.py [--seed 7]

The longest time between two moments at which it asks whether it is still wanted, in CPU seconds, so
that what else runs on the machine does not count.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np
from hard_cases import Case, generate

from thermview.analysis.heat.locate import analyse, footprints_of
from thermview.analysis.prepare import Shots
from thermview.analysis.stabilise import steady
from thermview.analysis.wanted import asking
from thermview.board import Landmark, Part, fit_homography
from thermview.frames import SupplyLog

KINDS = ("strong", "faint", "handheld", "running")
LONG = 4


class Asked:
    """Notes the longest time between two calls."""

    def __init__(self) -> None:
        self.longest_s = 0.0
        self._last_s = time.process_time()

    def __call__(self) -> None:
        now_s = time.process_time()
        self.longest_s = max(self.longest_s, now_s - self._last_s)
        self._last_s = now_s


def longer(case: Case) -> Case:
    """Return a case whose end lasts four times as long."""
    still = np.repeat(case.counts, LONG, axis=0)
    still[::2] += 1  # no frame is just the one before
    times_s = np.linspace(0.0, float(case.time_s[-1]) * LONG, len(still), dtype=np.float64)
    return replace(case, counts=still, time_s=times_s, supply=None)


def measure(case: Case) -> tuple[float, float]:
    """Return the longest wait and the whole time, s."""
    kelvin = case.counts.astype(np.float32) * np.float32(1 / 64)
    parts = [Part(p.ref, p.package, p.x, p.y, width_mm=p.w, height_mm=p.h) for p in case.parts]
    view = fit_homography([Landmark(mm, px) for mm, px in case.landmarks])
    supply = SupplyLog(*case.supply) if case.supply is not None else None
    asked, start_s = Asked(), time.process_time()
    with asking(asked):
        shots = Shots(kelvin, case.time_s, np.zeros(len(kelvin), np.int64))
        take, _ = steady(shots)
        prints = footprints_of(parts, view, take.shape)
        analyse(take, prints, view.mm_per_px, view=view, supply=supply)
    asked()
    return asked.longest_s, time.process_time() - start_s


def main() -> None:
    """Print both for some recordings."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    seed = parser.parse_args().seed
    cases = [(kind, generate(kind, seed)) for kind in KINDS]
    cases.append((f"strong, {LONG} times as long", longer(cases[0][1])))
    print("recording                longest wait, CPU s   whole, s   share")
    for name, case in cases:
        wait_s, whole_s = measure(case)
        print(f"{name:24}{wait_s:20.2f}{whole_s:11.1f}{wait_s / whole_s:8.0%}", flush=True)


if __name__ == "__main__":
    main()
