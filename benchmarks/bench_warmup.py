"""Does the warm-up's forecast hold on boards, where heat spreads and nothing is one exponential?

    python benchmarks/bench_warmup.py [--seeds 3000-3010]

Random boards of the simulation run from cold at constant powers; the forecast for the parts that
heat most, and for board beside them, is asked as time goes on, through a camera's noise and drift.
The true end is the heat flow's steady state. Stated is 95 %. All of it is simulated.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.warmup import forecast
from thermview.simulation.random_board import random_circuit

Floats = NDArray[np.float64]
ASKED_S = (45.0, 90.0, 180.0, 360.0, 600.0)
RATE_HZ = 2.0
STEPPED_S = 60.0
"""From the steady state solved to that of the steps, a little higher under small parts."""
PARTS = 6
NOISE_K, DRIFT_K, DRIFT_S = 0.015, 0.05, 60.0
"""Of a region's mean; and of the camera, after it has run in."""


@dataclass(frozen=True)
class Curve:
    """A region's readings, and where it ends in truth, K."""

    values_k: Floats
    end_k: float


def curves(seed: int) -> tuple[Floats, list[Curve]]:
    """Return times, s, and the curves of one board."""
    rng = np.random.default_rng([seed, 555])
    circuit = random_circuit(rng)
    count = len(circuit.parts)
    running = rng.choice(count, int(rng.integers(3, 10)), replace=False)
    powers = np.zeros(count)
    powers[running] = np.exp(rng.uniform(np.log(0.05), np.log(0.6), len(running)))
    board = circuit.heat_model()
    warmest = running[np.argsort(-powers[running])][:PARTS]
    cells = rng.integers(0, board.rise_k.size, PARTS)
    times_s = np.arange(0.0, max(ASKED_S) + 1.0, 1.0 / RATE_HZ)
    rises = np.zeros((len(times_s), len(warmest) + PARTS))
    for at in range(1, len(times_s)):
        board.advance(1.0 / RATE_HZ, powers)
        rises[at] = np.concatenate([board.body_rise_k[warmest], board.rise_k.ravel()[cells]])
    board.settle(powers)
    board.advance(STEPPED_S, powers)
    ends = np.concatenate([board.body_rise_k[warmest], board.rise_k.ravel()[cells]])
    drift = np.zeros(len(times_s))
    keep = np.exp(-1.0 / RATE_HZ / DRIFT_S)
    for at in range(1, len(times_s)):
        drift[at] = keep * drift[at - 1] + DRIFT_K * np.sqrt(1 - keep**2) * rng.normal()
    seen = rises + drift[:, None] + rng.normal(0.0, NOISE_K, rises.shape)
    return times_s, [Curve(300.0 + seen[:, i], 300.0 + float(ends[i])) for i in range(len(ends))]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="3000-3010", help="from-to, the last left out")
    first, last = (int(word) for word in parser.parse_args().seeds.split("-"))
    held: dict[float, list[bool]] = defaultdict(list)
    off: dict[float, list[float]] = defaultdict(list)
    wide: dict[float, list[float]] = defaultdict(list)
    asked: dict[float, int] = defaultdict(int)
    for seed in range(first, last):
        times_s, found = curves(seed)
        for curve in found:
            for until_s in ASKED_S:
                asked[until_s] += 1
                so_far = times_s <= until_s
                told = forecast(times_s[so_far], curve.values_k[so_far])
                if told is not None:
                    change = abs(curve.end_k - 300.0)
                    held[until_s].append(told.low_k <= curve.end_k <= told.high_k)
                    off[until_s].append(abs(told.end_k - curve.end_k) / change)
                    wide[until_s].append(told.half_k / change)
    print("asked after s   told of asked   within 95 %   off, of the change   stated half")
    for until_s in ASKED_S:
        if held[until_s]:
            print(
                f"{until_s:13.0f}{len(held[until_s]):8} of {asked[until_s]:4}"
                f"{np.mean(held[until_s]):14.0%}{np.median(off[until_s]):21.1%}"
                f"{np.median(wide[until_s]):14.1%}"
            )
        else:
            print(f"{until_s:13.0f}{0:8} of {asked[until_s]:4}")
    every = [one for some in held.values() for one in some]
    print(f"all told {len(every)}, within {np.mean(every):.0%}")


if __name__ == "__main__":
    main()
