"""Which part dissipates, how much, how sure: footage and board in, ranked findings out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.background import measure_background
from thermview.analysis.heat_model import HIGHPASS_PX, SEEN, Footprint
from thermview.analysis.nature import Evidence, Nature, judge
from thermview.analysis.prepare import Block, Progress, Take, gather, lowpass
from thermview.analysis.responses import TAUS_S, Drive, Modes, nuisances
from thermview.analysis.sources import Explainer, Field, Found, flat
from thermview.analysis.surroundings import own_courses
from thermview.analysis.waveform import (
    Course,
    course_of_log,
    part_series,
    refine_course,
    scan_power_on,
    step_course,
)
from thermview.board import BoardView, Part, part_outline_px
from thermview.frames import Footage, SupplyLog

Floats = NDArray[np.float64]

LEAST_SCORE = 6.5
"""Signal to noise below which nothing is listed."""
HEATED_SCORE = 6.5
POWER_DOUBT = 0.25
"""One standard deviation of the model's own error in a power, as a share (trials)."""


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """A part that looks warmer since the power came on.

    Attributes
    ----------
    part : str
        Designator.
    rank : int
        From 1.
    nature : Nature
    rise_k : float
        Of its warmest pixel at its highest, above the picture before the power, K, as seen.
    power_w, power_sigma_w : float
    onset_s : float or None
    snr : float
    likely : float
        That the part itself dissipates, 0 to 1.
    expected : bool
        Named as meant to be warm.
    words : str
        The evidence.
    x_px, y_px : float
        Its middle in the picture.
    curve_k, fitted_k : ndarray, shape (frame,)
        Its mean rise against the surroundings, and the heat fitted to it.
    """

    part: str
    rank: int
    nature: Nature
    rise_k: float
    power_w: float
    power_sigma_w: float
    onset_s: float | None
    snr: float
    likely: float
    expected: bool
    words: str
    x_px: float
    y_px: float
    curve_k: Floats = field(repr=False)
    fitted_k: Floats = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A source on no listed part; millimetres only where the view is known."""

    x_px: float
    y_px: float
    x_mm: float | None
    y_mm: float | None
    nature: Nature
    rise_k: float
    power_w: float | None
    power_sigma_w: float | None
    snr: float


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """The answer.

    Attributes
    ----------
    power_on_s : float or None
    power_on_from : str
        "given", "marked", "supply log", or "frames".
    heated : bool
        Something on the board warms beyond noise, drift and reflections.
    suspects : tuple of Suspect
        In the order of their ranks.
    elsewhere : tuple of Place
    notes : tuple of str
        What the user should know.
    times_s : ndarray, shape (frame,)
        Of the suspects' curves.
    rise_k : ndarray of float32, shape (row, column)
        The picture's rise, late against before the power, K.
    supply_w : float or None
        V·I at the supply's terminals when on.
    """

    power_on_s: float | None
    power_on_from: str
    heated: bool
    suspects: tuple[Suspect, ...]
    elsewhere: tuple[Place, ...]
    notes: tuple[str, ...]
    times_s: Floats
    rise_k: NDArray[np.float32] = field(repr=False)
    supply_w: float | None


def footprints_of(
    parts: Sequence[Part], view: BoardView, shape: tuple[int, int]
) -> list[Footprint]:
    """Return the parts on the seen side whose middle is in the picture."""
    rows, columns = shape
    prints = []
    for part in parts:
        if part.side != "top":
            continue
        outline = part_outline_px(part, view)
        x, y = outline.mean(axis=0)
        if 0 <= x < columns and 0 <= y < rows:
            area_m2 = part.width_mm * part.height_mm * 1e-6
            prints.append(Footprint(part.designator, outline, area_m2))
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
        The board's parts and how the camera sees them.
    power_on_s : float, optional
        When the power came on; from the supply's log, else from the frames, unless given.
    period_s : float, optional
        Of a pulsed supply.
    meant_warm : collection of str
        Designators of parts that rightly warm.

    Raises
    ------
    InputError
        The footage cannot be used.
    """
    take = gather(footage, progress)
    prints = footprints_of(parts, view, take.shape) if view is not None else []
    mm_per_px = view.mm_per_px if view is not None else 0.5
    return analyse(
        take,
        prints,
        mm_per_px,
        supply=footage.supply,
        power_on_s=power_on_s,
        period_s=period_s,
        meant_warm=meant_warm,
    )


def analyse(
    take: Take,
    footprints: Sequence[Footprint],
    mm_per_px: float,
    *,
    supply: SupplyLog | None = None,
    power_on_s: float | None = None,
    period_s: float | None = None,
    meant_warm: Collection[str] = (),
) -> Located:
    """Find the dissipating parts in pictures; see `locate`."""
    wide = lowpass(take.rise_k, HIGHPASS_PX)
    narrow = take.rise_k - wide
    idle = nuisances(take.times_s, take.segment)
    course, how, notes = _course(
        take,
        narrow,
        wide,
        idle,
        footprints=footprints,
        supply=supply,
        power_on_s=power_on_s,
        period_s=period_s,
    )
    modes = Modes.of(Drive.of(course.power, take.times_s), idle)
    left_over = modes.left_over(narrow)
    noise_var = float(np.median(left_over)) / modes.freedom
    coefficients = flat(modes.project(take.rise_k))
    background, turn = measure_background(coefficients, noise_var)
    modes = modes.turned(turn)
    coefficients = np.einsum("mij,mk->kij", coefficients, turn.astype(np.float32))
    variance = np.maximum(left_over / modes.freedom, noise_var).astype(np.float32)
    field_ = Field(coefficients, variance, modes, mm_per_px=mm_per_px, background=background)
    explainer = Explainer(footprints, field_)
    found = explainer.explain(LEAST_SCORE)
    explainer.refit(found)
    sham = explainer.sham()
    suspects = []
    for one in found:
        explainer.weigh(one, left_over, noise_var, sham)
        if one.fit.score < LEAST_SCORE * one.excess:
            continue
        evidence = judge(
            one,
            field_,
            all_coefficients=coefficients,
            narrow=narrow,
            wide=wide,
            noise_var=noise_var,
        )
        suspects.append(
            _suspect(
                one,
                evidence,
                take=take,
                narrow=narrow,
                modes=modes,
                course=course,
                meant_warm=meant_warm,
            )
        )
    ranked = _ranked(suspects)
    log_silent = supply is not None and len(supply) > 0 and not course.from_log
    heated = any(s.nature is Nature.HEATING and s.snr > HEATED_SCORE for s in ranked) and not (
        log_silent and power_on_s is None
    )
    return Located(
        power_on_s=course.on_s,
        power_on_from=how,
        heated=heated,
        suspects=tuple(ranked),
        elsewhere=(),
        notes=tuple(notes),
        times_s=take.times_s,
        rise_k=_late_rise(take, course.on_s),
        supply_w=course.level_w,
    )


def _course(
    take: Take,
    narrow: Block,
    wide: Block,
    idle: Floats,
    *,
    footprints: Sequence[Footprint],
    supply: SupplyLog | None,
    power_on_s: float | None,
    period_s: float | None,
) -> tuple[Course, str, list[str]]:
    notes: list[str] = []
    course = course_of_log(supply, take.times_s) if supply is not None else None
    if course is not None and (power_on_s is None or abs(course.on_s - power_on_s) < 1.0):
        return course, "supply log", notes
    if supply is not None and len(supply) and course is None:
        notes.append("the supply's log shows no power; nothing that it feeds can have warmed")
    if power_on_s is not None:
        return step_course(take.times_s, power_on_s, period_s), "given", notes
    series = part_series(narrow, list(footprints))
    centres = {f.name: f.centre_px for f in footprints}
    around = [own_courses(wide, centres[name], idle) for name in series.names]
    found = scan_power_on(
        series, around, take.times_s, idle, noise_k=take.noise_k, period_s=period_s
    )
    if found is None:
        return step_course(take.times_s, float(take.times_s[len(take.times_s) // 4])), "", notes
    if period_s is not None:
        return step_course(take.times_s, found.on_s, period_s), "frames", notes
    return refine_course(found, take.times_s, take.noise_k), "frames", notes


def _late_rise(take: Take, on_s: float) -> NDArray[np.float32]:
    before = take.rise_k[take.times_s < on_s - 0.05]
    late = take.rise_k[take.times_s > take.times_s[-1] - 1.5]
    return np.asarray(late.mean(axis=0) - (before.mean(axis=0) if len(before) else 0.0))


def _suspect(
    found: Found,
    evidence: Evidence,
    *,
    take: Take,
    narrow: Block,
    modes: Modes,
    course: Course,
    meant_warm: Collection[str],
) -> Suspect:
    fit = evidence.rest if evidence.rest_is_better and evidence.rest is not None else found.fit
    power_w = max(fit.power_w, 0.0) / SEEN
    sigma_w = float(np.hypot(fit.sigma_w / SEEN, POWER_DOUBT * power_w))
    window = found.fit.window
    heat = found.fit.picture[:, 0 : window.side, 0 : window.side]
    strength = np.einsum("mij,mij->ij", heat, heat)
    row, column = np.unravel_index(int(np.argmax(strength)), strength.shape)
    fitted = modes.active @ heat[:, row, column].astype(np.float64)
    raw = narrow[:, window.y + row, window.x + column].astype(np.float64)
    curve = raw - modes.idle @ (modes.idle.T @ raw)
    before = take.times_s < course.on_s
    zero = float(fitted[before].mean()) if before.any() else float(fitted[0])
    rise_k = float(np.percentile(fitted, 98) - zero)
    x, y = found.footprint.centre_px
    return Suspect(
        part=found.footprint.name,
        rank=0,
        nature=evidence.nature,
        rise_k=rise_k,
        power_w=power_w,
        power_sigma_w=sigma_w,
        onset_s=_onset(fitted - zero, take.times_s, course.on_s, take.noise_k),
        snr=fit.score / found.excess,
        likely=evidence.likely,
        expected=found.footprint.name in meant_warm,
        words=_words(evidence, rise_k, TAUS_S[fit.lag], course),
        x_px=float(x),
        y_px=float(y),
        curve_k=curve - zero,
        fitted_k=fitted - zero,
    )


def _onset(fitted_k: Floats, times_s: Floats, on_s: float, noise_k: float) -> float:
    """Return when the fitted heat first shows: at a tenth of its highest."""
    above = (times_s >= on_s) & (fitted_k > 0.1 * float(fitted_k.max()))
    return float(times_s[int(np.argmax(above))]) if above.any() else on_s


def _words(evidence: Evidence, rise_k: float, lag_s: float, course: Course) -> str:
    source = "the supply's log" if course.from_log else "the step"
    if evidence.nature is Nature.HEATING:
        text = f"rises {rise_k:.2g} K after {source} with a lag of about {lag_s:g} s"
        text += ", spreads to the board"
        return text
    if evidence.nature is Nature.REFLECTION:
        return "changes with its surroundings' mirror image, not with the power"
    return "neither heat nor a reflection explains it; pulse the supply, or put matt tape on it"


def _ranked(suspects: list[Suspect]) -> list[Suspect]:
    order = {Nature.HEATING: 0, Nature.UNCERTAIN: 1, Nature.REFLECTION: 2}
    ordered = sorted(
        suspects,
        key=lambda s: (
            s.nature is Nature.HEATING and s.expected,
            order[s.nature],
            s.expected,
            -s.power_w * s.likely**2,
        ),
    )
    return [replace(s, rank=i + 1) for i, s in enumerate(ordered)]
