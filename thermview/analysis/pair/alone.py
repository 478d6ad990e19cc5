"""One board by itself: what its parts dissipate, and which of several equals does otherwise.

No known-good board is needed: a part's equals stand for it. The recording is explained by the same
model as a pair is, so that neighbours' heat and misplacement are dealt with alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from thermview.analysis.pair.align import View
from thermview.analysis.pair.compare import (
    Comparison,
    Filmed,
    compare,
    filmed,
    subjects_of,
)
from thermview.analysis.pair.equals import FEWEST, equal_parts, odd_ones
from thermview.analysis.pair.places import MM_PER_PX, outline_of
from thermview.analysis.pair.plane import Subject
from thermview.analysis.pair.readings import Compared
from thermview.analysis.pair.verdict import ALIKE, OUT_OF_VIEW, SIGMAS, UNREADABLE, Limits
from thermview.analysis.prepare import Progress
from thermview.analysis.stabilise import steadied
from thermview.board import Landmark, Part, fit_homography, parts_seen
from thermview.errors import InputError
from thermview.frames import Footage
from thermview.regions import RegionSet

MODEL_ERROR = 0.25
"""Share by which the model errs in one part's power; no second board takes it out."""
UNSURE = 0.9
"""An uncertainty above this share of what its equals do says nothing of a part."""
MEDIAN_ERROR = 1.25
"""Standard uncertainty of a median over that of a mean, √(π/2)."""


def compare_equal_parts(
    footage: Footage,
    parts: Sequence[Part],
    landmarks: Sequence[Landmark],
    *,
    on_s: float | None = None,
    limits: Limits | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare equal parts of one board among themselves; see `among_equals`.

    Raises
    ------
    InputError
        No group of equal parts in view, landmarks that fix no view, nothing that warms.
    """
    view = fit_homography(landmarks)
    groups = equal_parts(parts_seen(parts, view))
    if not groups:
        raise InputError(
            "the placement list has no three equal parts on the side in view (same package, value "
            "and nets); draw regions on equal parts instead"
        )
    film = filmed(footage, parts, landmarks, on_s=on_s, progress=progress)
    return among_equals(alone(film, subjects_of(parts, view)), groups, limits)


def compare_equal_regions(
    footage: Footage,
    regions: RegionSet,
    *,
    on_s: float | None = None,
    limits: Limits | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare regions that were drawn on equal parts among themselves; see `among_equals`.

    Raises
    ------
    InputError
        Fewer than three regions, nothing that warms.
    """
    names = tuple(region.name for region in regions.regions)
    if len(names) < FEWEST:
        raise InputError(f"{len(names)} regions are drawn; equals are told from {FEWEST} or more")
    take, _ = steadied(footage, progress)
    scale = np.diag([1 / MM_PER_PX, 1 / MM_PER_PX, 1.0])
    film = Filmed(take, View(scale, MM_PER_PX, np.zeros((0, 2)), exact=True), on_s)
    subjects = [Subject(r.name, outline_of(r.shape) * MM_PER_PX) for r in regions.regions]
    return among_equals(alone(film, subjects), [names], limits)


def alone(film: Filmed, subjects: Sequence[Subject]) -> Comparison:
    """Return what each subject dissipates; ``sigma_w`` is of its own power, not of a difference."""
    found = compare(film, film, subjects)
    return replace(
        found, subjects=tuple(replace(one, sigma_w=one.sigma_bad_w) for one in found.subjects)
    )


def among_equals(
    found: Comparison, groups: Iterable[tuple[str, ...]], limits: Limits | None = None
) -> Comparison:
    """Return the grouped subjects alone, each against the median of its group.

    What `Compared` says of the good board is then said of the part's equals. Where most of a
    group agree, those that surely do otherwise are ``colder`` or ``hotter``. A part beyond the
    limits of which that is not sure is ``unreadable``, and so is one of too uncertain a power.
    """
    listed: list[Compared] = []
    by_name = {one.name: one for one in found.subjects}
    for group in groups:
        members = [by_name[name] for name in group if name in by_name]
        if sum(one.verdict != OUT_OF_VIEW for one in members) >= FEWEST:
            listed += _against_each_other(found, members, limits or Limits())
    if not listed:
        raise InputError("no three equal parts are in view")
    own = tuple(note for note in found.notes if note.startswith("bad board"))
    return replace(found, subjects=tuple(listed), notes=own)


def _against_each_other(
    found: Comparison, members: Sequence[Compared], limits: Limits
) -> list[Compared]:
    seen = [one for one in members if one.verdict != OUT_OF_VIEW]
    usual_w = float(np.median([one.power_bad_w for one in seen]))
    usual_k = float(np.median([one.rise_bad_k for one in seen]))
    of_usual_w = MODEL_ERROR * usual_w * MEDIAN_ERROR / np.sqrt(len(seen))
    weighed = [
        replace(
            one,
            power_good_w=usual_w,
            rise_good_k=usual_k,
            sigma_w=float(
                np.hypot(np.hypot(one.sigma_w, MODEL_ERROR * one.power_bad_w), of_usual_w)
            ),
            verdict=OUT_OF_VIEW if one.verdict == OUT_OF_VIEW else ALIKE,
        )
        for one in members
    ]
    names = tuple(one.name for one in weighed)
    odd = {
        o.name: o.verdict
        for o in odd_ones(replace(found, subjects=tuple(weighed)), [names], limits)
    }

    def verdict(one: Compared, own_w: float) -> str:
        if one.name in odd or one.verdict == OUT_OF_VIEW:
            return odd.get(one.name, one.verdict)
        if usual_w <= usual_own_w:
            return ALIKE  # the group is cold
        unsure = SIGMAS * own_w > UNSURE * max(usual_w, one.power_bad_w)
        low, high = limits.colder_below * usual_w, limits.hotter_above * usual_w
        return ALIKE if not unsure and low <= one.power_bad_w <= high else UNREADABLE

    usual_own_w = SIGMAS * float(np.median([one.sigma_w for one in seen]))
    return [
        replace(one, verdict=verdict(one, plain.sigma_w))
        for one, plain in zip(weighed, members, strict=True)
    ]
