"""Shapes carried along with a board that moves in the picture."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermview.regions.shapes import Ellipse, Line, Polygon, Rectangle, Shape, Spot

Floats = NDArray[np.float64]

TURNED = 1e-3
"""Turn, rad, below which upright shapes stay upright: 0.1 px at a side of 100 px."""
ELLIPSE_CORNERS = 48


def mapped(matrix: Floats, points: ArrayLike) -> Floats:
    """Map points (x, y), shape (…, 2), by a homography, shape (3, 3)."""
    xy = np.asarray(points, dtype=np.float64)
    moved = xy @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[..., :2] / moved[..., 2:])


def carried(shape: Shape, matrix: Floats) -> Shape:
    """Return where a shape lies after a homography.

    A rectangle or ellipse that turns with the board becomes a polygon.

    Parameters
    ----------
    shape : Shape
    matrix : ndarray, shape (3, 3)
        From the shape's pixels to the other picture's.
    """
    match shape:
        case Spot(x, y):
            return Spot(*mapped(matrix, (x, y)).tolist())
        case Line(x1, y1, x2, y2):
            return Line(*mapped(matrix, ((x1, y1), (x2, y2))).ravel().tolist())
        case Polygon(points):
            return _polygon(mapped(matrix, points))
        case _:
            return _upright(shape, matrix)


def _upright(shape: Rectangle | Ellipse, matrix: Floats) -> Shape:
    left, top, right, bottom = shape.bounds()
    middle = ((left + right) / 2, (top + bottom) / 2)
    if _turns(matrix, *middle):
        return _polygon(mapped(matrix, _corners(shape)))
    ends = mapped(matrix, shape.handles())
    (left, top), (right, bottom) = ends.min(axis=0).tolist(), ends.max(axis=0).tolist()
    width, height = right - left, bottom - top
    if isinstance(shape, Ellipse):
        x, y = mapped(matrix, middle).tolist()
        return Ellipse(x, y, width / 2, height / 2)
    return Rectangle(left, top, width, height)


def _corners(shape: Rectangle | Ellipse) -> ArrayLike:
    if isinstance(shape, Rectangle):
        return shape.handles()
    angle = np.linspace(0, 2 * math.pi, ELLIPSE_CORNERS, endpoint=False)
    around = [shape.cx + shape.rx * np.cos(angle), shape.cy + shape.ry * np.sin(angle)]
    return np.stack(around, axis=1)


def _polygon(points: Floats) -> Polygon:
    return Polygon(tuple((float(x), float(y)) for x, y in points))


def _turns(matrix: Floats, x: float, y: float) -> bool:
    """Tell whether upright lines do not stay upright around a place."""
    middle, right, down = mapped(matrix, ((x, y), (x + 1.0, y), (x, y + 1.0)))
    return bool(abs((right - middle)[1]) > TURNED or abs((down - middle)[0]) > TURNED)
