"""The boards' own plane: two pictures of one model brought onto one grid of millimetres.

On a common grid with a common blur the same part has the same picture on both boards, so that
what a model of heat gets wrong is wrong on both alike and leaves their ratio untouched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pictures = NDArray[np.float32]
"""Pictures in a row, shape (picture, row, column)."""

BLUR_PX = 0.8
"""One standard deviation of a camera's blur, and of the grid's least, px of each."""
MARGIN_MM = 4.0
MOST_CELLS = 120_000
_CENTRES = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """What is compared: a part, a region or a place, as an outline in the plane.

    Attributes
    ----------
    name : str
    outline_mm : ndarray, shape (corner, 2)
        Convex.
    height_m : float
        Of its body above the board; 0 where that is unknown.
    bare : float
        Share of the body's own warmth that the camera sees.
    """

    name: str
    outline_mm: Floats
    height_m: float = 0.0
    bare: float = 1.0

    @property
    def centre_mm(self) -> Floats:
        """Return the middle of the outline, (x, y)."""
        return np.asarray(self.outline_mm.mean(axis=0))

    @property
    def area_m2(self) -> float:
        """Return the outline's area, m²."""
        return float(cv2.contourArea(self.outline_mm.astype(np.float32))) * 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """A grid on the plane: cell (row, column) covers `pitch_mm` from `origin_mm` on.

    Attributes
    ----------
    origin_mm : ndarray, shape (2,)
    pitch_mm : float
    shape : (rows, columns)
    blur : float
        Of the pictures on it, one standard deviation, cells.
    """

    origin_mm: Floats
    pitch_mm: float
    shape: tuple[int, int]
    blur: float = BLUR_PX

    @classmethod
    def around(cls, subjects: Sequence[Subject], pitch_mm: float) -> Plane:
        """Return a grid that holds all subjects with a margin."""
        corners = np.concatenate([s.outline_mm for s in subjects])
        low, high = corners.min(axis=0) - MARGIN_MM, corners.max(axis=0) + MARGIN_MM
        area = float(np.prod(high - low))
        pitch_mm = max(pitch_mm, float(np.sqrt(area / MOST_CELLS)))
        columns, rows = np.ceil((high - low) / pitch_mm).astype(int)
        return cls(low, pitch_mm, (int(rows), int(columns)))

    @property
    def to_mm(self) -> Floats:
        """Return the matrix from the grid's (x, y), cells, to mm."""
        x, y = self.origin_mm
        return np.array([[self.pitch_mm, 0, x], [0, self.pitch_mm, y], [0, 0, 1.0]])

    def cells(self, points_mm: Floats) -> Floats:
        """Return points, shape (…, 2), in cells."""
        return np.asarray((points_mm - self.origin_mm) / self.pitch_mm)

    def rectify(self, pictures: Pictures, matrix: Floats, mm_per_px: float) -> Pictures:
        """Bring pictures onto the grid, blurred to the grid's own blur.

        Parameters
        ----------
        pictures : ndarray of float32, shape (picture, row, column)
        matrix : ndarray, shape (3, 3)
            From mm to the pictures' pixels.
        mm_per_px : float
            A picture's pixel on the plane.
        """
        back = np.linalg.inv(_CENTRES) @ matrix @ self.to_mm @ _CENTRES
        finer = (BLUR_PX * self.pitch_mm / mm_per_px) ** 2 - BLUR_PX**2
        rows, columns = self.shape
        out = np.empty((len(pictures), rows, columns), np.float32)
        for picture, there in zip(pictures, out, strict=True):
            soft = cv2.GaussianBlur(picture, (0, 0), finer**0.5) if finer > 0.01 else picture
            there[:] = cv2.warpPerspective(
                soft,
                back,
                (columns, rows),
                flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_REPLICATE,
            )
        return out

    def coverage(self, outline_mm: Floats, window: Window, fine: int = 8) -> NDArray[np.float32]:
        """Return the share of each cell that an outline covers, in a window."""
        return coverage(self.cells(outline_mm), window, fine)


@dataclass(frozen=True, slots=True)
class Window:
    """A cut of a grid: first column and row, width and height, cells."""

    x: int
    y: int
    width: int
    height: int

    @classmethod
    def around(cls, centre: Floats, side: int, shape: tuple[int, int]) -> Window:
        """Return a square about a place, pushed into the grid."""
        rows, columns = shape
        width, height = min(side, columns), min(side, rows)
        x = int(np.clip(round(centre[0] - width / 2), 0, columns - width))
        y = int(np.clip(round(centre[1] - height / 2), 0, rows - height))
        return cls(x, y, width, height)

    @property
    def slices(self) -> tuple[slice, slice]:
        """Return (rows, columns) for indexing."""
        return slice(self.y, self.y + self.height), slice(self.x, self.x + self.width)


def coverage(outline: Floats, window: Window, fine: int = 8) -> NDArray[np.float32]:
    """Return the share of each cell that a convex outline (in cells) covers, in a window."""
    mask = np.zeros((window.height * fine, window.width * fine), np.uint8)
    corners = (outline - [window.x, window.y]) * fine - 0.5
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 255, cv2.LINE_8, 4)
    size = (window.width, window.height)
    share = cv2.resize(mask, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    if float(share.sum()) < 0.05:  # too small to cover anything: its cell
        x, y = outline.mean(axis=0) - [window.x, window.y]
        row = int(np.clip(y, 0, window.height - 1))
        column = int(np.clip(x, 0, window.width - 1))
        share[row, column] = 1.0
    return np.asarray(share, dtype=np.float32)


def highpass(pictures: Pictures, width: float) -> Pictures:
    """Return pictures without what is wider than a Gaussian of `width` cells."""
    wide = [cv2.GaussianBlur(p, (0, 0), width, borderType=cv2.BORDER_REFLECT) for p in pictures]
    return pictures - np.stack(wide).astype(np.float32)


def mapped(matrix: Floats, points: Floats) -> Floats:
    """Map points, shape (…, 2), through a homography."""
    xyw = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(xyw[..., :2] / xyw[..., 2:])
