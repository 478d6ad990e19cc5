"""A number to focus by: it grows as the picture gets sharper."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts

SMOOTHING_PX = 1.0
SPIKE_SIGMAS = 6.0

_NOISE_KERNEL = np.outer([1, -2, 1], [1, -2, 1]).astype(np.float32)
"""Second differences both ways: blind to edges along rows or columns and to gradients. Of noise
with deviation σ it leaves 6 σ (J. Immerkær, Comput. Vis. Image Underst. 64 (1996) 300)."""

_RING = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]], np.uint8)

_SIGMA_OF_MEDIAN = 1.482602218505602 / 6.0


def sharpness(counts: Counts) -> float:
    """Return how sharp a picture is: the mean spatial frequency of its contrast, rad/px.

    The root of (energy of the gradient / energy of the contrast), both with the noise's own share
    taken off. Blur takes away more of the high frequencies than of the low ones, so it always
    lowers this mean; gain and offset leave it alone. Only values of one scene compare.

    Parameters
    ----------
    counts : ndarray of uint16 or float32, shape (row, column)
        NaN (float32) is a pixel without a value.

    Returns
    -------
    float
        0 where nothing stands out of the noise, or the picture is smaller than 8 x 8.
    """
    if min(counts.shape) < 8:
        return 0.0
    picture = _centred(counts)
    noise = _noise(picture)
    picture = _without_spikes(picture, noise)
    smooth = cv2.GaussianBlur(picture, (0, 0), SMOOTHING_PX)[3:-3, 3:-3]
    across = smooth[1:-1, 2:] - smooth[1:-1, :-2]
    down = smooth[2:, 1:-1] - smooth[:-2, 1:-1]
    gradient = (_energy(across) + _energy(down)) / 4
    contrast = _energy(smooth - np.float32(cv2.mean(smooth)[0]))
    share_gradient, share_contrast = _noise_shares()
    gradient -= share_gradient * noise**2
    contrast -= share_contrast * noise**2
    # what is left must stand out of what the noise's own estimate may be off by
    if contrast <= 0.02 * share_contrast * noise**2 or gradient <= 0:
        return 0.0
    return float(np.sqrt(gradient / contrast))


def _energy(values: NDArray[np.float32]) -> float:
    return cv2.norm(values, cv2.NORM_L2SQR) / values.size


def _centred(counts: Counts) -> NDArray[np.float32]:
    """Return the picture about its mean, so that float32 keeps its digits; NaN as the mean."""
    if counts.dtype == np.uint16:
        return counts.astype(np.float32) - np.float32(cv2.mean(counts)[0])
    mean = np.nanmean(counts, dtype=np.float64) if not np.isnan(counts).all() else 0.0
    return np.nan_to_num(counts - np.float32(mean), nan=0.0)


def _noise(picture: NDArray[np.float32]) -> float:
    """Return the standard deviation of the pixels' noise; edges and spikes leave it alone."""
    rough = cv2.filter2D(picture, -1, _NOISE_KERNEL)[1:-1, 1:-1]
    return float(np.median(np.abs(rough[::2, ::2]))) * _SIGMA_OF_MEDIAN


def _without_spikes(picture: NDArray[np.float32], noise: float) -> NDArray[np.float32]:
    """Return the picture with single pixels that top all their neighbours brought down to them."""
    margin = np.float32(SPIKE_SIGMAS * noise)
    highest, lowest = cv2.dilate(picture, _RING), cv2.erode(picture, _RING)
    over = picture > highest + margin
    return np.where(over | (picture < lowest - margin), np.where(over, highest, lowest), picture)


def _noise_shares() -> tuple[float, float]:
    """Return the gradient's and the contrast's energy for white noise of deviation 1."""
    kernel = cv2.getGaussianKernel(7, SMOOTHING_PX).ravel()
    step = np.convolve(kernel, [0.5, 0.0, -0.5])
    along, plain = float(np.sum(step**2)), float(np.sum(kernel**2))
    return 2 * along * plain, plain**2
