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

from thermview.errors import UsageError
from thermview.frames import Frame, Scale
from thermview.radiometry.planck import Floats

FEWEST_FRAMES: Final = 16
TRUST_FACTOR: Final = 3.0
"""A rise of three standard deviations is trusted."""

_BLOCK = 8192  # pixels worked on at once: the memory stays small
_FEWEST_MEANS = 8
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

    @property
    def freedom(self) -> float:
        """Return the degrees of freedom of a pixel's noise (JCGM 100 4.2.6 and H.3.5).

        The frames less the two of the drift's line. All pixels together know the median pixel far
        better, but a reading is of one pixel, and pixels differ.
        """
        return max(self.frames - 2.0, 1.0)

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
    quantum_k = scale.k_per_count if np.issubdtype(stack.dtype, np.integer) else 0.0
    pixels = stack.reshape(len(stack), -1)
    since_s = times_s - times_s.mean()
    common_k = _common(pixels, scale.k_per_count)
    slope = np.polynomial.polynomial.polyfit(since_s, common_k, 1)
    left_k = common_k - np.polynomial.polynomial.polyval(since_s, slope)
    mean_k = np.empty(pixels.shape[1])
    per_pixel_k = np.empty(pixels.shape[1])
    squared_steps = []
    for start in range(0, pixels.shape[1], _BLOCK):
        block = slice(start, start + _BLOCK)
        kelvin = _block_k(pixels[:, block], scale.k_per_count)
        mean_k[block] = kelvin.mean(axis=1)
        kelvin -= common_k.astype(np.float32)
        residual, per_pixel_k[block] = _residual(kelvin, since_s, quantum_k)
        squared_steps.append(_squared_steps(residual))
    averaged_k = _allan(np.concatenate(squared_steps, axis=1))
    return NoiseReport(
        netd_k=float(np.nanmedian(per_pixel_k)),
        per_pixel_k=per_pixel_k.reshape(stack.shape[1:]),
        drift_k_per_min=float(slope[1]) * 60.0,
        common_k=float(left_k.std()),
        fixed_pattern_k=fixed_pattern(mean_k.reshape(stack.shape[1:])),
        averaged_k=averaged_k,
        knee_frames=2 ** int(np.argmin(averaged_k)),
        frames=len(stack),
    )


def fixed_pattern(mean_k: Floats) -> float:
    """Return the scatter, K, of a mean frame's pixels about the median of their neighbourhood."""
    from scipy.ndimage import median_filter  # late: most commands do without

    apart = (mean_k - median_filter(mean_k, size=3, mode="reflect")).ravel()
    return float(_MAD_TO_SIGMA * np.nanmedian(np.abs(apart - np.nanmedian(apart)))) / _OF_NINE


def _block_k(pixels: NDArray[np.generic], k_per_count: float) -> NDArray[np.float32]:
    """Return K, shape (pixel, frame), one pixel's frames side by side in memory."""
    return np.ascontiguousarray(pixels.T, dtype=np.float32) * np.float32(k_per_count)


def _common(pixels: NDArray[np.generic], k_per_count: float) -> Floats:
    """Return what the pixels share in each frame, K, from some thousands of them."""
    some = _block_k(pixels[:, :: max(1, pixels.shape[1] // _BLOCK)], k_per_count)
    some -= np.median(some, axis=1, keepdims=True)
    result: Floats = np.nanmedian(some, axis=0).astype(np.float64)
    return result


def _residual(
    kelvin: NDArray[np.float32], since_s: Floats, quantum_k: float
) -> tuple[NDArray[np.float32], Floats]:
    """Return each pixel's noise and its deviation, outliers and own straight drift taken off.

    Shapes (pixel, frame) and (pixel,). Outliers become 0; a pixel without values stays NaN.
    """
    apart = kelvin - np.median(kelvin, axis=1, keepdims=True)
    rough = _MAD_TO_SIGMA * np.median(np.abs(apart), axis=1)
    # counts coarser than the noise quantise its median: a limit below some counts would bite noise
    limit = _CLIP * np.maximum(rough, 1.5 * quantum_k)
    kept = np.abs(apart) <= limit[:, None]
    number = kept.sum(axis=1)
    mean = np.where(kept, apart, 0.0).sum(axis=1) / np.where(number > 0, number, np.nan)
    residual = np.where(kept, apart - mean[:, None], 0.0 * mean[:, None]).astype(np.float32)
    x = since_s.astype(np.float32)
    residual -= (residual @ x / np.float32((x * x).sum()))[:, None] * x
    freedom = np.maximum(number - 2, 1)  # a mean and a slope were fitted
    squares = np.einsum("pf,pf->p", residual, residual, dtype=np.float64)
    return residual, np.sqrt(squares / freedom) / _GAUSS_CLIPPED


def _squared_steps(residual: NDArray[np.float32]) -> Floats:
    """Return each pixel's Allan variance for means of 1, 2, 4 … frames, shape (octave, pixel)."""
    found = []
    size = 1
    frames = residual.shape[1]
    while frames // size >= _FEWEST_MEANS:
        means = residual[:, : frames // size * size].reshape(len(residual), -1, size).mean(axis=2)
        steps = np.diff(means, axis=1)
        found.append(np.einsum("pf,pf->p", steps, steps, dtype=np.float64) / steps.shape[1] / 2.0)
        size *= 2
    return np.array(found)


def _allan(variance: Floats) -> Floats:
    """Return the usual pixel's Allan deviation, K, of each octave: a mean without the noisiest.

    A mean of squares over pixels is steady where each pixel has few steps; a median would lean low.
    """
    finite = variance[:, np.isfinite(variance).all(axis=0)]
    if finite.shape[1] > 200:
        finite = finite[:, finite[0] <= np.quantile(finite[0], 0.99)]
    if finite.shape[1] == 0:
        raise UsageError("no pixel has a value in every frame; noise cannot be measured")
    result: Floats = np.sqrt(np.maximum(finite.mean(axis=1), 1e-18))
    return result
