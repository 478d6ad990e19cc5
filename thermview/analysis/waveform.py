"""The power's course over time: from the supply's log, else a step or a pulsed square."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from thermview.analysis.heat_model import HIGHPASS_PX, SPREAD_PX, Footprint
from thermview.analysis.prepare import Block
from thermview.analysis.responses import one_pole
from thermview.frames import SupplyLog

Floats = NDArray[np.float64]

SCAN_LAGS_S = (0.1, 0.4, 1.5, 5.0)
COARSE = 10  # readings of fewer steps of the meter's last digit tell no shape
ON_SHARE = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The power's course at the frames' times.

    Attributes
    ----------
    power : ndarray, shape (time,)
        In units of its usual level when on.
    on_s : float
        When it first came on.
    level_w : float or None
        What one unit is at the supply's terminals, W; None without a log or with one too coarse.
    from_log : bool
    period_s : float or None
        Of a pulsed supply.
    """

    power: Floats
    on_s: float
    level_w: float | None = None
    from_log: bool = False
    period_s: float | None = None


def resolution(values: Floats) -> float:
    """Return the step of a meter's last digit, from its readings; 0 when they never change."""
    steps = np.diff(np.unique(values))
    steps = steps[steps > 1e-9]
    return float(steps.min()) if steps.size else 0.0


def course_of_log(log: SupplyLog, times_s: Floats) -> Course | None:
    """Return the course of a supply's log; None where it shows no power.

    V·I; where the current is so small that the meter shows it in a few steps, V² instead, whose
    course is the same in a short.
    """
    if len(log) < 2:
        return None
    volts = np.nan_to_num(log.voltage_v)
    amps = np.nan_to_num(log.current_a)
    watts = volts * amps
    level_w: float | None = None
    step = resolution(amps)
    coarse = step == 0 or float(np.percentile(amps, 99)) < COARSE * step
    shape = watts if not coarse else volts**2
    most = float(np.percentile(shape, 99))
    if most <= 0 or float(volts.max()) < 0.02:
        return None
    high = shape[shape > 0.3 * most]
    level = float(np.median(high))
    # the log ends before or begins after the frames: its ends hold
    power = np.interp(times_s, log.time_s, shape) / level
    if not coarse:
        level_w = level
    else:
        on = shape > 0.3 * most
        level_w = float(np.median(volts[on]) * (np.median(amps[on]) + 0.5 * step))
    on_s = float(log.time_s[int(np.argmax(shape > ON_SHARE * most))])
    return Course(power, on_s, level_w, True, pulse_period(log.time_s, shape > 0.5 * level))


def pulse_period(times_s: Floats, on: NDArray[np.bool_]) -> float | None:
    """Return the period of a supply that is switched on at even intervals three times or more."""
    rises = times_s[1:][on[1:] & ~on[:-1]]
    if len(rises) < 3:
        return None
    between = np.diff(rises)
    if float(np.ptp(between)) > 0.25 * float(np.median(between)):
        return None
    return float(between.mean())


def step_course(times_s: Floats, on_s: float, period_s: float | None = None) -> Course:
    """Return a step at a time, or a square of a period, half of it on, that begins then."""
    return Course(step_at(times_s, np.array([on_s]), period_s)[:, 0], on_s, period_s=period_s)


def step_at(times_s: Floats, on_s: Floats, period_s: float | None = None) -> Floats:
    """Return steps (or squares) that begin at several times, shape (time, beginning)."""
    since = times_s[:, None] - on_s
    frame_s = float(np.median(np.diff(times_s)))
    # a frame after the switching belongs to it in part: the mean over one frame's time
    if period_s is None:
        return np.clip(since / frame_s + 0.5, 0.0, 1.0)
    phase = np.mod(since, period_s)
    rising = np.clip(phase / frame_s + 0.5, 0.0, 1.0) * (phase < period_s / 2)
    falling = np.clip((period_s / 2 - phase) / frame_s + 0.5, 0.0, 1.0) * (phase >= period_s / 2)
    again = np.clip((phase - period_s) / frame_s + 0.5, 0.0, 1.0)
    return np.where(since >= -0.5 * frame_s, np.maximum(rising + falling, again), 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """A curve for each part: matched to its size, unit noise gain; shape (time, part)."""

    values: Floats
    names: list[str]


def part_series(narrow: Block, footprints: list[Footprint]) -> Series:
    """Return each part's curve from high-passed pictures."""
    rows, columns = narrow.shape[1:]
    margin = round(2 * HIGHPASS_PX / 3)
    curves, names = [], []
    for footprint in footprints:
        low = np.floor(footprint.outline_px.min(axis=0)).astype(int) - margin
        high = np.ceil(footprint.outline_px.max(axis=0)).astype(int) + margin + 1
        x0, y0 = max(0, low[0]), max(0, low[1])
        x1, y1 = min(columns, high[0]), min(rows, high[1])
        if x1 - x0 < 3 or y1 - y0 < 3:
            continue
        mask = np.zeros(((y1 - y0) * 4, (x1 - x0) * 4), np.uint8)
        corners = (footprint.outline_px - [x0, y0]) * 4 - 0.5
        cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 255, cv2.LINE_8, 4)
        share = cv2.resize(mask, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA) / 255.0
        weight = cv2.GaussianBlur(share.astype(np.float32), (0, 0), SPREAD_PX)
        size = float(np.sqrt(np.sum(weight**2)))
        if size <= 0:
            continue
        cut = narrow[:, y0:y1, x0:x1].reshape(len(narrow), -1)
        curves.append(cut @ (weight / size).ravel())
        names.append(footprint.name)
    table = np.stack(curves, axis=1) if curves else np.zeros((len(narrow), 0))
    return Series(table.astype(np.float64), names)


@dataclass(frozen=True, slots=True, eq=False)
class Switching:
    """Where a switching of the power shows best: when, in which part's curve, how clearly."""

    on_s: float
    name: str
    score: float
    curve: Floats
    idle: Floats


def scan_power_on(
    series: Series,
    surroundings: Sequence[Floats],
    times_s: Floats,
    idle: Floats,
    *,
    noise_k: float,
    period_s: float | None = None,
    step: int = 2,
) -> Switching | None:
    """Find the time at which a switching explains some part's curve best.

    What a part's surroundings show as well is left out of its curve and of the answers, so that
    a hand's coming is no switching.

    Parameters
    ----------
    series : Series
    surroundings : sequence of ndarray, shape (time, course)
        Of each part: orthonormal, orthogonal to `idle`.
    times_s : ndarray, shape (time,)
    idle : ndarray, shape (time, nuisance)
        Orthonormal courses that are no evidence.
    noise_k : float
        Of a curve.
    period_s : float, optional
        Of a pulsed supply.
    step : int
        Every so many frames are tried.
    """
    tried = times_s[(times_s > times_s[0] + 0.8) & (times_s < times_s[-1] - 1.5)][::step]
    if period_s is not None:
        tried = tried[tried < times_s[0] + 0.8 + 3 * period_s]
    if not len(tried) or not series.names:
        return None
    courses = step_at(times_s, tried, period_s)
    answers = np.concatenate(
        [one_pole(courses, times_s, np.full(len(tried), 1.0 / lag)) for lag in SCAN_LAGS_S], axis=1
    )
    answers -= idle @ (idle.T @ answers)
    energy = np.sum(answers**2, axis=0)
    curves = series.values - idle @ (idle.T @ series.values)
    freedom = len(times_s) - idle.shape[1] - 4
    best: Switching | None = None
    for name, curve, around in zip(series.names, curves.T, surroundings, strict=True):
        own = curve - around @ (around.T @ curve)
        left = energy - np.sum((around.T @ answers) ** 2, axis=0)
        amount = own @ answers
        usable = (amount > 0) & (left > 0.02 * energy)
        explained = np.where(usable, amount**2 / np.maximum(left, 1e-12), 0.0)
        at = int(np.argmax(explained))
        rest = max(float(own @ own - explained[at]) / freedom, noise_k**2)
        score = float(np.sqrt(explained[at] / rest))
        if best is None or score > best.score:
            both = np.concatenate([idle, around], axis=1)
            best = Switching(float(tried[at % len(tried)]), name, score, own, both)
    return best


RAMPS_S = (0.0, 0.3, 0.6, 1.0, 1.5)
FINE_LAGS_S = np.geomspace(0.08, 20.0, 7)
LATER_STEPS = (-1.0, 0.5, 1.0, 2.0)
CLEAR = 18.0  # score from which a curve tells more than when
MORE_IS_BETTER = 25.0
"""A step more must explain so much, in units of the noise's variance."""


def refine_course(switching: Switching, times_s: Floats, noise_k: float) -> Course:
    """Return the course that explains a part's curve best: beginning, ramp, later steps.

    Whatever the part, its answer is a sum of poles with positive weights (non-negative least
    squares), which leaves the course's shape to be found by trying.
    """
    if switching.score < CLEAR:
        return step_course(times_s, switching.on_s)
    frame_s = float(np.median(np.diff(times_s)))
    begins = switching.on_s + np.arange(-1.6, 0.81, 2 * frame_s)
    begins = begins[(begins > times_s[0] + 0.3) & (begins < times_s[-1] - 1.0)]
    variance = noise_k**2
    best, best_cost, best_on_s = None, np.inf, switching.on_s
    for ramp_s in RAMPS_S:
        for on_s in begins:
            power = np.clip((times_s - on_s) / max(ramp_s, frame_s), 0.0, 1.0)
            # a weak curve does not move the beginning: steps are what switches give
            doubt = ((on_s - switching.on_s) / 0.3) ** 2 + (ramp_s > 0) * 2.0 + ramp_s**2
            cost = _unexplained(power, switching, times_s) + doubt * variance
            if cost < best_cost:
                best, best_cost, best_on_s = power, cost, float(on_s)
    assert best is not None
    for _ in range(2):
        variance = max(noise_k**2, best_cost / len(times_s))
        found = _later_step(best, best_on_s, switching, times_s)
        if found is None or best_cost - found[1] < MORE_IS_BETTER * variance:
            break
        best, best_cost = found
    level = float(np.percentile(best, 90))
    return Course(best / level if level > 0 else best, best_on_s)


def _later_step(
    power: Floats, on_s: float, switching: Switching, times_s: Floats
) -> tuple[Floats, float] | None:
    """Return the course with the best further step, and what it leaves unexplained."""
    best: tuple[Floats, float] | None = None
    for later_s in np.arange(on_s + 1.0, times_s[-1] - 1.0, 0.4):
        step = step_at(times_s, np.array([later_s]))[:, 0]
        for amount in LATER_STEPS:
            trial = power + amount * step
            if trial.min() < 0:
                continue
            left = _unexplained(trial, switching, times_s)
            if best is None or left < best[1]:
                best = (trial, left)
    return best


def _unexplained(power: Floats, switching: Switching, times_s: Floats) -> float:
    answers = one_pole(power, times_s, 1.0 / FINE_LAGS_S)
    answers -= switching.idle @ (switching.idle.T @ answers)
    answers /= np.maximum(np.linalg.norm(answers, axis=0), 1e-12)
    _, left = nnls(answers, switching.curve)
    return float(left) ** 2
