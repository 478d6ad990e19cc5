"""How fast a curve rises, and whether it has come to rest; single spikes leave both alone.

Two estimators, both medians of slopes between pairs of points:

- `robust_slope`: all pairs (Theil, 1950; Sen, J. Am. Stat. Assoc. 63 (1968) 1379), for one stretch
  of a curve, with its standard uncertainty.
- `rates` and `RateMeter`: the slope at every point of a curve, over the window that ends there.
  Each point is paired with the one two thirds of the window earlier, and the median is of the
  pairs that ended in the last third. Only the past counts, so that a live curve and a replayed
  one have the same rates, to the last digit; a sixth of the window's points may be spikes.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import deque
from math import isnan
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from thermview.errors import UsageError

Floats = NDArray[np.float64]
AnyReal = TypeVar("AnyReal", np.float32, np.float64)

MOST_POINTS = 400
"""Longer stretches are first gathered into this many groups: all pairs of them take 2 ms."""

FEWEST_FOR_SIGMA = 5
"""The line runs through two of the points: the rest of fewer says nothing of the noise."""

SIGMA_OF_MAD = 1.482602218505602
"""Standard deviation of normal noise in units of its median absolute deviation, 1/Φ⁻¹(3/4)."""

THEIL_SEN_EXCESS = 1.0233
"""Its standard deviation over least squares' with normal noise, √(π/3) (Sen 1968)."""

LAG = 2 / 3
"""Part of the window between the two points of a pair: with normal noise the rate's deviation is
then 1.33 times least squares', less than for any other split into pairs (1/2: 1.45)."""

SETTLED_K_PER_S = 0.01
"""A curve this slow has come to rest: what is read a minute later is off by 0.6 K at most."""


def upper_median(values: NDArray[AnyReal], axis: int = -1) -> NDArray[AnyReal]:
    """Return the median along an axis, of an even number the upper one of the middle two.

    Four times as fast as numpy's for pictures: no NaN is looked for, and each pixel's values lie
    together.
    """
    lined = values if axis == -1 else np.ascontiguousarray(np.moveaxis(values, axis, -1))
    half = lined.shape[-1] // 2
    return np.asarray(np.partition(lined, half, axis=-1)[..., half])


class Slope(NamedTuple):
    """A slope and its standard uncertainty, in units of the values per second."""

    per_s: float
    sigma_per_s: float


def robust_slope(times_s: ArrayLike, values: ArrayLike) -> Slope:
    """Return the slope of one stretch of a curve by the median over all pairs of points.

    Parameters
    ----------
    times_s, values : array_like, shape (points,)
        The stretch; need not be even. NaN is a point without a value.

    Returns
    -------
    Slope
        NaN with fewer than two points; the uncertainty is NaN with fewer than five. It comes
        from the residuals' median absolute deviation and holds for noise that is independent
        from point to point.
    """
    times, clean = _with_values(times_s, values)
    if len(times) < 2:
        return Slope(np.nan, np.nan)
    if len(times) > MOST_POINTS:
        times, clean = _grouped(times, clean)
    first, second = np.triu_indices(len(times), 1)
    slope = float(np.median((clean[second] - clean[first]) / (times[second] - times[first])))
    if len(times) < FEWEST_FOR_SIGMA:
        return Slope(slope, np.nan)
    residuals = clean - slope * times
    noise = SIGMA_OF_MAD * float(np.median(np.abs(residuals - np.median(residuals))))
    noise *= len(times) / (len(times) - 2)  # few points fit their line too well (by trials)
    spread = float(np.sqrt(np.sum((times - times.mean()) ** 2)))
    return Slope(slope, THEIL_SEN_EXCESS * noise / spread)


def is_settled(slope: Slope, limit_per_s: float = SETTLED_K_PER_S) -> bool:
    """Tell whether a curve has come to rest, as far as its noise lets one see.

    It has not where its slope is beyond the limit by more than two standard uncertainties can
    explain. A slope that is not known (NaN) is no sign of motion.
    """
    sigma = 0.0 if np.isnan(slope.sigma_per_s) else slope.sigma_per_s
    return not abs(slope.per_s) > limit_per_s + 2 * sigma


def rates(times_s: ArrayLike, values: ArrayLike, window_s: float) -> Floats:
    """Return the slope at every point of a curve over the `window_s` seconds before it.

    Parameters
    ----------
    times_s, values : array_like, shape (points,)
        The curve; times increase and need not be even. NaN is a point without a value.
    window_s : float
        Length of the window, s.

    Returns
    -------
    ndarray of float64, shape (points,)
        Units of `values` per second; NaN at points without a value, and until the window has
        filled since the start or since a gap longer than a third of it.
    """
    _check_window(window_s)
    all_values = np.asarray(values, dtype=np.float64)
    times, clean = _with_values(times_s, values)
    result = np.full(all_values.shape, np.nan)
    pairs, ended = _pairs(times, clean, window_s * LAG)
    if len(pairs) == 0:
        return result
    # how many pairs ended within the last third, made odd so that the median is one of them
    number = np.arange(len(pairs)) + 1
    number -= np.searchsorted(times[ended], times[ended] - window_s * (1 - LAG), side="right")
    number -= 1 - number % 2
    medians = np.empty(len(pairs))
    for size in np.unique(number):
        chosen = np.flatnonzero(number == size)
        windows = sliding_window_view(pairs, size)[chosen - size + 1]
        medians[chosen] = np.partition(windows, size // 2, axis=1)[:, size // 2]
    filled = times[ended] - _run_starts(times, ended) >= window_s * (1 - LAG)
    result[np.flatnonzero(~np.isnan(all_values))[ended[filled]]] = medians[filled]
    return result


class RateMeter:
    """The same rates as `rates`, point by point as they come.

    Parameters
    ----------
    window_s : float
        Length of the window, s.
    """

    def __init__(self, window_s: float) -> None:
        _check_window(window_s)
        self._lag_s = window_s * LAG
        self._last_s = window_s * (1 - LAG)
        self._points: deque[tuple[float, float]] = deque()
        self._pairs: deque[tuple[float, float]] = deque()  # time it ended, slope
        self._sorted: list[float] = []
        self._run_start_s = float("nan")  # when pairs began to follow each other point by point

    def push(self, time_s: float, value: float) -> float:
        """Take the next point and return the slope there, or NaN."""
        if isnan(value):
            return float("nan")
        points = self._points
        points.append((time_s, value))
        while len(points) > 1 and points[1][0] <= time_s - self._lag_s:
            points.popleft()
        while self._pairs and self._pairs[0][0] <= time_s - self._last_s:
            del self._sorted[bisect_left(self._sorted, self._pairs.popleft()[1])]
        then, earlier = points[0]
        if not time_s - 1.5 * self._lag_s <= then <= time_s - self._lag_s:
            self._run_start_s = float("nan")
            return float("nan")
        if isnan(self._run_start_s):
            self._run_start_s = time_s
        slope = (value - earlier) / (time_s - then)
        self._pairs.append((time_s, slope))
        insort(self._sorted, slope)
        if time_s - self._run_start_s < self._last_s:
            return float("nan")
        if len(self._sorted) % 2:
            return self._sorted[len(self._sorted) // 2]
        # an even number: leave the oldest pair out, as `rates` does
        oldest = bisect_left(self._sorted, self._pairs[0][1])
        middle = len(self._sorted) // 2 - 1
        return self._sorted[middle if middle < oldest else middle + 1]


def _check_window(window_s: float) -> None:
    if not 0 < window_s < np.inf:
        raise UsageError(f"the window for a rate must be above 0 s, got {window_s:g} s")


def _with_values(times_s: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    times = np.asarray(times_s, dtype=np.float64)
    clean = np.asarray(values, dtype=np.float64)
    there = ~np.isnan(clean)
    return times[there], clean[there]


def _grouped(times: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return mean times and mean values of `MOST_POINTS` groups of neighbours, spikes cut off."""
    size = -(-len(times) // MOST_POINTS)
    whole = len(times) // size * size
    values = values[len(values) - whole :].reshape(-1, size)
    times = times[len(times) - whole :].reshape(-1, size)
    if size == 2:
        return times.mean(axis=1), values.mean(axis=1)
    kept = np.sort(values, axis=1)[:, size // 4 : size - size // 4]
    return times.mean(axis=1), kept.mean(axis=1)


def _pairs(times: Floats, values: Floats, lag_s: float) -> tuple[Floats, NDArray[np.intp]]:
    """Return the slopes from the latest point at least `lag_s` earlier, and where they end."""
    then = np.searchsorted(times, times - lag_s, side="right") - 1
    ended = np.flatnonzero(then >= 0)
    then = then[ended]
    near = times[then] >= times[ended] - 1.5 * lag_s
    ended, then = ended[near], then[near]
    return (values[ended] - values[then]) / (times[ended] - times[then]), ended


def _run_starts(times: Floats, ended: NDArray[np.intp]) -> Floats:
    """Return for each pair when its run began: pairs that end at one point after the other."""
    begins = np.concatenate(([True], np.diff(ended) > 1))
    starts: Floats = times[ended][begins][np.cumsum(begins) - 1]
    return starts
