"""Which part dissipates, how much, how sure: footage and board in, ranked findings out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from thermview.analysis.findings import Located, Place, Suspect
from thermview.analysis.ground import Ground, Split, prepare_ground, split
from thermview.analysis.heat_model import Footprint
from thermview.analysis.nature import Evidence, Nature, judge
from thermview.analysis.placing import settled
from thermview.analysis.prepare import Progress, Shots, Take, gather, take_of
from thermview.analysis.responses import TAUS_S, Modes
from thermview.analysis.sources import NEAR_PX, Explainer, Fit, Found
from thermview.analysis.spots import SpotSearch, grid_of_discs
from thermview.analysis.stabilise import Motion, hold_still
from thermview.analysis.surroundings import own_courses
from thermview.analysis.switching import course_of_switchings, find_switchings, part_series
from thermview.analysis.watts import MODEL_DOUBT, body_height_mm, drawn_power, within_supply
from thermview.analysis.waveform import (
    Course,
    course_of_log,
    step_course,
)
from thermview.board import BoardView, Part, part_outline_px, parts_seen
from thermview.frames import Footage, MarkKind, SupplyLog

__all__ = ["Located", "Nature", "Place", "Suspect", "analyse", "locate"]

Floats = NDArray[np.float64]

LEAST_SCORE = 6.5
"""Signal to noise below which nothing is listed."""
SPOT_SCORE = 9.0
MOST_SPOTS = 6
MOST_DOUBTED = 2
CLEAR_SCORE = 20.0
BESIDE_PX = 7.0
BESIDE_IS_BETTER = 1.08
UNKNOWN_MM_PER_PX = 0.5
BREATHING_K = 0.12


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
            prints.append(Footprint(part.designator, outline, width_mm * height_mm * 1e-6, tall_m))
    return prints


def locate(
    footage: Footage,
    parts: Sequence[Part] = (),
    view: BoardView | None = None,
    *,
    power_on_s: float | None = None,
    period_s: float | None = None,
    meant_warm: Collection[str] = (),
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
        Of a pulsed supply; unless given, the supply's log tells.
    meant_warm : collection of str
        Designators of parts that rightly warm.

    Raises
    ------
    InputError
        The footage cannot be used.
    """
    take, motion = steady(gather(footage, progress))
    prints = footprints_of(parts, view, take.shape) if view is not None else []
    if motion is not None:
        prints = settled(prints, take.first_k, [np.eye(3), motion.rest()])
    marked = [mark.time_s for mark in footage.marks if mark.kind is MarkKind.POWER_ON]
    return analyse(
        take,
        prints,
        view.mm_per_px if view is not None else UNKNOWN_MM_PER_PX,
        view=view,
        supply=footage.supply,
        power_on_s=power_on_s,
        marked_s=min(marked) if marked else None,
        period_s=period_s,
        meant_warm=meant_warm,
    )


def steady(shots: Shots) -> tuple[Take, Motion | None]:
    """Hold the pictures still where the camera moved; pictures without lock are left out."""
    still, motion = hold_still(shots.kelvin)
    if motion is None:
        return take_of(shots), None
    good = ~motion.lost
    kept = Shots(still[good], shots.times_s[good], shots.segment[good])
    return take_of(kept, motion.shifts_px(still.shape[1:])[good]), motion


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
) -> Located:
    """Find the dissipating parts in pictures; see `locate`."""
    logged = course_of_log(supply, take.times_s) if supply is not None else None
    if period_s is None and logged is not None:
        period_s = logged.period_s
    parted = split(take, period_s)
    course, how = _course(
        take,
        parted,
        footprints,
        logged=logged,
        power_on_s=power_on_s,
        marked_s=marked_s,
        period_s=period_s,
    )
    ground = prepare_ground(take, parted, course, mm_per_px)
    judged, others = _judged(ground, parted, footprints)
    if how == "frames":
        _count_mirrors(judged, others)
    suspects = _suspects(judged, ground, parted, take, course, meant_warm=frozenset(meant_warm))
    elsewhere = _places(others, ground, take, course, view=view)
    silent = supply is not None and len(supply) > 0 and logged is None and power_on_s is None
    heats = [s.nature for s in suspects] + [p.nature for p in elsewhere]
    heated = Nature.HEATING in heats and not silent
    return Located(
        power_on_s=course.on_s,
        power_on_from=how,
        heated=heated,
        suspects=suspects,
        elsewhere=elsewhere,
        notes=tuple(_notes(take, course, how, silent=silent, heated=heated)),
        times_s=take.times_s,
        rise_k=_late_rise(take, course.on_s),
        supply_w=course.level_w,
    )


def _course(
    take: Take,
    parted: Split,
    footprints: Sequence[Footprint],
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
    if not footprints:
        footprints = grid_of_discs(take.shape, UNKNOWN_MM_PER_PX)
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
    return course_of_switchings(found, take.times_s, take.noise_k), "frames"


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    found: Found
    evidence: Evidence

    @property
    def fit(self) -> Fit:
        rest = self.evidence.rest
        return rest if rest is not None and self.evidence.rest_is_better else self.found.fit


def _judged(
    ground: Ground, parted: Split, footprints: Sequence[Footprint]
) -> tuple[list[_Judged], list[_Judged]]:
    """Return what is found at parts and, in what they leave, at other places."""
    explainer = Explainer(footprints, ground.field)
    search = SpotSearch(ground.field)
    found, spots = _off_parts(explainer, search, explainer.explain(LEAST_SCORE))
    while len(spots) < MOST_SPOTS and (place := search.strongest(SPOT_SCORE)) is not None:
        spots.append(explainer.fit_at(place))
    explainer.refit(found + spots)
    sham = explainer.sham()
    at_parts = _weighed(explainer, found, ground, parted, sham=sham)
    for one in spots:
        one.sham = search.sham(one.footprint, NEAR_PX)
    return at_parts, _merged(_weighed(explainer, spots, ground, parted, sham=None))


def _count_mirrors(*judged: list[_Judged]) -> None:
    """Let each judgement know how many other mirrors there are."""
    total = sum(one.evidence.is_mirror for found in judged for one in found)
    for found in judged:
        for at, one in enumerate(found):
            others = total - one.evidence.is_mirror
            found[at] = _Judged(one.found, replace(one.evidence, mirrors=others))


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


def _merged(judged: list[_Judged]) -> list[_Judged]:
    """Return spots without those that only fill up a stronger one close by."""
    kept: list[_Judged] = []
    for one in sorted(judged, key=lambda j: -j.found.fit.score):
        centre = one.found.footprint.centre_px
        others = (k.found.footprint.centre_px for k in kept)
        if all(np.hypot(*(centre - other)) > BESIDE_PX for other in others):
            kept.append(one)
    return kept


def _weighed(
    explainer: Explainer, found: list[Found], ground: Ground, parted: Split, *, sham: Floats | None
) -> list[_Judged]:
    judged = []
    for one in found:
        explainer.weigh(
            one,
            plain=ground.plain,
            left_over=ground.left_over,
            noise_var=ground.noise_var,
            sham=sham,
        )
        if one.fit.score < LEAST_SCORE * one.excess:
            continue
        evidence = judge(
            one,
            ground.field,
            all_coefficients=ground.coefficients,
            narrow=parted.narrow,
            wide=parted.wide,
            noise_var=ground.noise_var,
        )
        judged.append(_Judged(one, evidence))
    return judged


def _suspects(
    judged: list[_Judged],
    ground: Ground,
    parted: Split,
    take: Take,
    course: Course,
    *,
    meant_warm: frozenset[str],
) -> tuple[Suspect, ...]:
    seen_w = [drawn_power(ground.modes, one.found.footprint, one.fit) for one in judged]
    heats = [one.evidence.nature is Nature.HEATING for one in judged]
    powers_w, doubt = within_supply(
        [watts for watts, heat in zip(seen_w, heats, strict=True) if heat], course.level_w
    )
    agreed = iter(powers_w)
    suspects = []
    for one, watts, heat in zip(judged, seen_w, heats, strict=True):
        power_w = next(agreed) if heat else min(watts, course.level_w or watts)
        noise_w = one.fit.sigma_w * power_w / max(one.fit.power_w, 1e-12) * one.found.excess
        suspects.append(
            _suspect(
                one,
                ground,
                parted,
                take,
                course,
                power_w=power_w,
                sigma_w=float(np.hypot(noise_w, doubt * power_w)),
                expected=one.found.footprint.name in meant_warm,
            )
        )
    return _ranked(suspects)


def _suspect(
    one: _Judged,
    ground: Ground,
    parted: Split,
    take: Take,
    course: Course,
    *,
    power_w: float,
    sigma_w: float,
    expected: bool,
) -> Suspect:
    found, evidence, modes = one.found, one.evidence, ground.modes
    heat = found.fit.picture
    strength = np.einsum("mij,mij->ij", heat, heat)
    row, column = np.unravel_index(int(np.argmax(strength)), strength.shape)
    place = found.fit.window.y + row, found.fit.window.x + column
    raw: Floats = parted.narrow[:, *place].astype(np.float64)
    fitted = _heat_in(raw, modes)
    drift = modes.idle @ (modes.idle.T @ (raw - fitted))
    before = take.times_s < course.on_s
    zero = float(fitted[before].mean()) if before.any() else float(fitted[0])
    start = float((fitted + drift)[before].mean()) if before.any() else float(raw[0])
    rise_k = max(float(np.percentile(fitted + drift, 98) - start), 0.0)
    x, y = found.footprint.centre_px
    onset_s = _onset(fitted - zero, take.times_s, course.on_s)
    return Suspect(
        part=found.footprint.name,
        rank=0,
        nature=evidence.nature,
        rise_k=rise_k,
        power_w=power_w,
        power_sigma_w=sigma_w,
        onset_s=onset_s,
        snr=found.fit.score / found.excess,
        likely=evidence.likely,
        expected=expected,
        words=_words(evidence, rise_k, TAUS_S[found.fit.lag], onset_s, course),
        x_px=float(x),
        y_px=float(y),
        curve_k=raw - start,
        fitted_k=fitted + drift - start,
    )


def _heat_in(curve_k: Floats, modes: Modes) -> Floats:
    """Return the part of one pixel's curve that answers to the power through thermal lags, K.

    Whatever the part and the board, that is a sum of the drive's answers with weights that are
    not negative.
    """
    drive = modes.drive
    answers = np.concatenate([drive.body.T, drive.sheet[0][:, ::6]], axis=1)
    answers = answers / np.maximum(np.abs(answers).max(axis=0), 1e-12)
    own = answers - modes.idle @ (modes.idle.T @ answers)
    weights, _ = nnls(own, curve_k - modes.idle @ (modes.idle.T @ curve_k))
    return np.asarray(answers @ weights)


def _places(
    judged: list[_Judged], ground: Ground, take: Take, course: Course, *, view: BoardView | None
) -> tuple[Place, ...]:
    places = []
    for one in judged:
        found, evidence = one.found, one.evidence
        if evidence.nature is not Nature.HEATING:
            continue
        x, y = found.footprint.centre_px
        power_w: float | None = None
        x_mm: float | None = None
        y_mm: float | None = None
        if view is not None:
            power_w = min(
                drawn_power(ground.modes, found.footprint, one.fit), course.level_w or np.inf
            )
            x_mm, y_mm = (float(v) for v in view.pixel_to_board((x, y)))
        heat = found.fit.picture
        row, column = np.unravel_index(int(np.argmax((heat**2).sum(axis=0))), heat.shape[1:])
        fitted = ground.modes.active @ heat[:, row, column].astype(np.float64)
        before = take.times_s < course.on_s
        zero = float(fitted[before].mean()) if before.any() else float(fitted[0])
        places.append(
            Place(
                x_px=float(x),
                y_px=float(y),
                x_mm=x_mm,
                y_mm=y_mm,
                radius_mm=float(np.sqrt(found.footprint.area_m2 / np.pi) * 1e3),
                nature=evidence.nature,
                rise_k=max(float(np.percentile(fitted, 98)) - zero, 0.0),
                power_w=power_w,
                power_sigma_w=None if power_w is None else MODEL_DOUBT * power_w,
                snr=found.fit.score / found.excess,
                likely=evidence.likely,
            )
        )
    return tuple(sorted(places, key=lambda place: -(place.power_w or place.rise_k)))


def _onset(fitted_k: Floats, times_s: Floats, on_s: float) -> float:
    """Return when the fitted heat first shows: at a tenth of its highest."""
    above = (times_s >= on_s) & (fitted_k > 0.1 * float(fitted_k.max()))
    return float(times_s[int(np.argmax(above))]) if above.any() else on_s


def _words(evidence: Evidence, rise_k: float, lag_s: float, onset_s: float, course: Course) -> str:
    step = "the supply's step" if course.from_log else "the power came on"
    if evidence.nature is Nature.REFLECTION:
        return (
            f"mirrors its surroundings: they leave {evidence.mirror_leaves:.0%} of its change "
            f"unexplained, heat {min(evidence.heat_leaves, 1.0):.0%}"
        )
    if evidence.nature is Nature.UNCERTAIN:
        return (
            "neither heat nor a mirror image explains it well; pulse the supply, or put a patch "
            "of matt tape on it"
        )
    if course.period_s is not None:
        return f"follows the supply's pulses of {course.period_s:.3g} s with a thermal lag"
    after_s = max(onset_s - course.on_s, 0.0)
    lag = f"with a lag of {lag_s:.2g} s" if lag_s >= 0.1 else "nearly at once"
    return (
        f"rises {rise_k:.2g} K, {after_s:.1f} s after {step}, {lag}, and spreads to the board; "
        f"heat leaves {evidence.heat_leaves:.0%} of its change unexplained"
    )


def _ranked(suspects: list[Suspect]) -> tuple[Suspect, ...]:
    """Order: unexplained heat, uncertain, reflections; what is meant to be warm after the heat."""
    order = {Nature.HEATING: 0, Nature.UNCERTAIN: 1, Nature.REFLECTION: 2}
    ordered = sorted(
        suspects, key=lambda s: (order[s.nature], s.expected, -s.power_w * s.likely**2)
    )
    return tuple(replace(s, rank=i + 1) for i, s in enumerate(ordered))


def _late_rise(take: Take, on_s: float) -> NDArray[np.float32]:
    before = take.rise_k[take.times_s < on_s - 0.05]
    late = take.rise_k[take.times_s > take.times_s[-1] - 1.5]
    return np.asarray(late.mean(axis=0) - (before.mean(axis=0) if len(before) else 0.0))


def _notes(take: Take, course: Course, how: str, *, silent: bool, heated: bool) -> list[str]:
    notes = []
    if silent:
        notes.append("the supply's log shows no power; what warms then is not fed by it")
    if course.on_s <= take.times_s[0] + 0.5 and how != "frames":
        notes.append(
            "the recording begins with the power on, so that there is no zero to compare with; "
            "switch off for ten seconds, then on, and record from before that"
        )
    elif how == "frames" and not heated:
        notes.append(
            "no switching on is seen; if the board was running from the start, switch off for "
            "ten seconds, then on, while recording"
        )
    if take.sway.shape[1]:
        notes.append("the camera moved; the pictures were held still on the board's own pattern")
    if take.bridged:
        times = "once" if take.bridged == 1 else f"{take.bridged} times"
        notes.append(f"the camera's offset changed {times} (shutter); bridged")
    if (breath_k := _breathing(take)) > BREATHING_K:
        notes.append(
            f"the whole picture breathes by {breath_k:.2g} K: a draught, or the camera's drift; "
            "cover the board"
        )
    return notes


def _breathing(take: Take) -> float:
    """Return how much what all pixels share comes and goes beside offsets and a straight drift."""
    common = np.median(take.rise_k[:, ::6, ::6].reshape(len(take.rise_k), -1), axis=1)
    columns = [(take.segment == s).astype(float) for s in np.unique(take.segment)]
    table = np.stack([*columns, take.times_s - take.times_s.mean()], axis=1)
    left = common - table @ np.linalg.lstsq(table, common.astype(float), rcond=None)[0]
    return float(np.ptp(np.percentile(left, [5, 95])))
