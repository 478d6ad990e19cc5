"""How sure watts are of metal that mirrors, beside those of dull parts on the same random boards.

    python benchmarks/bench_shiny_watts.py [--boards 70]

Each board is filmed twice, once with a short in a metal can and once in a dull part, of like
power, and the part's watts are compared with the truth, in units of their stated standard
uncertainty. What `session/shiny_findings.py` widens the one by is the ratio of both.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import trial_search
from numpy.typing import NDArray

from thermview.simulation.anatomy import Kind, kind_of
from thermview.simulation.story import Truth
from thermview.simulation.trials import Draft, Film, film

METAL = (Kind.CRYSTAL, Kind.CAN_CAPACITOR)
DULL = (Kind.CHIP, Kind.POWER_CHIP, Kind.CERAMIC_CAPACITOR)
POWER_W = (0.02, 0.08)


@dataclass(frozen=True)
class Watts:
    found_w: float
    sigma_w: float
    truth_w: float


def shorted(board: int, kinds: tuple[Kind, ...]) -> tuple[str, float, Film] | None:
    """Return a part of one of these kinds, its power, and the film of its short."""
    draft = Draft(np.random.default_rng([77, board]))
    able = [i for i, part in enumerate(draft.circuit.parts) if kind_of(part) in kinds]
    if not able:
        return None
    culprit, power_w = int(draft.rng.choice(able)), draft.between(*POWER_W)
    part = draft.circuit.parts[culprit].designator
    truth = Truth(part, power_w=power_w)
    return part, power_w, film(draft.story("strong", draft.fed(power_w, culprit), truth), board)


def watts_of(part: str, power_w: float, shown: Film) -> Watts | None:
    """Return what is found of a part's power; None where the part is not listed."""
    located = trial_search.find(shown)
    for suspect in located.suspects:
        if suspect.part == part:
            return Watts(suspect.power_w, suspect.power_sigma_w, power_w)
    return None


def off(found: list[Watts]) -> NDArray[np.float64]:
    """Return how far off each one is, in its own standard uncertainties."""
    return np.array([abs(one.found_w - one.truth_w) / one.sigma_w for one in found])


def main() -> None:
    """Print how far off both kinds are, and the ratio."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=70)
    boards = parser.parse_args().boards
    middle, wide = {}, {}
    for name, kinds in (("metal", METAL), ("dull", DULL)):
        cases = [case for board in range(boards) if (case := shorted(board, kinds)) is not None]
        found = [watts for case in cases if (watts := watts_of(*case)) is not None]
        z = off(found)
        middle[name], wide[name] = (float(np.quantile(z, share)) for share in (0.5, 0.68))
        print(
            f"{name:6s} listed {len(found)} of {len(cases)}; off by {middle[name]:.2f} (median) "
            f"and {wide[name]:.2f} (of 68 %) stated standard uncertainties"
        )
    print(
        f"metal beside dull: {middle['metal'] / middle['dull']:.2f} times (median), "
        f"{wide['metal'] / wide['dull']:.2f} times (of 68 %)"
    )


if __name__ == "__main__":
    main()
