"""The rise of an object above its baseline, and how sure it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from thermview.radiometry.coverage import COVERAGE_FACTOR, coverage_factor
from thermview.radiometry.equation import object_temperature
from thermview.radiometry.planck import Floats
from thermview.radiometry.setting import Setting
from thermview.radiometry.uncertainty import (
    LIMIT_K,
    Doubt,
    Reading,
    Readings,
    contributions,
    freedom_of,
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
    """Return one rise of an object with its uncertainty, K; see `read_rises`."""
    many = read_rises(
        now_k, baseline_k, setting, doubt, baseline_noise_k=baseline_noise_k, limit_k=limit_k
    )
    return single(many, limit_k, no_solution(now_k) or no_solution(baseline_k))


def read_rises(
    now_k: ArrayLike,
    baseline_k: ArrayLike,
    setting: Setting,
    doubt: Doubt,
    *,
    baseline_noise_k: float = 0.0,
    limit_k: float = LIMIT_K,
) -> Readings:
    """Return rises of an object with their uncertainties, K.

    Emissivity, reflected temperature and the camera's error are the same in both readings: what
    counts is how differently they act on the two. Only noise, a change of what is mirrored and
    the camera's gain stay in full.

    Parameters
    ----------
    now_k, baseline_k : array_like
        Apparent temperatures, K, of one shape or broadcast.
    setting, doubt : Setting, Doubt
        As for `read`; `doubt.noise_k` is of the reading now.
    baseline_noise_k : float
        Of the baseline, K; it is usually a mean of many frames.
    """
    pair = np.stack(
        np.broadcast_arrays(np.asarray(now_k, np.float64), np.asarray(baseline_k, np.float64))
    )
    rise_k = _rise(pair, setting)
    shares_k = _rise_terms(pair, setting, doubt, baseline_noise_k)
    first_order_k = np.sqrt((shares_k**2).sum(axis=0))
    freedom = freedom_of(shares_k, doubt)
    interval_k = _rise_interval(
        pair,
        rise_k,
        setting,
        doubt,
        baseline_noise_k=baseline_noise_k,
        reach=coverage_factor(freedom),
    )
    return judge(rise_k, first_order_k, interval_k, shares_k, limit_k, freedom=freedom)


def _rise(pair_k: Floats, setting: Setting) -> Floats:
    now, before = object_temperature(pair_k, setting)
    return np.asarray(now - before)


def _rise_terms(pair_k: Floats, setting: Setting, doubt: Doubt, baseline_noise_k: float) -> Floats:
    """Return first-order contributions to a rise, K, in the order of `SOURCES`."""
    object_k = object_temperature(pair_k, setting)
    c = sensitivities(pair_k, object_k, setting)
    shares_k = contributions(pair_k, object_k, setting, doubt)
    rise = shares_k[:, 0] - shares_k[:, 1]  # what is common to both readings
    rise[0] = np.hypot(c["apparent"][0] * doubt.noise_k, c["apparent"][1] * baseline_noise_k)
    gain_k = c["apparent"][0] * (pair_k[0] - pair_k[1]) * doubt.camera_gain
    rise[1] = np.hypot(rise[1], gain_k)
    rise[3] = np.hypot(rise[3], c["reflected"][0] * doubt.reflected_change_k)
    return rise


def _rise_interval(
    pair_k: Floats,
    rise_k: Floats,
    setting: Setting,
    doubt: Doubt,
    *,
    baseline_noise_k: float,
    reach: Floats,
) -> tuple[Floats, Floats]:
    """Return the ends of the 95 % interval of rises, K.

    The emissivity's share is exact: the rise at the ends of the emissivity's own interval. The
    other shares are taken there too, since they grow as the emissivity falls. Where the emissivity
    may be so low that nothing is left of the object's own radiance, there are no ends.
    """
    others = replace(doubt, emissivity=0.0)
    aways, rests = [], []
    for sign in (1.0, -1.0):
        eps = setting.emissivity + sign * COVERAGE_FACTOR * doubt.emissivity
        at_end = replace(setting, emissivity=min(max(eps, 1e-6), 1.0))
        away = _rise(pair_k, at_end) - rise_k
        aways.append(away if eps > 0.0 else np.full_like(away, np.nan))
        terms_k = _rise_terms(pair_k, at_end, others, baseline_noise_k)
        rests.append(reach * np.sqrt((terms_k**2).sum(axis=0)))
    first_is_low = aways[0] <= aways[1]
    low_k = rise_k - np.hypot(
        np.where(first_is_low, aways[0], aways[1]), np.where(first_is_low, rests[0], rests[1])
    )
    high_k = rise_k + np.hypot(
        np.where(first_is_low, aways[1], aways[0]), np.where(first_is_low, rests[1], rests[0])
    )
    endless = np.isfinite(rise_k) & ~(np.isfinite(low_k) & np.isfinite(high_k))
    return np.where(endless, -np.inf, low_k), np.where(endless, np.inf, high_k)
