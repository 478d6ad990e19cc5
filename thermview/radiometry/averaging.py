"""Averaging over time that lets a step through at once.

Every pixel keeps the mean of what it saw since its last step, over at most `frames` frames (then
a recursive filter of that memory). A new value that noise cannot explain, by itself or as the mean
of its 3 × 3, starts the pixel's mean anew.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.radiometry.planck import Floats

GATE: Final = 4.5
"""Deviations beyond which a value is a step: noise alone does that 7 times in a million."""
_NEIGHBOURHOOD = np.ones((3, 3), dtype=np.bool_)


class GatedAverage:
    """A recursive mean with a gate set by the camera's noise.

    Parameters
    ----------
    noise_k : float
        Temporal standard deviation of one pixel, K.
    frames : int
        Longest memory. Still noise falls to noise_k/√frames while the mean grows; the recursive
        filter that follows has gain 2/(frames + 1), which keeps it there.
    """

    def __init__(self, noise_k: float, frames: int = 16) -> None:
        if not (noise_k > 0.0 and math.isfinite(noise_k)):
            raise UsageError(f"the noise is {noise_k} K; averaging needs it above 0")
        if frames < 1:
            raise UsageError(f"averaging is over {frames} frames; give 1 or more")
        self._noise_k = noise_k
        self._least_gain = 2.0 / (frames + 1.0)
        self._mean: Floats | None = None
        self._variance: Floats | None = None  # of the mean, in units of noise_k squared

    @property
    def noise_k(self) -> Floats | None:
        """Return the standard deviation of each pixel's present mean, K; None before a frame."""
        return None if self._variance is None else self._noise_k * np.sqrt(self._variance)

    def restart(self) -> None:
        """Forget everything: after a shutter event, a new source, a new setting."""
        self._mean = self._variance = None

    def take(self, kelvin: NDArray[np.floating]) -> Floats:
        """Take a frame and return the mean, K, float64, shape (row, column).

        NaN pixels keep their last mean.
        """
        fresh = np.asarray(kelvin, dtype=np.float64)
        if self._mean is None or self._variance is None or self._mean.shape != fresh.shape:
            self._mean, self._variance = fresh.copy(), np.ones_like(fresh)
            return self._mean.copy()
        missing = np.isnan(fresh)
        innovation = np.nan_to_num(fresh - self._mean)
        # the best gain for a mean of this variance: 1/n while it grows
        gain = np.maximum(self._variance / (1.0 + self._variance), self._least_gain)
        stepped = self._stepped(innovation, self._variance)
        gain[stepped | np.isnan(self._mean)] = 1.0
        gain[missing] = 0.0
        self._mean = np.where(gain == 1.0, fresh, self._mean + gain * innovation)
        self._variance = (1.0 - gain) ** 2 * self._variance + gain**2
        return self._mean.copy()

    def _stepped(self, innovation: Floats, variance: Floats) -> NDArray[np.bool_]:
        """Return where noise cannot explain what is new, alone or over a neighbourhood."""
        from scipy.ndimage import binary_dilation, uniform_filter  # late: most commands do without

        deviation = self._noise_k * np.sqrt(1.0 + variance)
        alone = np.abs(innovation) > GATE * deviation
        together = np.abs(uniform_filter(innovation / deviation, 3, mode="mirror")) * 3.0 > GATE
        grown: NDArray[np.bool_] = binary_dilation(together, _NEIGHBOURHOOD)
        return alone | (grown & (np.abs(innovation) > deviation))
