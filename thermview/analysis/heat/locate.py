"""Which part dissipates, how much, how sure: footage and board in, ranked findings out."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Located, Place, Suspect
from thermview.analysis.heat.ground import Split, highest_scores, prepare_ground, split
from thermview.analysis.heat.judged import Judged, judged_sources
from thermview.analysis.heat.keen import keen_look
from thermview.analysis.heat.nature import Nature
from thermview.analysis.heat.quick import Shares
from thermview.analysis.heat.spots import grid_of_discs
from thermview.analysis.heat.surroundings import own_courses
from thermview.analysis.heat.switching import (
    LEAST_BEFORE_S,
    Switching,
    course_of_switchings,
    find_switchings,
    is_clear,
    part_series,
)
from thermview.analysis.heat.telling import late_rise, notes_of, places_of, suspects_of
from thermview.analysis.heat.tracks import with_tracks
from thermview.analysis.heat.watts import bare_share, body_height_mm
from thermview.analysis.heat_model import Footprint
from thermview.analysis.leads import after_leads, leads_words
from thermview.analysis.period import find_period
from thermview.analysis.placing import settled
from thermview.analysis.prepare import Progress, Take, anchored
from thermview.analysis.stabilise import steadied
from thermview.analysis.wanted import asking
from thermview.analysis.waveform import Course, course_of_log, step_course
from thermview.board import BoardView, Part, part_outline_px, parts_seen
from thermview.frames import Footage, MarkKind, SupplyLog

__all__ = ["Located", "Nature", "Place", "Suspect", "analyse", "locate"]

Floats = NDArray[np.float64]
Found = TypeVar("Found", Suspect, Place)

UNKNOWN_MM_PER_PX = 0.5
SCAN_STEP_S = 1.5
FINE_STEP_PX = 4
PULSED_S = 20.0
"""Shorter recordings are not looked through for pulses."""
COOLING_TRUST = 0.5
"""What a part's score counts for when the power came on, where something cools close by."""
READ, STEP = 40, 12
"""Of 100 told: reading the frames, and each stage after it."""
LEAST_AFTER_S = 2.5
"""A step so near the end leaves too little to see by."""


def footprints_of(
    parts: Sequence[Part], view: BoardView, shape: tuple[int, int]
) -> list[Footprint]:
    """Return the parts on the seen side whose middle is in the picture.

    Raises
    ------
    InputError
        All parts are on the other side: two landmarks are swapped, or it is the wrong list.
    """
    rows, columns = shape
    prints = []
    for part in parts_seen(parts, view) if parts else ():
        outline = part_outline_px(part, view)
        x, y = outline.mean(axis=0)
        if 0 <= x < columns and 0 <= y < rows:
            width_mm, height_mm = part.width_mm, part.height_mm
            tall_m = body_height_mm(part.package, width_mm, height_mm) * 1e-3
            area_m2 = width_mm * height_mm * 1e-6
            bare = bare_share(part.package)
            prints.append(Footprint(part.designator, outline, area_m2, tall_m, bare))
    return prints


def locate(
    footage: Footage,
    parts: Sequence[Part] = (),
    view: BoardView | None = None,
    *,
    power_on_s: float | None = None,
    period_s: float | None = None,
    meant_warm: Collection[str] = (),
    lead_ohm: float = 0.0,
    matt_patch: NDArray[np.bool_] | None = None,
    progress: Progress | None = None,
) -> Located:
    """Find the dissipating parts in footage.

    Parameters
    ----------
    footage : Footage
    parts, view :
        The board's parts and how the camera sees them, in the first frame where the camera moves.
    power_on_s : float, optional
        When the power came on; unless given, a mark, the supply's log or the frames tell.
    period_s : float, optional
        Of a pulsed supply; unless given, the supply's log tells, or long pictures in which nothing
        else heats.
    meant_warm : collection of str
        Designators of parts that rightly warm.
    lead_ohm : float
        Of the leads between supply and board, Ω: V·I − I²R is then the board's upper limit.
    matt_patch : ndarray of bool, shape (row, column), optional
        A place that mirrors nothing and that the power does not warm, in the first picture: what
        it does is the camera's drift, and is taken off everywhere.
    progress : callable, optional
        Told (done, total) some times a second; what it raises breaks the work off.

    Raises
    ------
    InputError
        The footage cannot be used.
    """
    stage = _Stages(progress)
    supply, leads = footage.supply, ""
    if supply is not None and lead_ohm > 0:
        supply, leads = after_leads(supply, lead_ohm), leads_words(supply, lead_ohm)
    marked = [mark.time_s for mark in footage.marks if mark.kind is MarkKind.POWER_ON]
    with asking(stage.again):
        take, motion = steadied(footage, stage.within(READ))
        if matt_patch is not None:
            take = anchored(take, matt_patch)
        stage(READ + STEP)
        prints = footprints_of(parts, view, take.shape) if view is not None else []
        if motion is not None:
            prints = settled(prints, take.first_k, [np.eye(3), motion.rest()])

        def search(period_s: float | None) -> Located:
            return analyse(
                take,
                prints,
                view.mm_per_px if view is not None else UNKNOWN_MM_PER_PX,
                view=view,
                supply=supply,
                power_on_s=power_on_s,
                marked_s=min(marked) if marked else None,
                period_s=period_s,
                meant_warm=meant_warm,
                stage=stage,
            )

        located = search(period_s)
        if period_s is None and supply is None and not located.heated:
            located = _pulsed(take, search) or located
    return replace(located, notes=(*located.notes, leads)) if leads else located


def _pulsed(take: Take, search: Callable[[float], Located]) -> Located | None:
    """Return what heats at a period that long pictures show by themselves; None for nothing."""
    if take.times_s[-1] - take.times_s[0] < PULSED_S or (rhythm := find_period(take)) is None:
        return None
    located = search(rhythm.period_s)
    words = f"the pictures show that the supply pulses every {rhythm.period_s:.3g} s"
    return replace(located, notes=(*located.notes, words)) if located.heated else None


class _Stages:
    """Tells how far the work is, of 100; what the listener raises breaks it off."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._done = 0

    def __call__(self, done: int) -> None:
        self._done = max(self._done, done)
        self.again()

    def again(self) -> None:
        """Tell the same once more: the listener may not want it any more."""
        if self._progress is not None:
            self._progress(self._done, 100)

    def within(self, share: int) -> Progress:
        """Return what takes the progress of the first stage, `share` of 100."""
        return lambda done, total: self(share * done // max(total, 1))


def analyse(
    take: Take,
    footprints: Sequence[Footprint],
    mm_per_px: float,
    *,
    view: BoardView | None = None,
    supply: SupplyLog | None = None,
    power_on_s: float | None = None,
    marked_s: float | None = None,
    period_s: float | None = None,
    meant_warm: Collection[str] = (),
    stage: Callable[[int], None] = lambda done: None,
) -> Located:
    """Find the dissipating parts in pictures; see `locate`. `stage` hears how far it is, of 100."""
    logged = course_of_log(supply, take.times_s) if supply is not None else None
    if period_s is None and logged is not None:
        period_s = logged.period_s
    parted = split(take, period_s)
    stage(READ + 2 * STEP)
    course, how = _course(
        take,
        parted,
        footprints,
        mm_per_px,
        logged=logged,
        power_on_s=power_on_s,
        marked_s=marked_s,
        period_s=period_s,
    )
    stage(READ + 3 * STEP)
    ground = prepare_ground(take, parted, course, mm_per_px)
    stage(READ + 4 * STEP)
    told = how not in ("", "frames")
    judged, others = judged_sources(ground, parted, footprints, told=told)
    stage(READ + 5 * STEP)
    silent = supply is not None and len(supply) > 0 and logged is None and power_on_s is None
    if period_s is None and not silent and not _heats(judged + others):
        known = course if told else None
        keen = keen_look(take, parted, footprints, mm_per_px, known)
        if keen is not None:
            course, parted, ground, judged = keen.course, keen.parted, keen.ground, keen.judged
            how = how or "frames"
    suspects = suspects_of(judged, ground, parted, take, course, meant_warm=frozenset(meant_warm))
    elsewhere = places_of(others, ground, parted, take, course, view=view)
    rise_k = late_rise(take, course.on_s)
    if how:
        suspects, elsewhere = with_tracks(suspects, elsewhere, rise_k, footprints, view)
    if silent:  # then nothing that warms is the supply's doing
        suspects, elsewhere = tuple(map(_doubted, suspects)), tuple(map(_doubted, elsewhere))
    heats = [s.nature for s in suspects] + [p.nature for p in elsewhere]
    heated = Nature.HEATING in heats
    seen = heated or how not in ("", "frames")
    return Located(
        power_on_s=course.on_s if seen else None,
        power_on_from=how if seen else "",
        heated=heated,
        suspects=suspects,
        elsewhere=elsewhere,
        notes=tuple(notes_of(take, course, how, silent=silent, heated=heated)),
        times_s=take.times_s,
        rise_k=rise_k,
        supply_w=course.level_w,
    )


def _heats(judged: Sequence[Judged]) -> bool:
    """Tell whether anything of what was judged heats."""
    return any(one.evidence.nature is Nature.HEATING for one in judged)


def _doubted(found: Found) -> Found:
    """Return a suspect or place whose heat is none of the supply's as uncertain."""
    return replace(found, nature=Nature.UNCERTAIN) if found.nature is Nature.HEATING else found


def _course(
    take: Take,
    parted: Split,
    footprints: Sequence[Footprint],
    mm_per_px: float,
    *,
    logged: Course | None,
    power_on_s: float | None,
    marked_s: float | None,
    period_s: float | None,
) -> tuple[Course, str]:
    """Return the power's course and how it is known: said, marked, logged, or seen."""
    for told_s, how in ((power_on_s, "given"), (marked_s, "marked")):
        if told_s is not None and (logged is None or abs(logged.on_s - told_s) > 1.0):
            return step_course(take.times_s, told_s, period_s), how
    if logged is not None:
        return logged, "supply log"
    listed = bool(footprints)
    if not listed:
        footprints = grid_of_discs(take.shape, mm_per_px)
    series = part_series(parted.narrow, list(footprints))
    centres = {f.name: f.centre_px for f in footprints}
    around = [own_courses(parted.wide, centres[name], parted.idle) for name in series.names]
    found = find_switchings(
        series, around, take.times_s, parted.idle, noise_k=take.noise_k, period_s=period_s
    )
    if not found:
        return step_course(take.times_s, float(take.times_s[len(take.times_s) // 4])), ""
    if period_s is not None:
        return step_course(take.times_s, found[0].on_s, period_s), "frames"
    if not any(is_clear(one) for one in found):
        if not listed:  # what is faint shows only where a disc lies on it
            footprints = grid_of_discs(take.shape, mm_per_px, FINE_STEP_PX)
        return _faint_course(take, parted, footprints, mm_per_px, found), "frames"
    return course_of_switchings(found, take.times_s, take.noise_k), "frames"


def _faint_course(
    take: Take,
    parted: Split,
    footprints: Sequence[Footprint],
    mm_per_px: float,
    found: Sequence[Switching],
) -> Course:
    """Return the step at which the parts' heat is most likely to begin.

    One curve alone tells little of a faint source; the whole picture around it, filtered by its
    own noise, tells more. What cools from the start tells little of when.
    """
    times_s = take.times_s
    trust = np.array([COOLING_TRUST if parted.cooling.reaches(f) else 1.0 for f in footprints])
    shares = Shares(footprints, take.shape)

    def look(tried: Iterable[float]) -> dict[float, float]:
        steps = sorted(on_s for on_s in tried if first_s <= on_s < last_s) or [first_s]
        courses = [step_course(times_s, on_s) for on_s in steps]
        scores = highest_scores(take, parted, courses, shares, mm_per_px, trust=trust)
        return dict(zip(steps, scores, strict=True))

    first_s, last_s = times_s[0] + LEAST_BEFORE_S, times_s[-1] - LEAST_AFTER_S
    scores = look({*np.arange(first_s, last_s, SCAN_STEP_S), *(one.on_s for one in found)})
    for step_s in (SCAN_STEP_S / 2, SCAN_STEP_S / 4):
        best_s = max(scores, key=lambda on_s: scores[on_s])
        scores |= look([best_s - step_s, best_s + step_s])
    return step_course(times_s, max(scores, key=lambda on_s: scores[on_s]))
