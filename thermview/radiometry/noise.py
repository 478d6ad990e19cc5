"""The camera's noise, measured from still frames, and the smallest rise that can be trusted.

The idea is that of the noise-equivalent temperature difference: the standard deviation over time of
a pixel that sees an even surface (ASTM E1543 excludes staring arrays; no conformance is claimed).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from thermview.errors import UsageError
from thermview.frames import Frame, Scale
from thermview.radiometry.planck import Floats

FEWEST_FRAMES: Final = 16
TRUST_FACTOR: Final = 3.0
"""A rise of three standard deviations is trusted."""

_CLIP = 4.0  # residuals beyond this many deviations are not noise (a hand, a spark)
_MAD_TO_SIGMA = 1.4826  # of a normal distribution
_GAUSS_CLIPPED = 0.99946  # deviation of a normal distribution clipped at ±4 of its own
_OF_NINE = 0.862  # robust deviation of a normal pixel about its 3 × 3 median, by simulation


@dataclass(frozen=True, slots=True, eq=False)
class NoiseReport:
    """What still frames say of the camera.

    Attributes
    ----------
    netd_k : float
        Temporal standard deviation of the median pixel, K, drift taken out.
    per_pixel_k : ndarray, shape (row, column)
        The same of every pixel.
    drift_k_per_min : float
        Slope of what all pixels share, K/min.
    common_k : float
        Standard deviation of what all pixels share beside that slope, K.
    fixed_pattern_k : float
        Pixel-to-pixel scatter that stays, K; only of an even scene it is the camera's.
    averaged_k : ndarray, shape (octaves,)
        Allan deviation of the median pixel for means of 1, 2, 4, … frames, K.
    knee_frames : int
        Frames beyond which a longer mean gains nothing: slow (1/f) noise rules.
    frames : int
        How many were used.
    """

    netd_k: float
    per_pixel_k: Floats
    drift_k_per_min: float
    common_k: float
    fixed_pattern_k: float
    averaged_k: Floats
    knee_frames: int
    frames: int

    def noise_of_mean_k(self, frames: float, pixels: float = 1.0) -> float:
        """Return the standard deviation of a mean over frames and pixels, K.

        It falls with frames only as far as `averaged_k` shows; with pixels by their root, for the
        part of the noise that pixels do not share.
        """
        octave = math.log2(min(max(frames, 1.0), float(self.knee_frames)))
        places = np.arange(len(self.averaged_k))
        own_k = math.exp(float(np.interp(octave, places, np.log(self.averaged_k))))
        return own_k / math.sqrt(max(pixels, 1.0))

    def smallest_rise_k(
        self, *, frames: float = 1.0, baseline_frames: float = 25.0, pixels: float = 1.0
    ) -> float:
        """Return the smallest rise that can be trusted now, K.

        Parameters
        ----------
        frames : float
            Frames in the present averaging.
        baseline_frames : float
            Frames in the baseline.
        pixels : float
            Pixels in the mean.
        """
        now_k = self.noise_of_mean_k(frames, pixels)
        return TRUST_FACTOR * math.hypot(now_k, self.noise_of_mean_k(baseline_frames, pixels))


class NoiseMeter:
    """Gathers still frames, one at a time, and reports.

    Parameters
    ----------
    frames : int
        How many to gather; more are ignored.
    """

    def __init__(self, frames: int = 100) -> None:
        self._wanted = max(frames, FEWEST_FRAMES)
        self._frames: list[Frame] = []

    @property
    def done(self) -> bool:
        """Tell whether enough frames came."""
        return len(self._frames) >= self._wanted

    def take(self, frame: Frame) -> None:
        """Take a frame; held ones and repeats of the last are left out."""
        if self.done or frame.held:
            return
        if self._frames and np.array_equal(frame.counts, self._frames[-1].counts):
            return
        self._frames.append(frame)

    def report(self) -> NoiseReport:
        """Return what the frames so far say.

        Raises
        ------
        UsageError
            Too few frames, or of differing scale or size.
        """
        if len({(f.shape, f.scale) for f in self._frames}) > 1:
            raise UsageError("the still frames differ in size or scale; measure the noise anew")
        if not self._frames:
            raise UsageError(f"no still frames came; noise takes {FEWEST_FRAMES} or more")
        stack = np.stack([frame.counts for frame in self._frames])
        times_s = np.array([frame.time_s for frame in self._frames])
        return measure_noise(stack, times_s, self._frames[0].scale)


def measure_noise(stack: NDArray[np.generic], times_s: Floats, scale: Scale) -> NoiseReport:
    """Measure noise from frames of a still scene.

    Parameters
    ----------
    stack : ndarray, shape (frame, row, column)
        Counts.
    times_s : ndarray, shape (frame,)
        Of the frames, s.
    scale : Scale
        What counts mean.

    Returns
    -------
    NoiseReport
        What all pixels share is taken off first, then every pixel's own straight drift, then what
        lies beyond four deviations.

    Raises
    ------
    UsageError
        Fewer than `FEWEST_FRAMES` frames.
    """
    if len(stack) < FEWEST_FRAMES:
        raise UsageError(f"noise takes {FEWEST_FRAMES} still frames or more, not {len(stack)}")
    kelvin = stack.reshape(len(stack), -1).astype(np.float32) * np.float32(scale.k_per_count)
    mean_k = kelvin.mean(axis=0)
    kelvin -= np.median(kelvin, axis=0)
    common_k = np.nanmedian(kelvin, axis=1).astype(np.float64)
    kelvin -= common_k[:, None].astype(np.float32)
    since_s = times_s - times_s.mean()
    slope = np.polynomial.polynomial.polyfit(since_s, common_k, 1)
    left_k = common_k - np.polynomial.polynomial.polyval(since_s, slope)
    quantum_k = scale.k_per_count if np.issubdtype(stack.dtype, np.integer) else 0.0
    residual, kept = _without_outliers(kelvin, quantum_k)
    residual = _without_own_drift(residual, since_s)
    freedom = np.maximum(kept - 2, 1)  # a mean and a slope were fitted
    per_pixel_k = np.sqrt((residual.astype(np.float64) ** 2).sum(axis=0) / freedom) / _GAUSS_CLIPPED
    averaged_k = _allan(residual)
    return NoiseReport(
        netd_k=float(np.nanmedian(per_pixel_k)),
        per_pixel_k=per_pixel_k.reshape(stack.shape[1:]),
        drift_k_per_min=float(slope[1]) * 60.0,
        common_k=float(left_k.std()),
        fixed_pattern_k=fixed_pattern(mean_k.reshape(stack.shape[1:]).astype(np.float64)),
        averaged_k=averaged_k,
        knee_frames=2 ** int(np.argmin(averaged_k)),
        frames=len(stack),
    )


def fixed_pattern(mean_k: Floats) -> float:
    """Return the scatter, K, of a mean frame's pixels about the median of their neighbourhood."""
    apart = (mean_k - median_filter(mean_k, size=3, mode="reflect")).ravel()
    return float(_MAD_TO_SIGMA * np.nanmedian(np.abs(apart - np.nanmedian(apart)))) / _OF_NINE


def _without_outliers(
    kelvin: NDArray[np.float32], quantum_k: float
) -> tuple[NDArray[np.float32], NDArray[np.intp]]:
    """Return deviations from each pixel's mean, outliers set to 0, and how many were kept.

    A pixel without values stays NaN.
    """
    centre = np.median(kelvin, axis=0)
    rough = _MAD_TO_SIGMA * np.median(np.abs(kelvin - centre), axis=0)
    # counts coarser than the noise quantise its median: a limit below some counts would bite noise
    limit = _CLIP * np.maximum(rough, 1.5 * quantum_k)
    kept = np.abs(kelvin - centre) <= limit
    number = kept.sum(axis=0)
    mean = np.where(kept, kelvin, 0.0).sum(axis=0) / np.where(number > 0, number, np.nan)
    residual = np.where(kept, kelvin - mean, np.where(number > 0, 0.0, np.nan))
    return residual.astype(np.float32), number


def _without_own_drift(residual: NDArray[np.float32], since_s: Floats) -> NDArray[np.float32]:
    """Return what is left when each pixel's straight line in time is taken off."""
    x = since_s.astype(np.float32)
    slope = x @ residual / np.float32((x * x).sum())
    result: NDArray[np.float32] = residual - x[:, None] * slope
    return result


def _allan(residual: NDArray[np.float32]) -> Floats:
    """Return the median pixel's Allan deviation for means of 1, 2, 4 … frames, at least 4 means."""
    found = []
    size = 1
    while len(residual) // size >= 8:
        means = residual[: len(residual) // size * size].reshape(-1, size, residual.shape[1])
        steps = np.diff(means.mean(axis=1), axis=0)
        # the mean of squares over pixels is steady where each pixel has few steps
        per_pixel = (steps.astype(np.float64) ** 2).mean(axis=0) / 2.0
        found.append(math.sqrt(float(_trimmed_mean(per_pixel))))
        size *= 2
    return np.array([max(value, 1e-9) for value in found])


def _trimmed_mean(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    kept = finite[finite <= np.quantile(finite, 0.99)] if len(finite) > 200 else finite
    return float(kept.mean()) if len(kept) else math.nan
