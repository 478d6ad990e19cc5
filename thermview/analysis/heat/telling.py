"""What was judged, told: suspects and places with watts, courses, words and notes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Place, Suspect
from thermview.analysis.heat.ground import Ground, Split
from thermview.analysis.heat.judged import DOUBTED_SCORE, Judged
from thermview.analysis.heat.nature import Evidence, Nature
from thermview.analysis.heat.sources import place_sigma_px
from thermview.analysis.heat.watts import MODEL_DOUBT, within_supply
from thermview.analysis.nonnegative import nonnegative
from thermview.analysis.prepare import Take
from thermview.analysis.responses import TAUS_S, Modes
from thermview.analysis.waveform import Course
from thermview.board import BoardView

Floats = NDArray[np.float64]

BREATHING_K = 0.12
SMOOTH_FRAMES = 9
PLACE_PX, UNEVEN = 0.2, 0.05
"""How far off a place is at best, px; and, as a share of its radius, what uneven copper does."""
DOUBTED_SNR = 20.0
"""A source seen so well counts half of its power where suspects are ranked."""
CERTAINTY = 6


def suspects_of(
    judged: list[Judged],
    ground: Ground,
    parted: Split,
    take: Take,
    course: Course,
    *,
    meant_warm: frozenset[str],
) -> tuple[Suspect, ...]:
    """Return what was found at parts, ranked."""
    heats = [one for one in judged if one.evidence.nature is Nature.HEATING]
    agreed = zip(
        *within_supply(
            [one.power_w for one in heats], [one.spread for one in heats], course.level_w
        ),
        strict=True,
    )
    suspects = []
    for one in judged:
        if one.evidence.nature is Nature.HEATING:
            power_w, sigma_w = next(agreed)
        else:
            power_w = min(one.power_w, course.level_w or one.power_w)
            sigma_w = math.hypot(MODEL_DOUBT, one.spread) * power_w
        suspects.append(
            _suspect(
                one,
                ground,
                parted,
                take,
                course,
                power_w=power_w,
                sigma_w=sigma_w,
                expected=one.found.footprint.name in meant_warm,
            )
        )
    return _ranked(suspects)


def _suspect(
    one: Judged,
    ground: Ground,
    parted: Split,
    take: Take,
    course: Course,
    *,
    power_w: float,
    sigma_w: float,
    expected: bool,
) -> Suspect:
    found, evidence = one.found, one.evidence
    seen = _seen_at(_hottest_pixel(one), ground, parted, take, course)
    x, y = found.footprint.centre_px
    onset_s = _onset(seen.heat_k, take.times_s, course.on_s)
    return Suspect(
        part=found.footprint.name,
        rank=0,
        nature=evidence.nature,
        rise_k=seen.rise_k,
        power_w=power_w,
        power_sigma_w=sigma_w,
        onset_s=onset_s,
        snr=found.fit.score / found.excess,
        likely=evidence.likely,
        expected=expected,
        words=_words(evidence, seen.rise_k, TAUS_S[found.fit.lag], onset_s, course),
        x_px=float(x),
        y_px=float(y),
        curve_k=seen.curve_k,
        fitted_k=seen.fitted_k,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A pixel's curve, K over the start, beside its fit and its heat.

    `heat_k` is over its own start; `rise_k` is how far the fit rises.
    """

    curve_k: Floats
    fitted_k: Floats
    heat_k: Floats
    rise_k: float


def _hottest_pixel(one: Judged) -> tuple[int, int]:
    heat, window = one.found.fit.picture, one.found.fit.window
    strength = np.einsum("mij,mij->ij", heat, heat)
    row, column = np.unravel_index(int(np.argmax(strength)), strength.shape)
    return window.y + int(row), window.x + int(column)


def _seen_at(
    place: tuple[int, int], ground: Ground, parted: Split, take: Take, course: Course
) -> _Seen:
    modes = ground.modes
    raw: Floats = parted.narrow[:, *place].astype(np.float64)
    fitted = _heat_in(raw, modes)
    drift = modes.idle @ (modes.idle.T @ (raw - fitted))
    before = take.times_s < course.on_s
    zero = float(fitted[before].mean()) if before.any() else float(fitted[0])
    start = float((fitted + drift)[before].mean()) if before.any() else float(raw[0])
    rise_k = max(float(np.percentile(fitted + drift, 98) - start), 0.0)
    if take.anchored:
        rise_k = _whole_rise(take, course, place)
    return _Seen(raw - start, fitted + drift - start, fitted - zero, rise_k)


def _heat_in(curve_k: Floats, modes: Modes) -> Floats:
    """Return the part of one pixel's curve that answers to the power through thermal lags, K.

    Whatever the part and the board, that is a sum of the drive's answers with weights that are
    not negative.
    """
    drive = modes.drive
    answers = np.concatenate([drive.body.T, drive.sheet[0][:, ::6]], axis=1)
    answers = answers / np.maximum(np.abs(answers).max(axis=0), 1e-12)
    own = answers - modes.idle @ (modes.idle.T @ answers)
    weights, _ = nonnegative(own, curve_k - modes.idle @ (modes.idle.T @ curve_k))
    return np.asarray(answers @ weights)


def _whole_rise(take: Take, course: Course, place: tuple[int, int]) -> float:
    """Return how far a pixel rises over what it was before the power, all around it included, K."""
    row, column = place
    curve = take.rise_k[:, row, column].astype(np.float64)[None]
    smooth = cv2.blur(curve, (SMOOTH_FRAMES, 1), borderType=cv2.BORDER_REFLECT)
    before = take.times_s < course.on_s
    zero = float(take.rise_k[before, row, column].mean()) if before.any() else 0.0
    return max(float(np.percentile(smooth, 98)) - zero, 0.0)


def places_of(
    judged: list[Judged],
    ground: Ground,
    parted: Split,
    take: Take,
    course: Course,
    *,
    view: BoardView | None,
) -> tuple[Place, ...]:
    """Return the heat that is at no listed part, most first."""
    places = []
    for one in judged:
        found, evidence = one.found, one.evidence
        if evidence.nature is not Nature.HEATING:
            continue
        x, y = found.footprint.centre_px
        rows, columns = take.shape
        pixel = int(np.clip(y, 0, rows - 1)), int(np.clip(x, 0, columns - 1))
        doubt = math.hypot(MODEL_DOUBT, one.spread)
        power_w: float | None = None
        x_mm: float | None = None
        y_mm: float | None = None
        if view is not None:
            power_w = min(one.power_w, course.level_w or np.inf)
            x_mm, y_mm = (float(v) for v in view.pixel_to_board((x, y)))
        places.append(
            Place(
                x_px=float(x),
                y_px=float(y),
                x_mm=x_mm,
                y_mm=y_mm,
                radius_mm=float(np.sqrt(found.footprint.area_m2 / np.pi) * 1e3),
                nature=evidence.nature,
                rise_k=_seen_at(pixel, ground, parted, take, course).rise_k,
                power_w=power_w,
                power_sigma_w=None if power_w is None else doubt * power_w,
                snr=found.fit.score / found.excess,
                likely=evidence.likely,
                sigma_mm=None if view is None else _off_mm(one, ground, view),
            )
        )
    return tuple(sorted(places, key=lambda place: -(place.power_w or place.rise_k)))


def _off_mm(one: Judged, ground: Ground, view: BoardView) -> float:
    """Return how far off a place may be, root mean square, mm."""
    found = one.found
    radius_mm = float(np.sqrt(found.footprint.area_m2 / np.pi) * 1e3)
    noise_px = place_sigma_px(found.fit, ground.field) * found.excess
    return math.hypot(
        math.hypot(noise_px, PLACE_PX) * view.mm_per_px, UNEVEN * radius_mm, view.residual_mm
    )


def _onset(fitted_k: Floats, times_s: Floats, on_s: float) -> float:
    """Return when the fitted heat first shows: at a tenth of its highest."""
    above = (times_s >= on_s) & (fitted_k > 0.1 * float(fitted_k.max()))
    return float(times_s[int(np.argmax(above))]) if above.any() else on_s


def _explained(leaves: float) -> str:
    """Return what an explanation explains, from the share of a change that it leaves."""
    return f"{min(max(1.0 - leaves, 0.0), 1.0):.0%}"


def _words(evidence: Evidence, rise_k: float, lag_s: float, onset_s: float, course: Course) -> str:
    step = "the supply's step" if course.from_log else "the power came on"
    if evidence.nature is Nature.REFLECTION:
        return (
            f"mirrors its surroundings: they explain {_explained(evidence.mirror_leaves)} of its "
            f"change, heat {_explained(evidence.heat_leaves)}"
        )
    if evidence.nature is Nature.UNCERTAIN and evidence.cools:
        return (
            "what was warm before, such as by a finger, cools here and explains as much; let the "
            "board settle for a minute, then record again"
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
    faint = evidence.score < DOUBTED_SCORE * evidence.excess
    return (
        f"rises {rise_k:.2g} K, {after_s:.1f} s after {step}, {lag}, and spreads to the board; "
        f"heat explains {_explained(evidence.heat_leaves)} of its change"
    ) + ("; so faint that more current or a pulsed supply would make it surer" if faint else "")


def _ranked(suspects: list[Suspect]) -> tuple[Suspect, ...]:
    """Order: unexplained heat, uncertain, reflections; what is meant to be warm after the heat."""
    order = {Nature.HEATING: 0, Nature.UNCERTAIN: 1, Nature.REFLECTION: 2}

    def weight(suspect: Suspect) -> float:
        # what a strong neighbour's model leaves looks like much heat, weakly seen; and what large
        # metal mirrors would be much heat, were it any
        certain = suspect.likely**CERTAINTY
        return suspect.power_w * certain * suspect.snr / (suspect.snr + DOUBTED_SNR)

    ordered = sorted(suspects, key=lambda s: (order[s.nature], s.expected, -weight(s)))
    return tuple(replace(s, rank=i + 1) for i, s in enumerate(ordered))


def late_rise(take: Take, on_s: float) -> NDArray[np.float32]:
    """Return the rise of the last second and a half over the time before the power, K."""
    before = take.rise_k[take.times_s < on_s - 0.05]
    late = take.rise_k[take.times_s > take.times_s[-1] - 1.5]
    return np.asarray(late.mean(axis=0) - (before.mean(axis=0) if len(before) else 0.0))


def notes_of(take: Take, course: Course, how: str, *, silent: bool, heated: bool) -> list[str]:
    """Return what the user should know of the recording, in words."""
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
    if take.anchored:
        notes.append("the camera's drift was taken off by the matt patch")
    elif (breath_k := _breathing(take)) > BREATHING_K:
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
