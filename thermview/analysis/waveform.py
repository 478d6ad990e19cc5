"""The power's course over time: from the supply's log, else a step or a pulsed square."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.frames import SupplyLog

Floats = NDArray[np.float64]

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
    """Return the step of a meter's last digit, from its readings; 0 when it cannot be told."""
    for digits in range(7):
        steps = values * 10.0**digits
        if np.allclose(steps, np.round(steps), rtol=0.0, atol=1e-6):
            return float(10.0**-digits)
    return 0.0


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
    coarse = float(np.percentile(amps, 99)) < COARSE * step
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
