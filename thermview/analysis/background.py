"""The noise that sources are judged by: of each mode, at the size of each part, and nearby.

Camera noise is alike in all modes; drift, and a hand's image, sit in the slow ones and reach over
many pixels, so that large parts meet more of them. Both are measured on the picture itself, most
of which holds no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import SPREAD_PX, Footprint

Floats = NDArray[np.float64]

SCALES_PX = (1.2, 2.5, 5.0)
_STEP = 3
_REJECT = 3.5
_MAD_TO_SIGMA = 1.4826


def smooth(coefficients: NDArray[np.float32], scale_px: float) -> NDArray[np.float32]:
    """Return coefficient pictures averaged with a Gaussian weight."""
    return np.stack([cv2.GaussianBlur(c, (0, 0), scale_px) for c in coefficients])


def white(scale_px: float) -> float:
    """Return what share of uncorrelated noise's variance a Gaussian average leaves."""
    return float(1.0 / (4.0 * np.pi * scale_px**2))


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """How much more than camera noise each mode has.

    Attributes
    ----------
    noise_var : float
        A pixel's variance in one coefficient, K².
    gains : ndarray, shape (scale, mode)
        Variance of averages over that of uncorrelated noise, 1 or more.
    """

    noise_var: float
    gains: Floats

    def gain_for(self, footprint: Footprint, mm_per_px: float) -> Floats:
        """Return the modes' gains at a part's size, shape (mode,)."""
        side_px = np.sqrt(footprint.area_m2) / (mm_per_px * 1e-3)
        where = np.log(np.hypot(SPREAD_PX, side_px / 3.5))
        scales = np.log(SCALES_PX)
        return np.exp([np.interp(where, scales, logs) for logs in np.log(self.gains).T])


def measure_background(
    coefficients: NDArray[np.float32], noise_var: float
) -> tuple[Background, Floats]:
    """Measure the modes' noise over the picture.

    Returns
    -------
    Background
    turn : ndarray, shape (mode, mode)
        Axes in which the modes' noises are independent; the gains are of these.
    """
    count = len(coefficients)
    found = []
    for scale_px in SCALES_PX:
        few = smooth(coefficients, scale_px)[:, ::_STEP, ::_STEP].reshape(count, -1)
        found.append(_covariance(few.astype(np.float64) / np.sqrt(noise_var * white(scale_px))))
    _, turn = np.linalg.eigh(found[1])
    gains = np.array([np.diag(turn.T @ covariance @ turn) for covariance in found])
    return Background(noise_var, np.maximum(gains, 1.0)), np.asarray(turn)


def _covariance(table: Floats) -> Floats:
    """Return the covariance between rows, sources and other outliers among the columns left out."""
    kept = table
    covariance: Floats = kept @ kept.T / kept.shape[1]
    for _ in range(4):
        inverse = np.linalg.inv(covariance + 1e-9 * np.eye(len(covariance)))
        far = np.einsum("mp,mk,kp->p", table, inverse, table)
        usual = float(np.median(far))
        kept = table[:, far < 3.0 * usual]  # χ²: 3 medians of 6 degrees of freedom are 98 %
        covariance = kept @ kept.T / kept.shape[1]
    return 1.05 * covariance


def local_excess(
    left: NDArray[np.float32],
    variance: NDArray[np.float32],
    gain: Floats,
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
    gain : ndarray, shape (mode,)
    outside : ndarray of bool, shape (row, column)
        Where the source itself is not.
    scale_px : float
        Size at which to average.
    """
    if int(outside.sum()) < 30:
        return 1.0
    unit = left / np.sqrt(variance * gain[:, None, None].astype(np.float32))
    even = smooth(unit.astype(np.float32), scale_px)[:, outside] / np.sqrt(white(scale_px))
    return max(1.0, float(np.median(np.abs(even))) * _MAD_TO_SIGMA)
