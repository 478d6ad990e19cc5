"""Laying pictures of a board on a reference, by what they show.

Gauss–Newton steps on the picture itself (the inverse compositional form of Baker & Matthews, Int.
J. Comput. Vision 56 (2004) 221: the reference's slopes are computed once). Robust weights leave
out what would pull the result: parts that warm.
"""

from __future__ import annotations

from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import SIGMA_OF_MAD, upper_median
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
Value = TypeVar("Value", bound=np.generic)

FINE_PX = 1.0
COARSE_PX = 4.0
MARGIN_PX, MARGIN_SHARE = 14, 0.2
"""What is so near to the picture's edge is not compared; of small pictures at most this share."""
MOST_POINTS = 9000
"""Where pictures are compared."""
LOST = 0.35
"""Agreement below which the board is lost."""
_STEPS = 30  # a jump of seven pixels needs fifteen or so
_CONVERGED_PX = 0.01
_TUKEY = 4.7
_SOME = 4  # a quarter of the points tells the spread well enough


def banded(picture: Picture, widths_px: tuple[float, float] = (FINE_PX, COARSE_PX)) -> Picture:
    """Return what is neither single pixels nor the wide run of a picture."""
    still_wanted()
    fine, coarse = (cv2.GaussianBlur(picture, (0, 0), width_px) for width_px in widths_px)
    return np.asarray(fine - coarse)


def within(picture: NDArray[Value]) -> NDArray[Value]:
    """Return the view of a picture without its margin."""
    margin = min(MARGIN_PX, int(MARGIN_SHARE * min(picture.shape)))
    return picture[margin : picture.shape[0] - margin, margin : picture.shape[1] - margin]


class Tracker:
    """Lays pictures on a reference; keeps the last result as the next one's start.

    Parameters
    ----------
    reference : ndarray of float32, shape (row, column)
        Banded, without fixed pattern.
    most_points : int
        So many of its steepest pixels are compared.
    """

    def __init__(self, reference: Picture, most_points: int = MOST_POINTS) -> None:
        rows, columns = reference.shape
        slope_x = np.asarray(cv2.Scharr(reference, cv2.CV_32F, 1, 0, scale=1 / 32), np.float32)
        slope_y = np.asarray(cv2.Scharr(reference, cv2.CV_32F, 0, 1, scale=1 / 32), np.float32)
        steep = np.hypot(slope_x, slope_y)
        inner = np.zeros(reference.shape, bool)
        within(inner)[:] = True
        keep = min(most_points, int(0.4 * inner.sum()))
        least = float(np.partition(steep[inner], -keep)[-keep])
        y, x = np.nonzero(inner & (steep >= least))
        self._centre = np.array([columns / 2, rows / 2])
        self._size = float(columns) / 2
        self._x = ((x + 0.5 - self._centre[0]) / self._size).astype(np.float32)
        self._y = ((y + 0.5 - self._centre[1]) / self._size).astype(np.float32)
        self._values = reference[y, x].astype(np.float32)
        gx, gy = slope_x[y, x] * self._size, slope_y[y, x] * self._size
        # along x, along y, turn, nearer; and an offset of the whole picture
        self._slopes = np.stack(
            [gx, gy, self._x * gy - self._y * gx, self._x * gx + self._y * gy, np.ones_like(gx)]
        ).astype(np.float32)
        self.shape = reference.shape
        self._state: Floats = np.eye(3)  # in centred, scaled axes

    def follow(self, picture: Picture, start: Floats | None = None) -> tuple[Floats, float]:
        """Return the matrix from the reference's pixels to a banded picture's, and agreement."""
        still_wanted()
        state = self._state if start is None else self._to_state(start)
        weight = np.ones_like(self._values)
        for _ in range(_STEPS):
            seen = self._sample(picture, state)
            apart = seen - self._values
            few = apart[::_SOME]
            middle = float(upper_median(few))
            spread = max(float(upper_median(np.abs(few - middle))) * SIGMA_OF_MAD, 1e-6)
            apart -= middle
            weight = apart * np.float32(1 / (_TUKEY * spread))
            weight *= weight
            weight = np.square(np.maximum(1 - weight, 0))
            heavy = self._slopes * weight
            normal = (heavy @ self._slopes.T).astype(np.float64)
            normal[np.diag_indices(5)] *= 1 + 1e-6
            pull = (heavy @ apart).astype(np.float64)
            step = np.asarray(np.linalg.solve(normal, pull), np.float64)
            back = np.asarray(np.linalg.inv(_similarity(step)), np.float64)
            state = state @ back
            if float(np.abs(step[:4]).max()) * self._size < _CONVERGED_PX:
                break
        seen = self._sample(picture, state)
        agreement = _correlation(seen, self._values, weight)
        if agreement > LOST:
            self._state = state
        return self._to_pixels(state), agreement

    def _sample(self, picture: Picture, state: Floats) -> NDArray[np.float32]:
        way = state[:2] * self._size
        way[:, 2] += self._centre - 0.5  # remap counts from pixel centres
        at = way.astype(np.float32)
        at_x = at[0, 0] * self._x + at[0, 1] * self._y + at[0, 2]
        at_y = at[1, 0] * self._x + at[1, 1] * self._y + at[1, 2]
        seen = cv2.remap(
            picture, at_x[None], at_y[None], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(seen[0])

    def _axes(self) -> Floats:
        (cx, cy), size = self._centre, self._size
        return np.array([[size, 0, cx], [0, size, cy], [0, 0, 1.0]])

    def _to_pixels(self, state: Floats) -> Floats:
        axes = self._axes()
        return np.asarray(axes @ state @ np.linalg.inv(axes))

    def _to_state(self, matrix: Floats) -> Floats:
        axes = self._axes()
        return np.asarray(np.linalg.inv(axes) @ matrix @ axes)


def _similarity(step: Floats) -> Floats:
    dx, dy, turn, nearer = step[:4]
    return np.array([[1 + nearer, -turn, dx], [turn, 1 + nearer, dy], [0, 0, 1.0]])


def _correlation(
    a: NDArray[np.float32], b: NDArray[np.float32], weight: NDArray[np.float32]
) -> float:
    total = max(float(weight.sum()), 1e-9)
    a = a - float(weight @ a) / total
    b = b - float(weight @ b) / total
    size = np.sqrt(float(weight @ a**2) * float(weight @ b**2))
    return float(weight @ (a * b)) / size if size > 0 else 0.0


_HALF = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
_BACK = np.linalg.inv(_HALF)


def opencv_way(matrix: Floats) -> Floats:
    """Return a way between pixels as OpenCV has it, which counts from pixel centres, (3, 3)."""
    return np.asarray(_HALF @ matrix @ _BACK)


def warped(picture: Picture, matrix: Floats) -> Picture:
    """Return a picture resampled so that the reference's pixel p shows what was at matrix·p."""
    still_wanted()
    size, way = (picture.shape[1], picture.shape[0]), opencv_way(matrix)
    flags, edge = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, cv2.BORDER_REPLICATE
    if way[2, 0] == way[2, 1] == 0.0:  # no perspective: takes three quarters of the time
        moved = cv2.warpAffine(picture, way[:2] / way[2, 2], size, flags=flags, borderMode=edge)
    else:
        moved = cv2.warpPerspective(picture, way, size, flags=flags, borderMode=edge)
    return np.asarray(moved)
