"""Glowing tracks and heat from the far side: how often told, how far off, how often falsely.

    python benchmarks/bench_tracks.py [--seeds 500-520]

Random boards of `simulation.trials`. A track runs from the board's edge, under whatever parts lie
there, to another edge ("track") or to a short somewhere on the board ("track to a short"). All of
it is simulated.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np
import trial_search
from numpy.typing import NDArray

from thermview.analysis.heat.locate import Located, Nature
from thermview.simulation.circuit import Track
from thermview.simulation.story import Story, Truth
from thermview.simulation.trials import Draft, film, random_story

Floats = NDArray[np.float64]
TO_A_SHORT = "track to a short"
KINDS = ("track", TO_A_SHORT, "far side", "strong", "quiet", "running")


@dataclass
class Tally:
    """What came of one kind; distances are mm."""

    cases: int = 0
    paths: int = 0
    broken: int = 0
    blamed: int = 0
    end_mm: list[float] = field(default_factory=list)
    covered: list[float] = field(default_factory=list)
    place_mm: list[float] = field(default_factory=list)
    sigmas: list[float] = field(default_factory=list)


def to_a_short(seed: int) -> Story:
    """Return the story of a track that ends at a short on the board, on one bend."""
    draft = Draft(np.random.default_rng([seed, 4321]))
    board, rng = draft.circuit, draft.rng
    width, height = board.width_mm, board.height_mm
    x, y = draft.uniform(20, width - 20), draft.uniform(20, height - 20)
    along = draft.uniform(12, height - 12), draft.uniform(12, width - 12)
    corners = [((0.0, along[0]), (x, along[0]), (x, y)), ((along[1], 0.0), (along[1], y), (x, y))]
    chosen = corners[int(rng.integers(2))]
    draft.circuit = replace(board, tracks=(Track(chosen, draft.uniform(0.4, 1.5)),))
    fed = draft.fed(draft.between(0.1, 0.8), None)
    programme = replace(fed, tracks=((len(board.parts), fed.short_ohm),))
    return draft.story(TO_A_SHORT, programme, Truth())


def judge(kind: str, seed: int, tally: Tally) -> None:
    """Add what comes of one board."""
    story = to_a_short(seed) if kind == TO_A_SHORT else random_story(seed, kind)
    logged = bool(np.random.default_rng([seed, 99]).random() > 1 / 3)
    located = trial_search.find(film(story, seed, supply_log=logged))
    tally.cases += 1
    paths = [np.array(place.path_mm) for place in located.elsewhere if place.path_mm]
    tally.paths += bool(paths)
    tally.broken += len(paths) > 1
    if kind in ("track", TO_A_SHORT):
        heating = [one for one in located.suspects if one.nature is Nature.HEATING]
        tally.blamed += bool(heating)
        if paths:
            corners = np.array(story.circuit.tracks[0].corners_mm)
            ends = corners[[-1]] if kind == TO_A_SHORT else corners[[0, -1]]
            tally.end_mm.append(float(np.hypot(*(ends - paths[0][-1]).T).min()))
            tally.covered.append(_length(paths[0]) / _length(corners))
    if kind == "far side":
        _place(story, located, tally)


def _length(course: Floats) -> float:
    return float(np.hypot(*np.diff(course, axis=0).T).sum())


def _place(story: Story, located: Located, tally: Tally) -> None:
    """Note how far the strongest heat on no listed part is from the part behind the board."""
    part = next(p for p in story.circuit.parts if p.designator == story.truth.part)
    for place in located.elsewhere[:1]:
        if place.x_mm is not None and place.y_mm is not None and place.sigma_mm is not None:
            off_mm = float(np.hypot(place.x_mm - part.x_mm, place.y_mm - part.y_mm))
            tally.place_mm.append(off_mm)
            tally.sigmas.append(off_mm / place.sigma_mm)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="500-520", help="from-to, the last left out")
    parser.add_argument("--kinds", default=",".join(KINDS))
    options = parser.parse_args()
    first, last = (int(word) for word in options.seeds.split("-"))
    for kind in options.kinds.split(","):
        tally = Tally()
        for seed in range(first, last):
            judge(kind, seed, tally)
        words = f"{kind:18} told as a track {tally.paths} of {tally.cases}"
        if tally.end_mm:
            end_mm = np.array(tally.end_mm)
            words += (
                f", in pieces {tally.broken}; end off {np.median(end_mm):.1f} mm (median), within "
                f"5 mm {np.mean(end_mm < 5):.0%}; length told {np.median(tally.covered):.0%}; "
                f"a part blamed {tally.blamed}"
            )
        if tally.place_mm:
            sigmas = np.array(tally.sigmas)
            words += (
                f"; told as a place {len(sigmas)}: off {np.median(tally.place_mm):.2f} mm "
                f"(median), within 1 sigma {np.mean(sigmas < 1):.0%}, 2 {np.mean(sigmas < 2):.0%}"
            )
        print(words, flush=True)


if __name__ == "__main__":
    main()
