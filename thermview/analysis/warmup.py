"""Where a warming (or cooling) region will end and when, told early, with how sure that is.

One exponential, T(t) = T∞ + (T₀ − T∞)·exp(−(t − t₀)/τ), fitted by least squares: for each τ of a
grid T∞ and the step are linear, and the profile of the sum of squares gives intervals that hold
although T∞ and τ are strongly correlated while the curve is still young (profile likelihood, see
e.g. Bates & Watts, Nonlinear Regression Analysis, ch. 6). Where the profile does not close, the
end cannot be known yet and nothing is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
FEWEST = 12
LEAST_S = 30.0
"""A part's own body settles within seconds, the board it sits on in minutes (ρcd/h is 160 s for
1.6 mm laminate losing 20 W/m²K): what fits a shorter stretch may be the part's constant only."""
MOST_POINTS = 300
NEARLY = 0.05
"""Settled is what has so little of its change still before it."""
LARGEST_SHARE = 0.25
"""An end that is uncertain by more than this share of the whole change is not told."""
CLEAR = 8.0
"""The change must be so many times the scatter of a sample."""
LIKE_NOISE = 0.5
"""Residuals that resemble their neighbours more than this say: not one exponential."""
SIGNIFICANT = 0.99
_TAUS = 200
_STARTS = (0.0, 0.2, 0.4, 0.6)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a curve ends, and when.

    Attributes
    ----------
    end_k : float
        T∞, K.
    low_k, high_k : float
        Between these it ends in 95 of 100 cases, K.
    tau_s, tau_low_s, tau_high_s : float
        Time constant and its 95 % interval, s.
    settled_s : float
        Time, on the samples' clock, from which less than a twentieth of the change is left.
    """

    end_k: float
    low_k: float
    high_k: float
    tau_s: float
    tau_low_s: float
    tau_high_s: float
    settled_s: float

    @property
    def half_k(self) -> float:
        """Return the larger half of the 95 % interval, K."""
        return max(self.high_k - self.end_k, self.end_k - self.low_k)


def forecast(times_s: Floats, values_k: NDArray[np.floating]) -> Forecast | None:
    """Tell where a curve that follows a step will end; None while it cannot be known.

    A part warms quickly, then with the board: where one exponential does not fit the whole curve,
    its later parts are tried.

    Parameters
    ----------
    times_s, values_k : ndarray, shape (sample,)
        From the step on; NaN is passed over.
    """
    known = np.isfinite(values_k)
    times, values = times_s[known], values_k[known].astype(np.float64)
    if len(times) < FEWEST:
        return None
    for share in _STARTS:
        later = times >= times[0] + share * (times[-1] - times[0])
        if later.sum() < FEWEST or np.ptp(times[later]) < LEAST_S:
            return None
        fitted = fit_exponential(*_thinned(times[later], values[later]))
        if fitted is not None and fitted.fits:
            return fitted.forecast if fitted.worth_telling else None
    return None


def _thinned(times_s: Floats, values_k: Floats) -> tuple[Floats, Floats]:
    """Return means of equal groups of samples, `MOST_POINTS` at most."""
    group = -(-len(times_s) // MOST_POINTS)
    whole = len(times_s) // group * group
    return (
        times_s[-whole:].reshape(-1, group).mean(axis=1),
        values_k[-whole:].reshape(-1, group).mean(axis=1),
    )


@dataclass(frozen=True, slots=True)
class Exponential:
    """One exponential's fit.

    Attributes
    ----------
    forecast : Forecast
    change_k : float
        From the first sample to the end, K.
    scatter_k : float
        Standard deviation of the residuals, K.
    fits : bool
        Nothing speaks against one exponential: neither do neighbouring residuals resemble each
        other, nor does a straight drift beside it explain much more.
    closed : bool
        The data bound the end on both sides.
    """

    forecast: Forecast
    change_k: float
    scatter_k: float
    fits: bool
    closed: bool

    @property
    def worth_telling(self) -> bool:
        """Tell whether the end is known well enough to be of use."""
        return (
            self.closed
            and abs(self.change_k) > CLEAR * self.scatter_k
            and self.forecast.half_k < LARGEST_SHARE * abs(self.change_k)
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Profile:
    """Least squares for each τ: the sum of squares, the end, the step, the end's variance."""

    taus_s: Floats
    squares: Floats
    ends_k: Floats
    steps_k: Floats
    gains: Floats

    @classmethod
    def of(cls, since_s: Floats, values_k: Floats, taus_s: Floats) -> _Profile:
        decay = np.exp(-since_s / taus_s[:, None])
        mean = decay.mean(axis=1)
        decay -= mean[:, None]
        spread = np.einsum("ts,ts->t", decay, decay)
        off = values_k - values_k.mean()
        steps = decay @ off / spread
        squares = np.maximum(float(off @ off) - steps**2 * spread, 0.0)
        gains = 1 / len(since_s) + mean**2 / spread
        return cls(taus_s, squares, values_k.mean() - steps * mean, steps, gains)

    def within(self, limit: float) -> NDArray[np.int64]:
        """Return the positions whose sum of squares is at most so much above the least."""
        return np.flatnonzero(self.squares - self.squares.min() <= limit)


def fit_exponential(times_s: Floats, values_k: Floats) -> Exponential | None:
    """Fit one exponential; None where the curve has no shape at all.

    Parameters
    ----------
    times_s, values_k : ndarray, shape (sample,)
        Increasing times; no NaN.
    """
    count = len(times_s)
    since = times_s - times_s[0]
    span = float(since[-1])
    profile = _Profile.of(since, values_k, np.geomspace(span / count, 30.0 * span, _TAUS))
    best = int(np.argmin(profile.squares))
    if profile.squares[best] <= 0:
        return None
    off = values_k - profile.ends_k[best]
    residual = off - profile.steps_k[best] * np.exp(-since / profile.taus_s[best])
    alike = float(residual[1:] @ residual[:-1] / (residual @ residual))
    # neighbours that scatter together count for fewer samples
    fewer = (1 + max(alike, 0.0)) / max(1 - max(alike, 0.0), 0.05)
    level = fewer * float(fdtri(1, count - 3, CONFIDENCE)) / (count - 3)
    inside = profile.within(level * profile.squares[best])
    closed = bool(inside[0] > 0 and inside[-1] < _TAUS - 1)
    if closed:  # the interval is often finer than the grid
        ends = profile.taus_s[inside[0] - 1], profile.taus_s[inside[-1] + 1]
        profile = _Profile.of(since, values_k, np.geomspace(*ends, _TAUS))
        best = int(np.argmin(profile.squares))
        inside = profile.within(level * profile.squares[best])
    room = level * profile.squares[best] - (profile.squares - profile.squares[best])[inside]
    reach = np.sqrt(np.maximum(room, 0.0) * profile.gains[inside])
    tau_s = float(profile.taus_s[best])
    found = Forecast(
        end_k=float(profile.ends_k[best]),
        low_k=float((profile.ends_k[inside] - reach).min()),
        high_k=float((profile.ends_k[inside] + reach).max()),
        tau_s=tau_s,
        tau_low_s=float(profile.taus_s[inside[0]]),
        tau_high_s=float(profile.taus_s[inside[-1]]),
        settled_s=float(times_s[0] + tau_s * math.log(1.0 / NEARLY)),
    )
    scatter_k = math.sqrt(profile.squares[best] / (count - 3))
    fits = alike < LIKE_NOISE and not _drifts_beside(since, values_k, profile.squares[best])
    return Exponential(found, -float(profile.steps_k[best]), scatter_k, fits, closed)


def _drifts_beside(since_s: Floats, values_k: Floats, squares: float) -> bool:
    """Tell whether a straight drift beside the exponential explains significantly more."""
    count = len(since_s)
    line = np.stack([np.ones(count), since_s - since_s.mean()], axis=1)
    line /= np.linalg.norm(line, axis=0)
    span = float(since_s[-1])
    decay = np.exp(-since_s / np.geomspace(span / count, span, 60)[:, None])
    decay -= (decay @ line) @ line.T
    off = values_k - line @ (line.T @ values_k)
    explained = (decay @ off) ** 2 / np.einsum("ts,ts->t", decay, decay)
    left = max(float(off @ off - explained.max()), 1e-30)
    gain = (squares - left) * (count - 4) / left
    return gain > float(fdtri(1, count - 4, SIGNIFICANT))
