"""The rise of an object above its baseline, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from thermview.radiometry.equation import object_temperature
from thermview.radiometry.planck import Floats
from thermview.radiometry.setting import Setting
from thermview.radiometry.uncertainty import (
    COVERAGE_FACTOR,
    LIMIT_K,
    Doubt,
    Reading,
    contributions,
    judge,
    no_solution,
    sensitivities,
    single,
)


def read_rise(
    now_k: float,
    baseline_k: float,
    setting: Setting,
    doubt: Doubt,
    *,
    baseline_noise_k: float = 0.0,
    limit_k: float = LIMIT_K,
) -> Reading:
    """Return the rise of an object with its uncertainty, K.

    Emissivity, reflected temperature and the camera's error are the same in both readings: what
    counts is how differently they act on the two. Only noise, a change of what is mirrored and
    the camera's gain stay in full.

    Parameters
    ----------
    now_k, baseline_k : float
        Apparent temperatures, K.
    setting, doubt : Setting, Doubt
        As for `read`; `doubt.noise_k` is of the reading now.
    baseline_noise_k : float
        Of the baseline, K; it is usually a mean of many frames.
    """
    pair = np.array([now_k, baseline_k], dtype=np.float64)
    rise_k = _rise(pair, setting)
    shares_k = _rise_terms(pair, setting, doubt, baseline_noise_k)
    first_order_k = float(np.sqrt((shares_k**2).sum()))
    low_k, high_k = _rise_interval(pair, setting, doubt, baseline_noise_k)
    interval_k = (np.array(low_k), np.array(high_k))
    many = judge(np.array(rise_k), np.array(first_order_k), interval_k, shares_k, limit_k)
    return single(many, limit_k, no_solution(now_k) or no_solution(baseline_k))


def _rise(pair_k: Floats, setting: Setting) -> float:
    now, before = object_temperature(pair_k, setting)
    return float(now - before)


def _rise_terms(pair_k: Floats, setting: Setting, doubt: Doubt, baseline_noise_k: float) -> Floats:
    """Return first-order contributions to a rise, K, in the order of `SOURCES`."""
    c = sensitivities(pair_k, object_temperature(pair_k, setting), setting)
    shares_k = contributions(pair_k, object_temperature(pair_k, setting), setting, doubt)
    rise = shares_k[:, 0] - shares_k[:, 1]  # what is common to both readings
    rise[0] = math.hypot(c["apparent"][0] * doubt.noise_k, c["apparent"][1] * baseline_noise_k)
    gain_k = c["apparent"][0] * (pair_k[0] - pair_k[1]) * doubt.camera_gain
    rise[1] = math.hypot(rise[1], gain_k)
    rise[3] = math.hypot(rise[3], c["reflected"][0] * doubt.reflected_change_k)
    return rise


def _rise_interval(
    pair_k: Floats, setting: Setting, doubt: Doubt, baseline_noise_k: float
) -> tuple[float, float]:
    """Return the ends of the 95 % interval of a rise, K.

    The emissivity's share is exact: the rise at the ends of the emissivity's own interval. The
    other shares are taken there too, since they grow as the emissivity falls.
    """
    rise_k = _rise(pair_k, setting)
    others = replace(doubt, emissivity=0.0)
    ends = []
    for sign in (1.0, -1.0):
        eps = setting.emissivity + sign * COVERAGE_FACTOR * doubt.emissivity
        if eps <= 0.0:
            return (-math.inf, math.inf) if math.isfinite(rise_k) else (math.nan, math.nan)
        at_end = replace(setting, emissivity=min(eps, 1.0))
        away = _rise(pair_k, at_end) - rise_k
        if math.isnan(
            away
        ):  # the emissivity may be so low that nothing is left of the object's own
            return (-math.inf, math.inf) if math.isfinite(rise_k) else (math.nan, math.nan)
        rest = np.sqrt((_rise_terms(pair_k, at_end, others, baseline_noise_k) ** 2).sum())
        ends.append((away, COVERAGE_FACTOR * float(rest)))
    low = min(ends, key=lambda end: end[0])
    high = max(ends, key=lambda end: end[0])
    return rise_k - math.hypot(*low), rise_k + math.hypot(*high)
