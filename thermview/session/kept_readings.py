"""Readings by tenths of a kelvin, kept: uncertainties change slowly, and cost more than numbers."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

from thermview.radiometry import Doubt, Reading, Setting, apparent_temperature, read, read_rise
from thermview.radiometry.size import recovery

STEP = 10.0
"""Steps a kelvin."""
BASELINE_FRAMES = 25


def unreadable(reason: str) -> Reading:
    """Return a reading without a number."""
    return Reading(math.nan, math.nan, math.nan, math.nan, "noise", False, reason, True)


recovery_of = lru_cache(maxsize=512)(
    lambda width, height, spread, mean: recovery(width, height, spread, mean=mean)
)


@lru_cache(maxsize=8192)
def apparent_k(steps: int, setting: Setting) -> float:
    """Return the apparent temperature of an object at so many tenths of a kelvin, K."""
    return float(apparent_temperature(steps / STEP, setting))


@lru_cache(maxsize=8192)
def temperature_of(steps: int, setting: Setting, doubt: Doubt, limit_k: float) -> Reading:
    """Return what a temperature of so many tenths of a kelvin is worth; see `read`."""
    return read(apparent_k(steps, setting), setting, doubt, limit_k=limit_k)


@lru_cache(maxsize=8192)
def rise_of(
    now_steps: int, zero_steps: int, setting: Setting, doubt: Doubt, limit_k: float
) -> Reading:
    """Return what a rise is worth, from and to so many tenths of a kelvin; see `read_rise`."""
    now_k, zero_k = apparent_k(now_steps, setting), apparent_k(zero_steps, setting)
    baseline_noise_k = doubt.noise_k / math.sqrt(BASELINE_FRAMES)
    return read_rise(
        now_k, zero_k, setting, doubt, baseline_noise_k=baseline_noise_k, limit_k=limit_k
    )


def brightness(value: float) -> Reading:
    """Return a number in counts: it has no uncertainty in kelvin."""
    return Reading(value, math.nan, math.nan, math.nan, "noise", True, "", True)


def moved(reading: Reading, value_k: float) -> Reading:
    """Return a reading that was computed for a neighbouring number, for this one."""
    if not reading.readable:
        return reading
    by_k = value_k - reading.value_k
    return replace(
        reading, value_k=value_k, low_k=reading.low_k + by_k, high_k=reading.high_k + by_k
    )
