"""Robust slope of a whole curve."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray


def trailing_slopes(
    times_s: NDArray[np.float64], values: NDArray[np.float32], window_s: float
) -> NDArray[np.float32]:
    """Return the slope of a curve over the `window_s` seconds before each of its points.

    The median of the slopes of pairs half a window apart (Theil's incomplete method, 1950), so
    that single spikes leave it alone and an hour's curve takes a fraction of a second.

    Parameters
    ----------
    times_s, values : ndarray, shape (len,)
        The curve; NaN is a frame without a value.
    window_s : float
        Length of the window.

    Returns
    -------
    ndarray of float32, shape (len,)
        Units of `values` per second; NaN where the window is not full yet.
    """
    slopes = np.full(values.shape, np.nan, dtype=np.float32)
    good = np.flatnonzero(~np.isnan(values))
    if good.size < 4:
        return slopes
    times, clean = times_s[good], values[good].astype(np.float64)
    step_s = float(np.median(np.diff(times)))
    half = max(2, round(window_s / step_s / 2))
    if good.size < 2 * half:
        return slopes
    pairs = (clean[half:] - clean[:-half]) / (times[half:] - times[:-half])
    slopes[good[2 * half - 1 :]] = np.median(sliding_window_view(pairs, half), axis=1)
    return slopes
