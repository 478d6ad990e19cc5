"""The regression that tells heat from reflection, fitted anew and cross-validated.

    python benchmarks/fit_nature.py [--kinds mirror,faint,quiet] [--seeds 40000-40010] [--less 2]

Of every source and false source that `locate` judges in random recordings of both simulators
(`hard_cases`, `simulation.trials`), the terms of its evidence are weighed against whether that part
dissipates. What lies near one that does, but is none, teaches nothing and is left out. Folds are of
whole recordings. Printed are the verdicts by the weights that stand in `heat/nature.py` and by
those fitted without each recording, then the weights fitted to all; `--less` comes off the constant
of both, for false heat does more harm than heat that is missed.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Any
from unittest.mock import patch

import bench_locate
import hard_cases
import numpy as np
import trial_search
from numpy.typing import NDArray
from scipy.optimize import minimize

from thermview.analysis.heat import judged, nature
from thermview.board import BoardView, Part, part_outline_px
from thermview.simulation import trials

Floats = NDArray[np.float64]

APART_PX = 20.0
FOLDS = 8
MOST_FALSE = 8.0
"""A recording's false sources weigh no more together, so that one full of them does not rule."""
RIDGE = 1.0


@dataclass
class Judgement:
    recording: int
    heats: bool
    evidence: nature.Evidence


def heaters_of(parts: list[Part], view: BoardView, hot: set[str]) -> dict[str, Floats]:
    """Return where the parts that dissipate are, px."""
    shown = [part for part in parts if part.designator in hot]
    return {part.designator: part_outline_px(part, view).mean(axis=0) for part in shown}


def judgements(simulator: str, kind: str, seed: int, recording: int) -> list[Judgement]:
    """Search one recording; return what was judged of what is surely heat, or surely not."""
    seen: list[tuple[str, Floats, nature.Evidence]] = []

    def listen(found: Any, *arguments: Any, **more: Any) -> nature.Evidence:
        evidence = nature.judge(found, *arguments, **more)
        seen.append((found.footprint.name, np.array(found.footprint.centre_px), evidence))
        return evidence

    with patch.object(judged, "judge", listen):
        if simulator == "hard":
            case = hard_cases.generate(kind, seed)
            parts, view = bench_locate.board_of(case)
            hot = {part.ref for part in case.parts if part.power_w > 0}
            bench_locate.find(case)
        else:
            film = trials.random_film(seed, kind)
            story = trials.random_story(seed, kind)
            parts, view = list(film.parts), trial_search.view_of(film)
            moments = np.linspace(0.0, story.length_s, 50)
            powers = [story.programme.powers_w(t, story.circuit.places) for t in moments]
            warm = np.max(powers, axis=0)[: len(parts)] > 0
            hot = {part.designator for part, on in zip(parts, warm, strict=True) if on}
            trial_search.find(film)
    places = heaters_of(parts, view, hot)
    told = []
    for name, centre, evidence in seen:
        near = min((np.hypot(*(centre - at)) for at in places.values()), default=np.inf)
        if name in places or near > APART_PX:
            told.append(Judgement(recording, name in places, evidence))
    return told


def fitted(terms: Floats, heats: Floats, weight: Floats) -> Floats:
    """Return the weights of a logistic regression with a light ridge."""

    def cost(weights: Floats) -> tuple[float, Floats]:
        z = terms @ weights
        slope = terms.T @ (weight * (1 / (1 + np.exp(-z)) - heats))
        free = np.append(0.0, weights[1:])
        loss = float(np.sum(weight * (np.logaddexp(0, z) - heats * z)) + RIDGE * free @ free / 2)
        return loss, slope + RIDGE * free

    return np.asarray(minimize(cost, np.zeros(terms.shape[1]), jac=True).x)


def tally(title: str, told: list[Judgement], likely: Floats) -> None:
    """Print how many verdicts are right by these likelihoods, with all rules beside them."""
    verdicts = []
    for one, value in zip(told, likely, strict=True):
        with patch.object(nature.Evidence, "likely", float(value)):
            verdicts.append(one.evidence.nature is nature.Nature.HEATING)
    heats = np.array([one.heats for one in told])
    said = np.array(verdicts)
    false = {one.recording for one, yes in zip(told, verdicts, strict=True) if yes > one.heats}
    print(
        f"{title:12s} heat told {said[heats].sum():4d} of {heats.sum():4d}, false "
        f"{said[~heats].sum():3d} of {(~heats).sum():4d} in {len(false)} recordings"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", default="mirror,faint,strong,quiet")
    parser.add_argument("--seeds", default="40000-40010", help="from-to, the last left out")
    parser.add_argument("--less", type=float, default=2.0, help="comes off the constant")
    options = parser.parse_args()
    first, last = (int(s) for s in options.seeds.split("-"))
    told: list[Judgement] = []
    recordings = 0
    for kind in options.kinds.split(","):
        for seed in range(first, last):
            for simulator, kinds in (("hard", hard_cases.KINDS), ("trial", trials.KINDS)):
                if kind in kinds:
                    told += judgements(simulator, kind, seed, recordings)
                    recordings += 1
    terms = np.array([one.evidence.terms for one in told])
    heats = np.array([one.heats for one in told], np.float64)
    of = np.array([one.recording for one in told])
    false = np.bincount(of[heats == 0], minlength=recordings)
    weight = np.where(heats > 0, 1.0, np.minimum(1.0, MOST_FALSE / np.maximum(false[of], 1)))
    fold = np.random.default_rng(0).permutation(recordings)[of] % FOLDS
    left_out = np.empty(len(told))
    less = np.append(options.less, np.zeros(terms.shape[1] - 1))
    for number in range(FOLDS):
        other = fold != number
        if not other.all():
            weights = fitted(terms[other], heats[other], weight[other]) - less
            left_out[~other] = 1 / (1 + np.exp(-terms[~other] @ weights))
    print(f"{len(told)} sources and false sources of {recordings} recordings")
    tally("as they are", told, 1 / (1 + np.exp(-terms @ np.array(nature.WEIGHTS))))
    tally("left out", told, left_out)
    print("weights fitted to all:", np.round(fitted(terms, heats, weight) - less, 2))


if __name__ == "__main__":
    main()
