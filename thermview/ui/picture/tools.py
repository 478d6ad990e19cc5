"""What the mouse does on the picture: select and reshape, draw, measure a length.

A tool is told of presses, moves and releases, with the place in the picture's axes, and acts on
the desk. It holds what is being done until it is done.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter

from thermview.regions import Region, Shape
from thermview.ui.desk import Desk
from thermview.ui.picture.geometry import (
    REACH,
    handle_at,
    region_at,
)
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping

SMALLEST_DRAG = 4.0
"""Widget px; less is a click."""


class ToolKind(Enum):
    """The tools; the values are their names in words."""

    SELECT = "select"
    SPOT = "spot"
    LINE = "line"
    RECTANGLE = "rectangle"
    ELLIPSE = "ellipse"
    POLYGON = "polygon"
    RULER = "ruler"


@dataclass(frozen=True, slots=True)
class Touch:
    """Where the mouse is: on the picture (px, axes of the picture) and in the widget."""

    x: float
    y: float
    at: QPointF
    mapping: Mapping
    label_of: str | None = None
    """Id of the region whose label is under the mouse."""
    more: bool = False
    """Shift is held: add to what is selected; equal sides while drawing."""

    @property
    def reach(self) -> float:
        """Return, in picture px, how near counts as hitting."""
        return REACH / self.mapping.zoom


class Tool:
    """A tool that does nothing; the others say what they do otherwise."""

    hint = ""
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def press(self, touch: Touch) -> bool:
        """Take a press of the left button; False: it means nothing here."""
        return False

    def drag(self, touch: Touch) -> None:
        """Take a move with the left button held."""

    def hover(self, touch: Touch) -> None:
        """Take a move without a button."""

    def release(self, touch: Touch) -> bool:
        """Take the release of the left button; True: the tool has done its work."""
        return False

    def finish(self) -> bool:
        """Take Enter or a double click; True: the tool has done its work."""
        return False

    def cancel(self) -> bool:
        """Take Esc; True: there was something to give up."""
        return False

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw what is being done."""


class StretchTool(Tool):
    """Stretches a shape from the corner pressed to the mouse; a mere click makes none."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._start: Touch | None = None
        self._shape: Shape | None = None

    def stretched(self, start: Touch, touch: Touch) -> Shape:
        """Return the shape between two corners."""
        raise NotImplementedError

    def press(self, touch: Touch) -> bool:
        """Begin at this corner."""
        self._start, self._shape = touch, None
        return True

    def drag(self, touch: Touch) -> None:
        """Stretch to the mouse."""
        if self._start is None:
            return
        moved = touch.at - self._start.at
        if math.hypot(moved.x(), moved.y()) >= SMALLEST_DRAG:
            self._shape = self.stretched(self._start, touch)

    def take_shape(self) -> Shape | None:
        """Return the shape and forget it; the hint is said where there is none."""
        shape, self._start, self._shape = self._shape, None, None
        if shape is None:
            self.desk.say("info", self.hint)
        return shape

    def cancel(self) -> bool:
        """Forget the shape."""
        given_up = self._start is not None
        self._start = self._shape = None
        return given_up


class SelectTool(Tool):
    """Selects, moves and reshapes; a drag is one step to undo."""

    hint = (
        "click a region to select it, drag to move, drag a corner to reshape; "
        "drag beside the regions to shift the picture"
    )
    cursor = Qt.CursorShape.ArrowCursor

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._start: Touch | None = None
        self._handle: tuple[Region, int] | None = None
        self._before: tuple[Region, ...] = ()
        self._moving = False

    def press(self, touch: Touch) -> bool:
        """Select what lies here and be ready to drag it."""
        self._handle = self._handle_at(touch)
        self._moving = False
        if self._handle is None:
            hit = self._region_at(touch)
            if hit is None:
                if not touch.more:
                    self.desk.select(())
                return False
            self._select(hit, touch.more)
        self._start = touch
        chosen = self.desk.selected
        self._before = tuple(r for r in self.desk.document.current.regions if r.id in chosen)
        return True

    def drag(self, touch: Touch) -> None:
        """Move the selected regions, or the corner that was gripped."""
        if self._start is None:
            return
        document = self.desk.document
        if not self._moving:
            if (touch.at - self._start.at).manhattanLength() < SMALLEST_DRAG:
                return
            self._moving = True
            document.begin_gesture("reshape" if self._handle else "move")
        if self._handle is not None:
            region, number = self._handle
            shape = region.shape.with_handle(number, hundredth(touch.x), hundredth(touch.y))
            document.set_shape(region.id, shape)
            return
        dx, dy = hundredth(touch.x - self._start.x), hundredth(touch.y - self._start.y)
        now = {region.id: region for region in document.current.regions}
        for region in self._before:
            if region.id in now:
                document.set_shape(region.id, region.shape.moved(dx, dy))

    def release(self, touch: Touch) -> bool:
        """End the drag."""
        if self._moving:
            self.desk.document.end_gesture()
        self._start, self._moving = None, False
        return False

    def cancel(self) -> bool:
        """Put what is being dragged back, or select nothing."""
        if self._moving:
            self.desk.document.cancel_gesture()
            self._start, self._moving = None, False
            return True
        if self.desk.selected:
            self.desk.select(())
            return True
        return False

    def hover(self, touch: Touch) -> None:
        """Show by the cursor what a press would do."""
        if self._handle_at(touch) is not None:
            self.cursor = Qt.CursorShape.SizeAllCursor
        elif self._region_at(touch) is not None:
            self.cursor = Qt.CursorShape.PointingHandCursor
        else:
            self.cursor = Qt.CursorShape.ArrowCursor

    def _select(self, hit: Region, more: bool) -> None:
        chosen = self.desk.selected
        if more:
            self.desk.select(chosen - {hit.id} if hit.id in chosen else chosen | {hit.id})
        elif hit.id not in chosen:
            self.desk.select((hit.id,))

    def _region_at(self, touch: Touch) -> Region | None:
        regions = self.desk.document.current.regions
        if touch.label_of is not None:
            return next((r for r in regions if r.id == touch.label_of), None)
        return region_at(regions, touch.x, touch.y, touch.reach)

    def _handle_at(self, touch: Touch) -> tuple[Region, int] | None:
        if touch.label_of is not None or touch.more:
            return None
        for region in self.desk.selected_regions():
            number = handle_at(region.shape, touch.x, touch.y, touch.mapping.zoom)
            if number is not None:
                return region, number
        return None


def hundredth(value: float) -> float:
    """Round to a hundredth of a pixel: finer is not meant by a hand."""
    return round(value, 2)
