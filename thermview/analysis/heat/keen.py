"""A second, keener look where nothing heats at first sight.

A drift and a decay that every place may have of its own cost slow faint heat two thirds of its
evidence. But where nothing cools, a place hardly drifts by itself: the camera's drift is wide, and
measured with the noise. So the parts that nothing cooling reaches are searched again with offsets
alone given away, which tells the part; then a drift of that part's own must explain it worse, and
tells when the power came on where nothing else does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.ground import Ground, Split, highest_scores, prepare_ground
from thermview.analysis.heat.judged import Judged, weighed
from thermview.analysis.heat.nature import Nature
from thermview.analysis.heat.quick import Shares
from thermview.analysis.heat.sources import Explainer
from thermview.analysis.heat_model import Footprint
from thermview.analysis.prepare import Take
from thermview.analysis.responses import offsets
from thermview.analysis.waveform import Course, step_course

Floats = NDArray[np.float64]

KEEN_SCORE = 6.5
"""From here one part stands out: noise alone reaches 4.3 in a hundred recordings."""
NO_DRIFT, NO_DRIFT_UNTOLD = 2.5, 3.5
"""How far, in noises, heat must explain more than a drift of the part's own does (half a per cent
of drifts, by chance; more where the best of many times is taken)."""
TRIED_SHARES = (0.2, 0.35, 0.5)
"""Of the recording: beginnings that are tried where none is known; which part it is depends little
on that."""
SCAN_S = 0.5
EDGES_S = (1.5, 2.5)
"""A step so near the first or the last picture leaves too little to see by."""


@dataclass(frozen=True, slots=True, eq=False)
class Keen:
    """What the second look found, and what it stands on."""

    course: Course
    parted: Split
    ground: Ground
    judged: list[Judged]


def keen_look(
    take: Take,
    parted: Split,
    footprints: Sequence[Footprint],
    mm_per_px: float,
    course: Course | None,
) -> Keen | None:
    """Look again for heat at parts that nothing cooling reaches; None where there is none.

    Parameters
    ----------
    take : Take
    parted : Split
        Of the first look.
    footprints : sequence of Footprint
    mm_per_px : float
    course : Course or None
        Of the power; None where only these pictures could tell.
    """
    calm = [one for one in footprints if not parted.cooling.reaches(one)]
    if not calm:
        return None
    times_s = take.times_s
    bare = parted.without(offsets(take.segment, take.sway))

    def looked(known: Course) -> Keen:
        ground = prepare_ground(take, bare, known, mm_per_px)
        explainer = Explainer(calm, ground.field)
        found = explainer.explain(KEEN_SCORE)
        explainer.refit(found)
        sham = explainer.sham()
        judged = weighed(explainer, found, ground, bare, least=KEEN_SCORE, sham=sham)
        return Keen(known, bare, ground, judged)

    def highest(parts: list[Footprint], within: Split, tried: list[Course]) -> list[float]:
        return highest_scores(take, within, tried, Shares(parts, take.shape), mm_per_px)

    if course is not None:
        keen = looked(course)
        hot = _hottest(keen.judged)
        sure = hot is not None and highest([hot], parted, [course])[0] >= NO_DRIFT
        return keen if sure else None
    length_s = float(times_s[-1] - times_s[0])
    some = [step_course(times_s, times_s[0] + share * length_s) for share in TRIED_SHARES]
    hot = _hottest(looked(some[int(np.argmax(highest(calm, bare, some)))]).judged)
    if hot is None:
        return None
    steps = np.arange(times_s[0] + EDGES_S[0], times_s[-1] - EDGES_S[1], SCAN_S)
    tried = [step_course(times_s, float(on_s)) for on_s in steps]
    scores = highest([hot], parted, tried)
    if max(scores) < NO_DRIFT_UNTOLD:
        return None
    keen = looked(tried[int(np.argmax(scores))])
    return keen if _hottest(keen.judged) is not None else None


def _hottest(judged: Sequence[Judged]) -> Footprint | None:
    """Return the part that heats most surely."""
    heats = [one for one in judged if one.evidence.nature is Nature.HEATING]
    best = max(heats, key=lambda one: one.found.fit.score / one.found.excess, default=None)
    return best.found.footprint if best is not None else None
