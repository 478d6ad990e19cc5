"""What is found in the pictures, at parts and elsewhere, weighed and judged one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.ground import Ground, Split
from thermview.analysis.heat.nature import Evidence, Nature, judge
from thermview.analysis.heat.quick import QUICK_KAPPAS, QUICK_LAGS
from thermview.analysis.heat.sources import (
    MOST_SOURCES,
    NEAR_PX,
    SIDE,
    Explainer,
    Field,
    Fit,
    Found,
    best_fit,
    settle,
)
from thermview.analysis.heat.spots import SIDES_PX, SpotSearch, bodies_at
from thermview.analysis.heat.watts import Drawn, drawn_power
from thermview.analysis.heat_model import Footprint, HeatModel

Floats = NDArray[np.float64]

LEAST_SCORE, LEAST_UNTOLD = 4.3, 5.0
"""Signal to noise below which nothing is looked at: of a few hundred templates noise alone makes
one reach 4.3 in a hundred recordings; more where the frames had to tell when the power came on."""
DOUBTED_SCORE = 6.5
"""What is weaker is listed only as heat."""
SPOT_SCORE, BODY_SCORE = 9.0, 7.0
"""Where spots beside listed parts are looked for, and bodies where there is no list."""
BROAD_M2, BROAD_SCORE = 5e-6, 30.0
"""As broad and on no part it may be a hand's warmth that spreads: it takes more to be listed."""
WIDE_PX, WIDE_SCORE = 14.0, 15.0
"""A part so wide (the root of its area) is seen by what drifts along it, too: more is asked."""
PLACE_LEAVES = 0.7
"""Beside listed parts heat alone must explain what is seen: nothing tells of heat under a mirror
image there (trials: heat leaves 0 to 0.3 there, hands' images that passed for it 0.1 to 2.9)."""
MOST_SPOTS = 6
FINER = (1.4, 1.2)
"""Factors by which bodies are made larger and smaller where no list tells their outlines."""
MOST_DOUBTED = 2
CLEAR_SCORE = 20.0
BESIDE_PX, BODY_FILLS = 7.0, 0.3
"""So near a stronger place one may only fill it up; a body, where its score is so much less."""
BESIDE_IS_BETTER = 1.08


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A source found, and the evidence on its nature."""

    found: Found
    evidence: Evidence
    drawn: Drawn

    @property
    def power_w(self) -> float:
        """Return the power that it turns into heat, W."""
        return self.drawn.power_w * self.fit.power_w / max(self.found.fit.power_w, 1e-12)

    @property
    def spread(self) -> float:
        """Return what fits and noise leave open of that: the deviation of its logarithm."""
        noise = self.fit.sigma_w * self.found.excess / max(self.fit.power_w, 1e-12)
        return math.hypot(self.drawn.spread, noise)

    @property
    def fit(self) -> Fit:
        """Return the fit that its power is taken from."""
        rest = self.evidence.rest
        return rest if rest is not None and self.evidence.rest_is_better else self.found.fit


def judged_sources(
    ground: Ground, parted: Split, footprints: Sequence[Footprint], *, told: bool = False
) -> tuple[list[Judged], list[Judged]]:
    """Return what is found at parts and, in what they leave, at other places.

    With `told` the power's course is known by other means than these pictures.
    """
    least = LEAST_SCORE if told else LEAST_UNTOLD
    explainer = Explainer(footprints, ground.field)
    search = SpotSearch(ground.field, bodies=not footprints)
    if footprints:
        found, spots = _off_parts(explainer, search, explainer.explain(least))
        spots += _spots(explainer, search, MOST_SPOTS - len(spots))
    else:
        found, spots = [], _bodies(explainer, search)
    explainer.refit(found + spots)
    sham = explainer.sham()
    at_parts = weighed(explainer, found, ground, parted, least=least, sham=sham)
    shams = search.shams([one.footprint for one in spots], NEAR_PX)
    for one, value in zip(spots, shams, strict=True):
        one.sham = value
    places = weighed(explainer, spots, ground, parted, least=DOUBTED_SCORE, sham=None)
    if not footprints:
        return at_parts, _merged(places, BODY_FILLS)
    return at_parts, _merged([x for x in places if x.evidence.heat_leaves < PLACE_LEAVES], 1.0)


def _spots(explainer: Explainer, search: SpotSearch, most: int) -> list[Found]:
    """Take places off, the strongest first, until none is strong, or there are so many."""
    spots: list[Found] = []
    while len(spots) < most and (place := search.strongest(SPOT_SCORE)) is not None:
        spots.append(explainer.fit_at(place))
    return spots


def _bodies(explainer: Explainer, search: SpotSearch) -> list[Found]:
    """Take bodies off whose outlines nothing tells, the strongest first.

    At the best place the best of some rectangles is then moved and stretched until it suits.
    """
    bodies: list[Found] = []
    quick = HeatModel(explainer.field.filters, SIDE, kappas=QUICK_KAPPAS, lags=QUICK_LAGS)
    while len(bodies) < MOST_SOURCES:
        taken = [one.footprint for one in bodies]
        place = search.strongest(BODY_SCORE, beside=taken)
        if place is None:
            break
        first = bodies_at(place.centre_px, SIDES_PX, SIDES_PX, explainer.field.mm_per_px)
        body, _ = _best([place, *first], quick, explainer.field)
        bodies.append(explainer.fit_at(_shaped(body, quick, explainer.field)))
    return bodies


def _best(tried: Sequence[Footprint], model: HeatModel, field: Field) -> tuple[Footprint, Fit]:
    """Return the one of several footprints whose heat suits best what is left, and its fit."""
    fits = [best_fit(model, one, field) for one in tried]
    at = int(np.argmax([fit.score for fit in fits]))
    return tried[at], fits[at]


def _shaped(body: Footprint, model: HeatModel, field: Field) -> Footprint:
    """Return a body about the same place whose sides suit better."""
    for step in FINER:
        wide, high = np.ptp(body.outline_px, axis=0)
        widths, heights = ((side / step, side, side * step) for side in (wide, high))
        tried = bodies_at(body.centre_px, widths, heights, field.mm_per_px)
        body, fit = _best(tried, model, field)
        body, _ = settle(model, body, field, fit)
    return body


def _off_parts(
    explainer: Explainer, search: SpotSearch, found: list[Found]
) -> tuple[list[Found], list[Found]]:
    """Part the strongest sources into those at a part and those clearly beside it.

    Heat at a joint, a track's end or a part that the list lacks is not forced onto a neighbour.
    """
    kept, beside = list(found), []
    for one in sorted(found, key=lambda f: -f.fit.score)[:MOST_DOUBTED]:
        if one.fit.score < CLEAR_SCORE:
            continue
        explainer.field.take_off(one.fit, -1.0)
        place = search.strongest_near(one.footprint.centre_px, BESIDE_PX)
        spot = explainer.fit_at(place)
        outline = one.footprint.outline_px.astype(np.float32)
        where = tuple(float(v) for v in spot.footprint.centre_px)
        away_px = -cv2.pointPolygonTest(outline, where, True)
        if spot.fit.score > BESIDE_IS_BETTER * one.fit.score and away_px > 0.7:
            kept.remove(one)
            beside.append(spot)
        else:
            explainer.field.take_off(spot.fit, -1.0)
            explainer.field.take_off(one.fit)
    return kept, beside


def _merged(judged: list[Judged], share: float) -> list[Judged]:
    """Return places without those that only fill up a stronger one close by.

    These have less than a share of the other's score.
    """
    kept: list[Judged] = []
    for one in sorted(judged, key=lambda j: -j.found.fit.score):
        place, score = one.found.footprint.centre_px, one.found.fit.score
        stronger = (k.found for k in kept if score <= share * k.found.fit.score)
        if all(np.hypot(*(place - k.footprint.centre_px)) > BESIDE_PX for k in stronger):
            kept.append(one)
    return kept


def weighed(
    explainer: Explainer,
    found: list[Found],
    ground: Ground,
    parted: Split,
    *,
    least: float,
    sham: Floats | None,
) -> list[Judged]:
    """Return those of the found whose score reaches `least`, with evidence and power.

    `sham` as in `Explainer.weigh`, None for places on no part.
    """
    judged = []
    for one in found:
        explainer.weigh(
            one,
            plain=ground.plain,
            left_over=ground.left_over,
            noise_var=ground.noise_var,
            sham=sham,
        )
        needed = least
        if explainer.footprints and sham is None and one.footprint.area_m2 > BROAD_M2:
            needed = BROAD_SCORE
        elif cv2.contourArea(one.footprint.outline_px.astype(np.float32)) > WIDE_PX**2:
            needed = max(least, WIDE_SCORE)
        if one.fit.score < needed * one.excess:
            continue
        evidence = judge(
            one,
            ground.field,
            all_coefficients=ground.coefficients,
            narrow=parted.narrow,
            wide=parted.wide,
            cooling=parted.cooling.courses(one.footprint),
            afar=parted.afar.courses(one.fit.window),
            noise_var=ground.noise_var,
        )
        heats = evidence.nature is Nature.HEATING
        if not heats and one.fit.score < DOUBTED_SCORE * one.excess:
            continue
        judged.append(Judged(one, evidence, drawn_power(explainer.model, ground.field, one)))
    return judged
