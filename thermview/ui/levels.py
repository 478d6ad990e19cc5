"""Level and span that follow the picture: deaf to a few bad pixels, slow enough not to flicker."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

_RISE_TIME_S = 0.3  # opens quickly, so that a part that lights up is not burnt out for long
_FALL_TIME_S = 2.0  # closes slowly
_JUMP_S = 1.0  # a longer step in time is a jump in the recording: no smoothing across it
_LOW_PERCENT = 2.0
_STRIDE = 3  # every ninth pixel tells a percentile well enough
_DEAD_BAND = 0.01  # of the span; smaller moves than this are noise


def robust_range(values: NDArray[Any]) -> tuple[float, float]:
    """Return a low and a high value between which a picture is worth showing.

    The high end is the largest value that a few bad pixels do not decide: a 3 x 3 median removes
    single pixels and clusters of up to four, yet keeps the smallest part worth seeing, which a
    percentile of the whole picture would cut off with them. The low end is a percentile: heat is
    what is looked for, and shiny parts that mirror a cold corner would use up half of the axis.
    NaN is left out; a picture without any number gives (nan, nan).

    Parameters
    ----------
    values : ndarray of uint16 or float32, shape (row, column)
    """
    if values.dtype == np.float32 and not np.isfinite(values.sum()):
        finite = np.isfinite(values)
        if not finite.any():
            return math.nan, math.nan
        values = np.where(finite, values, np.median(values[finite])).astype(np.float32)
    if min(values.shape) >= 3:
        values = cv2.medianBlur(np.ascontiguousarray(values), 3)
    low, high = np.percentile(values[::_STRIDE, ::_STRIDE], _LOW_PERCENT), values.max()
    return min(float(low), float(high)), float(high)


class AutoLevel:
    """Follows the pictures' range in time."""

    def __init__(self, *, through_zero: bool) -> None:
        self._through_zero = through_zero
        self.reset()

    def reset(self) -> None:
        """Take the next picture's range as it is."""
        self._low = self._high = self._time_s = math.nan

    def follow(
        self, bounds: tuple[float, float], time_s: float, least: float
    ) -> tuple[float, float]:
        """Return the axis' (low, high) after one more picture; NaN until one had a value.

        Parameters
        ----------
        bounds : (float, float)
            The picture's `robust_range`.
        time_s : float
            The picture's time, s.
        least : float
            Least span, in the unit of `bounds`.
        """
        low, high = bounds
        if math.isnan(low):
            return self._low, self._high
        if self._through_zero:
            low, high = min(low, 0.0), max(high, 0.0)
        lack = max(0.0, least - (high - low)) / 2
        low, high = low - lack, high + lack
        step_s = time_s - self._time_s
        self._time_s = time_s
        if not 0.0 <= step_s <= _JUMP_S or math.isnan(self._low):
            self._low, self._high = low, high
        else:
            dead = _DEAD_BAND * (self._high - self._low)
            self._low -= _eased(self._low - low, step_s, dead)
            self._high += _eased(high - self._high, step_s, dead)
        return self._low, self._high


def _eased(outward: float, step_s: float, dead: float) -> float:
    """Return how far an end moves outward (negative: inward) in `step_s` seconds."""
    if abs(outward) <= dead:
        return 0.0
    return outward * -math.expm1(-step_s / (_RISE_TIME_S if outward > 0 else _FALL_TIME_S))
