"""Outlines of shapes for drawing and for finding what lies under the cursor."""

from __future__ import annotations

import math
from itertools import pairwise

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainterPath, QPolygonF

from thermview.regions import Ellipse, Line, Polygon, Rectangle, Region, Shape, Spot

REACH = 7.0
"""Widget px around a handle or a line that count as hitting it."""

_HANDLE_ROOM = 28.0  # widget px; a shape that is smaller has no handles


def outline(shape: Shape) -> QPainterPath:
    """Return a shape's outline in the picture's axes; a spot is the pixel that holds it."""
    path = QPainterPath()
    match shape:
        case Spot(x, y):
            path.addRect(QRectF(math.floor(x), math.floor(y), 1, 1))
        case Line(x1, y1, x2, y2):
            path.moveTo(x1, y1)
            path.lineTo(x2, y2)
        case Rectangle(x, y, width, height):
            path.addRect(QRectF(x, y, width, height))
        case Ellipse(cx, cy, rx, ry):
            path.addEllipse(QPointF(cx, cy), rx, ry)
        case Polygon(points):
            path.addPolygon(QPolygonF([QPointF(x, y) for x, y in points]))
            path.closeSubpath()
    return path


def distance(shape: Shape, x: float, y: float) -> float:
    """Return how far, px, a point lies from a shape; 0 inside of it."""
    if isinstance(shape, Spot):
        return math.hypot(x - shape.x, y - shape.y)
    if isinstance(shape, Line):
        return _to_stretch(x, y, (shape.x1, shape.y1), (shape.x2, shape.y2))
    path = outline(shape)
    if path.contains(QPointF(x, y)):
        return 0.0
    corners = [(p.x(), p.y()) for p in path.toFillPolygon().toList()]
    return min(_to_stretch(x, y, a, b) for a, b in pairwise(corners))


def _to_stretch(x: float, y: float, a: tuple[float, float], b: tuple[float, float]) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    along = 0.0 if square == 0 else ((x - a[0]) * dx + (y - a[1]) * dy) / square
    along = min(max(along, 0.0), 1.0)
    return math.hypot(x - a[0] - along * dx, y - a[1] - along * dy)


def region_at(regions: tuple[Region, ...], x: float, y: float, reach: float) -> Region | None:
    """Return the region at a point, or None: of several the smallest, so that none is buried."""
    near = [region for region in regions if distance(region.shape, x, y) <= reach]
    return min(near, key=lambda region: _extent(region.shape), default=None)


def handles_of(shape: Shape, zoom: float) -> tuple[tuple[float, float], ...]:
    """Return the points to drag a shape into form by, px.

    None where the shape is so small on screen (`zoom` widget pixels per px) that they would cover
    it: then a drag moves it.
    """
    left, top, right, bottom = shape.bounds()
    room = max(right - left, bottom - top) * zoom
    return shape.handles() if room >= _HANDLE_ROOM else ()


def handle_at(shape: Shape, x: float, y: float, zoom: float) -> int | None:
    """Return the number of the shape's nearest handle at a point, or None."""
    apart = [math.hypot(x - hx, y - hy) * zoom for hx, hy in handles_of(shape, zoom)]
    nearest = min(range(len(apart)), key=apart.__getitem__, default=None)
    return nearest if nearest is not None and apart[nearest] <= REACH else None


def _extent(shape: Shape) -> float:
    left, top, right, bottom = shape.bounds()
    return (right - left + 1) * (bottom - top + 1)


def length_text(length_px: float, mm_per_px: float | None) -> str:
    """Return a length in words: px, and mm once a pixel's length is known."""
    if mm_per_px is None:
        return f"{length_px:.1f} px"
    return f"{length_px * mm_per_px:.2f} mm"


def size_text(shape: Shape, mm_per_px: float | None) -> str:
    """Return a shape's size in words, in px or mm; a spot has none."""
    left, top, right, bottom = shape.bounds()
    if isinstance(shape, Spot):
        return ""
    if isinstance(shape, Line):
        return length_text(math.hypot(right - left, bottom - top), mm_per_px)
    width = length_text(right - left, mm_per_px)
    return f"{width.split()[0]} × {length_text(bottom - top, mm_per_px)}"
