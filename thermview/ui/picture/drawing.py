"""Tools that draw regions, and the ruler."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPolygonF

from thermview.regions import Ellipse, Line, Polygon, Rectangle, Shape, Spot
from thermview.ui.desk import Desk
from thermview.ui.picture.geometry import length_text, outline, size_text
from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.tools import (
    SMALLEST_DRAG,
    SelectTool,
    StretchTool,
    Tool,
    ToolKind,
    Touch,
    hundredth,
)


class _DrawTool(Tool):
    """Adds a region and selects it."""

    def add(self, shape: Shape) -> None:
        """Put a finished shape on the document."""
        region = self.desk.attempt(lambda: self.desk.document.add(shape))
        if region is not None:
            self.desk.select((region.id,))


class SpotTool(_DrawTool):
    """One click, one spot."""

    hint = "click a pixel to measure it"

    def press(self, touch: Touch) -> bool:
        """Be ready."""
        return True

    def release(self, touch: Touch) -> bool:
        """Add the pixel under the mouse."""
        self.add(Spot(math.floor(touch.x) + 0.5, math.floor(touch.y) + 0.5))
        return True


class DragTool(StretchTool, _DrawTool):
    """Line, rectangle or ellipse from one corner to the other."""

    def __init__(self, desk: Desk, kind: ToolKind) -> None:
        super().__init__(desk)
        self._kind = kind
        self.hint = f"drag to draw the {kind.value}; with Shift its sides are equal"
        if kind is ToolKind.LINE:
            self.hint = "drag to draw the line; with Shift it is level or upright"

    def stretched(self, start: Touch, touch: Touch) -> Shape:
        """Return the shape of the tool's kind."""
        return _stretched(self._kind, start, touch)

    def release(self, touch: Touch) -> bool:
        """Add the shape, if it was more than a click."""
        shape = self.take_shape()
        if shape is None:
            return False
        self.add(shape)
        return True

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw the shape so far."""
        if self._shape is not None:
            path = mapping.transform().map(outline(self._shape))
            ink.stroke(pen, path, QColor("#ffffff"))
            words = size_text(self._shape, self.desk.display.mm_per_px)
            _tell(pen, path.boundingRect().bottomRight(), words, ink)


class PolygonTool(_DrawTool):
    """A click for every corner; Enter, a double click or the first corner closes."""

    hint = "click each corner; Enter, a double click or the first corner closes, Esc gives up"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._points: list[tuple[float, float]] = []
        self._loose: tuple[float, float] | None = None

    def press(self, touch: Touch) -> bool:
        """Set a corner, or close at the first one."""
        point = (hundredth(touch.x), hundredth(touch.y))
        near = touch.reach
        if self._points and math.dist(point, self._points[-1]) * touch.mapping.zoom < 1.0:
            return True  # the second press of a double click
        if len(self._points) >= 3 and math.dist(point, self._points[0]) <= near:
            self._closing = True
        else:
            self._points.append(point)
        return True

    _closing = False

    def release(self, touch: Touch) -> bool:
        """Close when the first corner was hit again."""
        if self._closing:
            self._closing = False
            return self.finish()
        return False

    def hover(self, touch: Touch) -> None:
        """Stretch the open side to the mouse."""
        self._loose = (touch.x, touch.y)

    drag = hover

    def finish(self) -> bool:
        """Add the polygon, if it has three corners."""
        points, self._points, self._loose = self._points, [], None
        if len(points) < 3:
            self.desk.say("info", "a polygon needs three corners at least")
            return False
        self.add(Polygon(tuple(points)))
        return True

    def cancel(self) -> bool:
        """Forget the corners."""
        given_up = bool(self._points)
        self._points, self._loose = [], None
        return given_up

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw the sides so far."""
        corners = [mapping.to_widget(x, y) for x, y in self._points]
        if not corners:
            return
        open_end = [] if self._loose is None else [mapping.to_widget(*self._loose)]
        path = QPainterPath()
        path.addPolygon(QPolygonF([*corners, *open_end]))
        ink.stroke(pen, path, QColor("#ffffff"))
        for corner in corners:
            ink.handle(pen, corner)


class RulerTool(Tool):
    """Two clicks give a length."""

    hint = "click both ends of a length; where you know how long it is, say so"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.ends: list[tuple[float, float]] = []
        self._loose: tuple[float, float] | None = None

    @property
    def length_px(self) -> float:
        """Return the length between the two ends, px; 0 before there are two."""
        return math.dist(*self.ends) if len(self.ends) == 2 else 0.0

    def press(self, touch: Touch) -> bool:
        """Set an end; a third click begins anew."""
        if len(self.ends) == 2:
            self.ends = []
        self.ends.append((touch.x, touch.y))
        return True

    def release(self, touch: Touch) -> bool:
        """Take a drag for both ends at once."""
        if len(self.ends) == 1:
            apart = math.dist(self.ends[0], (touch.x, touch.y)) * touch.mapping.zoom
            if apart >= 2 * SMALLEST_DRAG:
                self.ends.append((touch.x, touch.y))
        return False

    def hover(self, touch: Touch) -> None:
        """Stretch to the mouse."""
        self._loose = (touch.x, touch.y)

    drag = hover

    def cancel(self) -> bool:
        """Forget the ends."""
        given_up = bool(self.ends)
        self.ends = []
        return given_up

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw the length."""
        ends = list(self.ends)
        if len(ends) == 1 and self._loose is not None:
            ends.append(self._loose)
        if len(ends) < 2:
            return
        path = QPainterPath(mapping.to_widget(*ends[0]))
        path.lineTo(mapping.to_widget(*ends[1]))
        ink.stroke(pen, path, QColor("#ffffff"))
        for end in ends:
            ink.handle(pen, mapping.to_widget(*end))
        words = length_text(math.dist(*ends), self.desk.display.mm_per_px)
        _tell(pen, path.pointAtPercent(0.5), words, ink)


def _tell(pen: QPainter, at: QPointF, words: str, ink: Ink) -> None:
    """Write a length beside what is being drawn."""
    chunks = [Chunk(words, ink.number, ink.text, figures=True)]
    ink.plate(pen, QRectF(at + QPointF(10, 10), ink.plate_size(chunks)), chunks)


def make_tool(kind: ToolKind, desk: Desk) -> Tool:
    """Return a fresh tool."""
    if kind in (ToolKind.LINE, ToolKind.RECTANGLE, ToolKind.ELLIPSE):
        return DragTool(desk, kind)
    simple = {
        ToolKind.SELECT: SelectTool,
        ToolKind.SPOT: SpotTool,
        ToolKind.POLYGON: PolygonTool,
        ToolKind.RULER: RulerTool,
    }
    return simple[kind](desk)


def _stretched(kind: ToolKind, start: Touch, end: Touch) -> Shape:
    """Return the shape from `start` to `end`."""
    dx, dy = hundredth(end.x - start.x), hundredth(end.y - start.y)
    if end.more and kind is ToolKind.LINE:
        dx, dy = (dx, 0.0) if abs(dx) > abs(dy) else (0.0, dy)
    elif end.more:
        side = max(abs(dx), abs(dy))
        dx, dy = math.copysign(side, dx), math.copysign(side, dy)
    x, y = hundredth(start.x), hundredth(start.y)
    if kind is ToolKind.LINE:
        return Line(x, y, x + dx, y + dy)
    width, height = max(abs(dx), 1.0), max(abs(dy), 1.0)
    left, top = min(x, x + dx), min(y, y + dy)
    if kind is ToolKind.RECTANGLE:
        return Rectangle(left, top, width, height)
    return Ellipse(left + width / 2, top + height / 2, width / 2, height / 2)
