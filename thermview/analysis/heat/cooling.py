"""Places that a finger warmed before the recording began: they cool, whatever the power does.

As their warmth runs off sideways their neighbours may even warm for a while. All that is a sum of
decays that begin with the recording.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import Footprint, mask_of, window_around
from thermview.analysis.prepare import Block
from thermview.analysis.trend import SIGMA_OF_MAD

Floats = NDArray[np.float64]

RATES_PER_S = (0.08, 0.2, 0.5, 1.2, 3.0)
"""Decays of warm spots: from a centimetre on bare laminate to millimetres on copper."""
EARLY_S, LATE_S = 1.0, 2.0
BLUR_PX = 1.5
SIDE_PX = 64
REACH_PX = 8
"""So near to a part at least something falls clearly where a warm spot reaches it."""
SIGMAS = 8.0
"""What falls less is drift (trials: up to 5, by spots that cool 40 and more)."""
SHARE = 0.5
"""What falls less than this share of what a part warms is the rim of its own heat."""


class Cooling:
    """Where pictures show something cool, and the courses that this takes.

    Parameters
    ----------
    narrow : ndarray of float32, shape (frame, row, column)
        High-passed, K.
    times_s : ndarray, shape (frame,)
    idle : ndarray, shape (frame, course)
        Orthonormal courses that are no evidence anyway.
    """

    def __init__(self, narrow: Block, times_s: Floats, idle: Floats) -> None:
        since_s = times_s - times_s[0]
        early = narrow[since_s <= EARLY_S].mean(axis=0)
        late = narrow[since_s >= since_s[-1] - LATE_S].mean(axis=0)
        self._fall_k = np.asarray(cv2.GaussianBlur(early - late, (0, 0), BLUR_PX), np.float32)
        self._least_k = SIGMAS * SIGMA_OF_MAD * float(np.median(np.abs(self._fall_k)))
        decays = np.exp(-np.outer(since_s, RATES_PER_S))
        decays /= np.linalg.norm(decays, axis=0)
        decays -= idle @ (idle.T @ decays)
        courses, size, _ = np.linalg.svd(decays, full_matrices=False)
        self._courses = np.asarray(courses[:, size > 1e-3])

    def courses(self, footprint: Footprint) -> Floats:
        """Return the orthonormal courses of what cools at a part, shape (frame, course).

        None (no columns) where nothing cools there, see `reaches`.
        """
        return self._courses if self.reaches(footprint) else self._courses[:, :0]

    def reaches(self, footprint: Footprint) -> bool:
        """Tell whether at a part or close by something cools, by half of what the part warms."""
        window = window_around(footprint.centre_px, SIDE_PX, self._fall_k.shape[:2])
        fall_k = window.cut(self._fall_k)
        mask = mask_of(footprint, window, around_px=0)
        reach = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * REACH_PX + 1,) * 2)
        near = cv2.dilate(mask.astype(np.uint8), reach) > 0
        warms_k = max(-float(fall_k[mask].mean()), 0.0)
        return float(fall_k[near].max()) > max(self._least_k, SHARE * warms_k)
