"""The noise that sources are judged by: of each mode and width, measured on the picture itself.

Camera noise is alike in all modes and widths; drift, a draught and a hand's image sit in the slow
modes and are wide. Pictures and templates pass one filter per mode that makes the noise even
(1 over the root of its spectrum), so that wide things count as far as that mode allows.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.prepare import lowpass
from thermview.analysis.spectra import back, fast_length, forward
from thermview.analysis.trend import SIGMA_OF_MAD
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]

AXES_SCALE_PX = 2.5
EDGES_PER_PX = np.array([0.004, 0.008, 0.013, 0.02, 0.03, 0.045, 0.065, 0.09, 0.14, 0.2, 0.3])
"""Bounds of the rings, cycles per px, in which the spectrum is measured."""
WIDEST_PX = 90.0
"""What is wider is never used."""
_CLIP = 4.0  # sources beyond so many deviations do not count as noise
SOURCE_PX, AROUND_PX = 1.5, 7.0
SOURCE_SIGMAS = 6.0
LARGEST_SOURCE_PX = 400
"""A bright place of more pixels is taken for drift or an image, not for a source."""
SOME = 7
"""One pixel of so many tells a median; columns and rows do not divide by it."""
_STEP = 3
_PAD = 48


def smooth(coefficients: NDArray[np.float32], scale_px: float) -> NDArray[np.float32]:
    """Return coefficient pictures averaged with a Gaussian weight."""
    still_wanted()
    return np.stack([cv2.GaussianBlur(c, (0, 0), scale_px) for c in coefficients])


def white(scale_px: float) -> float:
    """Return what share of uncorrelated noise's variance a Gaussian average leaves."""
    return float(1.0 / (4.0 * np.pi * scale_px**2))


@dataclass(frozen=True, slots=True, eq=False)
class Whitener:
    """The filter of each mode.

    Attributes
    ----------
    log_spectrum : ndarray, shape (mode, ring)
        Logarithm of the noise's spectrum over the camera's noise, at `EDGES_PER_PX` middles.
    """

    log_spectrum: Floats

    def filters(self, per_px: Floats) -> NDArray[np.float32]:
        """Return each mode's filter at spatial frequencies, cycles per px, shape (mode, …)."""
        middles = np.log(np.sqrt(EDGES_PER_PX[1:] * EDGES_PER_PX[:-1]))
        where = np.log(np.maximum(per_px, 1e-4))
        edge = 1.0 - np.exp(-((per_px * WIDEST_PX) ** 4))
        return np.stack(
            [np.exp(-0.5 * np.interp(where, middles, logs)) * edge for logs in self.log_spectrum]
        ).astype(np.float32)

    def apply(self, coefficients: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return filtered pictures, the edges mirrored."""
        rows, columns = coefficients.shape[1:]
        pad = min(_PAD, rows - 1, columns - 1)
        wide = np.pad(coefficients, ((0, 0), (pad, pad), (pad, pad)), mode="reflect")
        size = (fast_length(wide.shape[1]), fast_length(wide.shape[2]))
        seen = forward(wide, size) * over_plane(self.filters(frequencies_once(size)), size)
        inner = back(seen, size)[:, pad : pad + rows, pad : pad + columns]
        return np.ascontiguousarray(inner, dtype=np.float32)


def frequencies(size: tuple[int, int]) -> Floats:
    """Return the spatial frequencies of a real transform, cycles per px."""
    down, along = np.fft.fftfreq(size[0])[:, None], np.fft.rfftfreq(size[1])
    return np.asarray(np.hypot(down, along))


def frequencies_once(size: tuple[int, int]) -> Floats:
    """Return the rows of `frequencies` down to where they come again from the last one up."""
    return frequencies(size)[: size[0] // 2 + 1]


def over_plane(half: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    """Return what was made of `frequencies_once`, shape (…, row, column), for all rows."""
    down = np.arange(size[0])
    return np.take(half, np.minimum(down, size[0] - down), axis=-2)


def calm_axes(coefficients: NDArray[np.float32]) -> Floats:
    """Return orthonormal axes (columns) in which the modes' wide noises are independent."""
    count = len(coefficients)
    few = smooth(coefficients, AXES_SCALE_PX)[:, ::_STEP, ::_STEP].reshape(count, -1)
    _, axes = np.linalg.eigh(_covariance(few.astype(np.float64)))
    return np.asarray(axes)


def measure_whitener(coefficients: NDArray[np.float32], noise_var: float) -> Whitener:
    """Measure the modes' noise spectra over the picture, sources clipped."""
    count = len(coefficients)
    apart = _without_sources(coefficients - _medians(coefficients))
    limit = np.float32(_CLIP * SIGMA_OF_MAD) * _medians(np.abs(apart))
    calm = np.clip(apart, -limit, limit)
    size = (calm.shape[1], calm.shape[2])
    power = np.abs(forward(calm)) ** 2 / (size[0] * size[1] * noise_var)
    per_px = frequencies(size)
    rings = []
    for low, high in pairwise(EDGES_PER_PX):
        still_wanted()
        ring = power[:, (per_px >= low) & (per_px < high)]
        # the median of an exponential distribution is ln 2 of its mean
        rings.append(np.median(ring, axis=1) / np.log(2.0) if ring.shape[1] else np.ones(count))
    spectrum = np.maximum(np.array(rings).T, 1.0)
    falling = np.maximum.accumulate(spectrum[:, ::-1], axis=1)[:, ::-1]
    return Whitener(np.log(falling))


def _medians(pictures: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return each picture's median, from a part of its pixels, shape (picture, 1, 1)."""
    some = pictures.reshape(len(pictures), -1)[:, ::SOME]
    return np.asarray(np.median(some, axis=1)[:, None, None], dtype=np.float32)


def _without_sources(coefficients: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return coefficients with compact bright places replaced by what surrounds them.

    A source that clipping alone would leave in the spectrum would make itself look like noise.
    What is broad stays: drift and a hand's image are noise here.
    """
    fine = smooth(coefficients, SOURCE_PX)
    bumps = fine - lowpass(coefficients, AROUND_PX)
    sizes_k = np.abs(bumps)
    limit = np.float32(SOURCE_SIGMAS * SIGMA_OF_MAD) * _medians(sizes_k)
    bright = (sizes_k > limit).any(axis=0).astype(np.uint8)
    count, marked, sizes, _ = cv2.connectedComponentsWithStats(bright, connectivity=8)
    compact = sizes[:, cv2.CC_STAT_AREA] <= LARGEST_SOURCE_PX
    compact[0] = False  # the ground
    if count < 2 or not compact.any():
        return coefficients
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    source = cv2.dilate(compact[marked].astype(np.uint8), kernel) > 0
    kept = (~source).astype(np.float32)
    weight = np.maximum(lowpass(kept[None], AROUND_PX), 1e-6)
    around = lowpass(coefficients * kept, AROUND_PX) / weight
    return np.where(source, around, coefficients).astype(np.float32)


def _covariance(table: Floats) -> Floats:
    """Return the covariance between rows, sources and other outliers among the columns left out."""
    kept = table
    covariance: Floats = kept @ kept.T / kept.shape[1]
    for _ in range(4):
        inverse = np.linalg.pinv(covariance)
        far = np.einsum("mp,mk,kp->p", table, inverse, table)
        kept = table[:, far < 3.0 * float(np.median(far))]
        covariance = kept @ kept.T / max(kept.shape[1], 1)
    return covariance


def local_excess(
    left: NDArray[np.float32],
    variance: NDArray[np.float32],
    outside: NDArray[np.bool_],
    *,
    scale_px: float,
) -> float:
    """Return how many times the noise the surroundings of a source scatter, 1 or more.

    Parameters
    ----------
    left : ndarray, shape (mode, row, column)
        Around the source, all sources taken off.
    variance : ndarray, shape (row, column)
    outside : ndarray of bool, shape (row, column)
        Where the source itself is not.
    scale_px : float
        Size at which to average.
    """
    if int(outside.sum()) < 30:
        return 1.0
    unit = (left / np.sqrt(variance)).astype(np.float32)
    even = smooth(unit, scale_px)[:, outside] / np.sqrt(white(scale_px))
    return max(1.0, float(np.median(np.abs(even))) * SIGMA_OF_MAD)
