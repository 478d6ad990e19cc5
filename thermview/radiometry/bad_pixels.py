"""Pixels of the camera that do not see: found, kept as a mask, filled from their neighbours."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Counts
from thermview.radiometry.planck import Floats

Mask = NDArray[np.bool_]

_NOISY: Final = 5.0  # times the median pixel's noise
_DEAD: Final = 0.05
_APART: Final = 10.0  # robust deviations of pixels from their neighbourhood's median
_NEIGHBOURS = 5
_RING = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]], dtype=np.bool_)


def find_bad_pixels(mean_k: Floats, noise_k: Floats) -> Mask:
    """Return the pixels that do not see.

    A pixel is bad when it has no value, hardly any noise, far too much, or stands out from its
    eight neighbours as no lens lets a point of heat stand out (a real one warms its neighbours).

    Parameters
    ----------
    mean_k, noise_k : ndarray, shape (row, column)
        Mean over still frames and temporal standard deviation, K.

    Returns
    -------
    ndarray of bool, shape (row, column)
        True where bad.
    """
    from scipy.ndimage import percentile_filter, rank_filter  # late: most commands do without

    typical_k = float(np.nanmedian(noise_k))
    bad: Mask = ~(np.isfinite(mean_k) & np.isfinite(noise_k))
    if typical_k > 0.0:
        # what moves or warms makes whole groups of pixels unsteady, a bad pixel is so by itself
        around_k = percentile_filter(
            np.nan_to_num(noise_k, nan=typical_k), 50, footprint=_RING, mode="mirror"
        )
        bad |= noise_k > _NOISY * np.maximum(around_k, typical_k)
        bad |= noise_k < _DEAD * typical_k
    filled = np.where(np.isfinite(mean_k), mean_k, np.nanmedian(mean_k))
    # quartiles: one bad neighbour does not widen the ring's own scatter
    low, middle, high = (
        percentile_filter(filled, q, footprint=_RING, mode="mirror") for q in (25, 50, 75)
    )
    usual = 1.4826 * float(np.median(np.abs(filled - middle))) + 1e-9
    # beyond all neighbours but one, so that a line is none and two bad ones side by side are
    coldest, hottest = (rank_filter(filled, r, footprint=_RING, mode="mirror") for r in (1, -2))
    beyond = np.maximum(filled - hottest, coldest - filled)
    halo = _APART / 2.0 * (high - low)  # a point of heat leaves a halo, an edge a wide ring
    bad |= (beyond > _APART * max(usual, typical_k)) & (np.abs(filled - middle) > halo)
    return bad


class BadPixelRepair:
    """Fills bad pixels with the median of the nearest good ones.

    Parameters
    ----------
    mask : ndarray of bool, shape (row, column)
        True where bad; kept, so that readings can say so.

    Raises
    ------
    UsageError
        No good pixel is left.
    """

    def __init__(self, mask: Mask) -> None:
        self.mask = mask.copy()
        self.mask.setflags(write=False)
        good = np.argwhere(~mask)
        bad = np.argwhere(mask)
        if len(good) == 0:
            raise UsageError("every pixel is marked as bad; find the bad pixels anew")
        self._bad = np.flatnonzero(mask)
        count = min(_NEIGHBOURS, len(good))
        from scipy.spatial import KDTree  # late: few recordings need it

        nearest = KDTree(good).query(bad, k=[*range(1, count + 1)])[1] if len(bad) else bad[:, :1]
        self._nearest = np.flatnonzero(~mask)[nearest]

    def repair(self, counts: Counts) -> Counts:
        """Return counts with the bad pixels filled; the very same array where none is bad."""
        if counts.shape != self.mask.shape:
            raise UsageError(f"the picture is {counts.shape}, the mask {self.mask.shape}")
        if len(self._bad) == 0:
            return counts
        result = counts.copy()
        flat = result.reshape(-1)
        flat[self._bad] = np.median(flat[self._nearest], axis=1).astype(counts.dtype)
        return result
