"""How near told watts are to the truth, and whether their stated uncertainty holds.

    python benchmarks/bench_watts.py [--seeds 3000-3010] [--kinds strong,rail]

Over parts that are told as heating and do heat, on the random boards of two generators that share
no code (`hard_cases`, `simulation.trials`), with the supply's log and without. A stated standard
uncertainty is honest where 68 % of the truths lie within one and 95 % within two. The median ratio
tells the bias, the median factor the error. All of it is simulated.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import bench_locate
import hard_cases
import numpy as np
import trial_search

from thermview.analysis.heat.locate import Located, Nature
from thermview.simulation.trials import random_film

KINDS = {
    "hard": ("strong", "rail", "running", "row", "small", "shutter", "faint", "pulsed"),
    "trial": ("strong", "others", "running", "crowded", "small camera", "shutter", "faint"),
}


@dataclass(frozen=True)
class Told:
    """One part's power as told, and in truth."""

    power_w: float
    sigma_w: float
    truth_w: float
    logged: bool


def told_of(located: Located, truths_w: dict[str, float]) -> Iterator[Told]:
    """Return what is told of the parts that do heat."""
    logged = located.supply_w is not None
    for one in located.suspects:
        truth_w = truths_w.get(one.part, 0.0)
        if one.nature is Nature.HEATING and truth_w > 0:
            yield Told(one.power_w, one.power_sigma_w, truth_w, logged)


def of_case(kind: str, seed: int) -> Iterator[Told]:
    """Return the same for one of the hard cases."""
    case = hard_cases.generate(kind, seed)
    truths_w = {part.ref: part.power_w for part in case.parts}
    return told_of(bench_locate.find(case), truths_w)


def of_trial(kind: str, seed: int) -> Iterator[Told]:
    """Return the same for a trial; only the culprit's power is known there."""
    film = random_film(seed, kind)
    truth = film.truth
    return told_of(trial_search.find(film), {str(truth.part): truth.power_w or 0.0})


def line(name: str, found: list[Told]) -> str:
    """Return a line of the table."""
    told, truth, sigma = np.array([(o.power_w, o.truth_w, o.sigma_w) for o in found]).T
    off, logs = np.abs(told - truth) / sigma, np.log(told / truth)
    return (
        f"{name:22}{len(found):6}{np.mean(off < 1):10.0%}{np.mean(off < 2):10.0%}"
        f"{np.exp(np.median(logs)):14.2f}{np.exp(np.median(np.abs(logs))):10.2f}"
        f"{np.median(sigma / told):12.0%}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="3000-3010", help="from-to, the last left out")
    parser.add_argument("--kinds", help="of both generators; all unless given")
    options = parser.parse_args()
    first, last = (int(word) for word in options.seeds.split("-"))
    found: dict[str, list[Told]] = defaultdict(list)
    for generator, of in (("hard", of_case), ("trial", of_trial)):
        for kind in KINDS[generator]:
            if options.kinds and kind not in options.kinds.split(","):
                continue
            for seed in range(first, last):
                for one in of(kind, seed):
                    found[f"{generator}, {'log' if one.logged else 'no log'}"].append(one)
    found["all"] = [one for some in found.values() for one in some]
    print("                       parts   within 1  within 2  median ratio    factor  told sigma")
    for name, some in sorted(found.items()):
        print(line(name, some))


if __name__ == "__main__":
    main()
