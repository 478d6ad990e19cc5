"""Which pixels belong to a shape.

- Rectangle, ellipse, polygon: a pixel belongs when its centre (j + 0.5, i + 0.5) lies inside or on
  the outline. Polygons fill by the even-odd rule. "On" means within `ON_OUTLINE_PX`, so that
  rounding never decides: every centre that lies on the outline exactly is found, and none that is
  visibly off it.
- Spot: the one pixel that holds the point; pixel (i, j) covers [j, j+1) x [i, i+1).
- Line: every pixel that holds at least one point of the stroke, both ends included, by the same
  half-open squares. So a stroke through a corner of the pixel grid takes the pixel right of and
  below that corner along, and a stroke along the border of two rows takes the lower row.

Shapes are worked out row by row and only where they meet the picture; what lies outside of it
has no pixels.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermview.regions.shapes import Ellipse, Line, Polygon, Rectangle, Shape, Spot

ON_OUTLINE_PX = 1e-9
"""A centre this near the outline lies on it."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Box(NamedTuple):
    """The part of the picture in which a shape's pixels lie: rows, then columns, half-open."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def height(self) -> int:
        """Return the number of rows."""
        return self.bottom - self.top

    @property
    def width(self) -> int:
        """Return the number of columns."""
        return self.right - self.left


class _Spans(NamedTuple):
    """Stretches of centres: row, and the x of both ends (within the tolerance)."""

    row: Ints
    start: Floats
    stop: Floats


def _first(edge: Any) -> Any:
    """Return the first pixel whose centre is at or after `edge`."""
    return np.ceil(edge - 0.5 - ON_OUTLINE_PX)


def _last(edge: Any) -> Any:
    """Return the last pixel whose centre is at or before `edge`."""
    return np.floor(edge - 0.5 + ON_OUTLINE_PX)


def _rows_between(low: float, high: float, rows: int) -> Ints:
    """Return the rows of the picture with their centres within low … high."""
    return np.arange(max(int(_first(low)), 0), min(int(_last(high)), rows - 1) + 1)


def _rectangle(shape: Rectangle, rows: int) -> _Spans:
    left, top, right, bottom = shape.bounds()
    row = _rows_between(top, bottom, rows)
    return _Spans(row, np.full(row.shape, left), np.full(row.shape, right))


def _ellipse(shape: Ellipse, rows: int) -> _Spans:
    row = _rows_between(shape.cy - shape.ry, shape.cy + shape.ry, rows)
    ry = shape.ry + ON_OUTLINE_PX
    dy = np.minimum(np.abs(row + 0.5 - shape.cy), ry)
    # (ry − dy)(ry + dy) rather than ry² − dy²: nothing is lost near the top and the bottom
    half = (shape.rx / ry) * np.sqrt((ry - dy) * (ry + dy))
    return _Spans(row, shape.cx - half, shape.cx + half)


def _polygon(shape: Polygon, rows: int) -> _Spans:
    start = np.array(shape.points)
    stop = np.roll(start, -1, axis=0)
    level = np.abs(start[:, 1] - stop[:, 1]) <= ON_OUTLINE_PX
    sides = [_level_sides(start[level], stop[level], rows)]
    upper = np.where(start[:, 1:] < stop[:, 1:], start, stop)  # smaller y: higher in the picture
    lower = np.where(start[:, 1:] < stop[:, 1:], stop, start)
    row, x, counts = _crossings(upper, lower, rows)
    # between the 1st and 2nd, 3rd and 4th … crossing of a row lies the inside
    order = np.lexsort((x[counts], row[counts]))
    inside = x[counts][order].reshape(-1, 2)
    sides.append(_Spans(row[counts][order][::2], inside[:, 0], inside[:, 1]))
    sides.append(_Spans(row, x, x))  # centres on the outline itself, whatever lies beside it
    return _Spans(
        np.concatenate([part.row for part in sides]),
        np.concatenate([part.start for part in sides]),
        np.concatenate([part.stop for part in sides]),
    )


def _level_sides(start: Floats, stop: Floats, rows: int) -> _Spans:
    """Return the level sides that run through the centres of a row."""
    row = np.rint(start[:, 1] - 0.5).astype(np.int64)
    on = (np.abs(row + 0.5 - start[:, 1]) <= ON_OUTLINE_PX) & (row >= 0) & (row < rows)
    ends = np.sort(np.stack((start[on, 0], stop[on, 0])), axis=0)
    return _Spans(row[on], ends[0], ends[1])


def _crossings(upper: Floats, lower: Floats, rows: int) -> tuple[Ints, Floats, NDArray[np.bool_]]:
    """Return row, x and "counts for inside" where sides meet the rows' lines of centres.

    A side counts from its upper end to just before its lower one, so that a line through a corner
    of the outline meets both its sides, one of them, or neither, as even-odd counting needs.
    """
    first = np.clip(_first(upper[:, 1]), 0, rows).astype(np.int64)
    last = np.clip(_last(lower[:, 1]), -1, rows - 1).astype(np.int64)
    number = np.maximum(last - first + 1, 0)
    side = np.repeat(np.arange(len(upper)), number)
    step = np.arange(len(side)) - np.repeat(np.cumsum(number) - number, number)
    row = first[side] + step
    (x0, y0), (x1, y1) = upper[side].T, lower[side].T
    y = row + 0.5
    height = y1 - y0
    along = np.divide(y - y0, height, out=np.zeros_like(height), where=height > 0)
    x = x0 + np.clip(along, 0.0, 1.0) * (x1 - x0)
    return row, x, (y0 <= y) & (y < y1)


def _filled(spans: _Spans, columns: int) -> tuple[Box, NDArray[np.bool_]]:
    """Return the box around the spans' pixels and the mask inside of it."""
    start = np.maximum(_first(spans.start), 0).astype(np.int64)
    stop = np.minimum(_last(spans.stop) + 1, columns).astype(np.int64)
    some = stop > start
    if not some.any():
        return _NOWHERE, np.zeros((0, 0), np.bool_)
    row, start, stop = spans.row[some], start[some], stop[some]
    box = Box(int(row.min()), int(row.max()) + 1, int(start.min()), int(stop.max()))
    # +1 where a span starts, −1 behind its end: the running sum counts the spans over a pixel
    width = box.width + 1
    edges = np.zeros(box.height * width, np.int16 if len(row) < 2**15 else np.int32)
    offset = (row - box.top) * width - box.left
    np.add.at(edges, offset + start, 1)
    np.subtract.at(edges, offset + stop, 1)
    inside = np.cumsum(edges, dtype=edges.dtype).reshape(box.height, width) > 0
    return box, inside[:, :-1]


_NOWHERE = Box(0, 0, 0, 0)


def _of_pixels(row: Ints, column: Ints, shape: tuple[int, int]) -> tuple[Box, NDArray[np.bool_]]:
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    if not inside.any():
        return _NOWHERE, np.zeros((0, 0), np.bool_)
    row, column = row[inside], column[inside]
    box = Box(int(row.min()), int(row.max()) + 1, int(column.min()), int(column.max()) + 1)
    mask = np.zeros((box.height, box.width), np.bool_)
    mask[row - box.top, column - box.left] = True
    return box, mask


def _spot(shape: Spot, _size: tuple[int, int]) -> tuple[Ints, Ints]:
    return (
        np.array([np.floor(shape.y)], dtype=np.int64),
        np.array([np.floor(shape.x)], dtype=np.int64),
    )


def _line(shape: Line, size: tuple[int, int]) -> tuple[Ints, Ints]:
    """Return the pixels at the ends, at every crossing of the grid, and between crossings."""
    across = _grid_meetings(shape.x1, shape.x2, shape.y1, shape.y2, size[1])
    down = _grid_meetings(shape.y1, shape.y2, shape.x1, shape.x2, size[0])
    length = max(abs(shape.x2 - shape.x1), abs(shape.y2 - shape.y1), 1.0)
    along = np.sort(np.concatenate(([0.0, 1.0], across[0], down[0])))
    gap = np.diff(along)
    middle = (along[:-1] + gap / 2)[gap * length > ON_OUTLINE_PX]
    between_x = shape.x1 + middle * (shape.x2 - shape.x1)
    between_y = shape.y1 + middle * (shape.y2 - shape.y1)
    ends_x, ends_y = np.array([shape.x1, shape.x2]), np.array([shape.y1, shape.y2])
    column = np.floor(np.concatenate([ends_x, across[1], down[2], between_x]))
    row = np.floor(np.concatenate([ends_y, across[2], down[1], between_y]))
    return row.astype(np.int64), column.astype(np.int64)


def _grid_meetings(
    start: float, stop: float, other_start: float, other_stop: float, number: int
) -> tuple[Floats, Floats, Floats]:
    """Return where a stroke meets the grid lines 0 … number of one axis.

    Three arrays: how far along the stroke (0 to 1), the grid lines, and the other coordinate,
    snapped to the grid where it lies on it.
    """
    low, high = sorted((start, stop))
    grid = np.arange(max(np.ceil(low), 0), min(np.floor(high), number) + 1, dtype=np.float64)
    if start == stop:
        return np.zeros(0), np.zeros(0), np.zeros(0)  # runs along the grid, meets it nowhere
    along = np.clip((grid - start) / (stop - start), 0.0, 1.0)
    other = other_start + along * (other_stop - other_start)
    near = np.rint(other)
    other = np.where(np.abs(other - near) <= ON_OUTLINE_PX, near, other)
    return along, grid, other


_SCANNED: dict[type, Callable[[Any, int], _Spans]] = {
    Rectangle: _rectangle,
    Ellipse: _ellipse,
    Polygon: _polygon,
}
_TRACED: dict[type, Callable[[Any, tuple[int, int]], tuple[Ints, Ints]]] = {
    Spot: _spot,
    Line: _line,
}


def boxed_mask(shape: Shape, size: tuple[int, int]) -> tuple[Box, NDArray[np.bool_]]:
    """Return the box around a shape's pixels, and which pixels of the box belong to the shape.

    Parameters
    ----------
    shape : Shape
        In the picture's axes, px.
    size : (rows, columns)
        Of the picture.

    Returns
    -------
    Box, ndarray of bool, shape (box.height, box.width)
        Both empty where the shape has no pixel in the picture.
    """
    if tracer := _TRACED.get(type(shape)):
        row, column = tracer(shape, size)
        return _of_pixels(row, column, size)
    return _filled(_SCANNED[type(shape)](shape, size[0]), size[1])


def pixel_mask(shape: Shape, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Return which pixels of a picture of `size` (rows, columns) belong to `shape`.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
    """
    mask = np.zeros(size, np.bool_)
    box, inside = boxed_mask(shape, size)
    mask[box.top : box.bottom, box.left : box.right] = inside
    return mask


def pixel_indices(shape: Shape, size: tuple[int, int]) -> NDArray[np.int32]:
    """Return the flat, row-major indices of a shape's pixels, ascending, int32."""
    box, inside = boxed_mask(shape, size)
    row, column = np.nonzero(inside)
    flat: NDArray[np.int32] = ((row + box.top) * size[1] + column + box.left).astype(np.int32)
    return flat
