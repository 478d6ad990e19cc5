"""The tool that sets matching points: click a place, drag a point that is there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Protocol

from PySide6.QtCore import QPointF, Qt

from thermview.ui.desk import Desk
from thermview.ui.picture.geometry import REACH
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.tools import Tool, Touch, hundredth

Pixel = tuple[float, float]


class PointsTaker(Protocol):
    """Who is told of the places."""

    def places(self) -> Sequence[Pixel]:
        """Return where the points lie, px of the picture."""
        ...

    def place(self, pixel: Pixel) -> None:
        """Take a click."""
        ...

    def drag(self, number: int, pixel: Pixel) -> None:
        """Follow a point that is being dragged."""
        ...

    def dropped(self, number: int) -> None:
        """End the drag."""
        ...

    def drag_given_up(self, number: int) -> None:
        """Put the point back."""
        ...


class PointTool(Tool):
    """Clicks and drags with a loupe around the cursor.

    Attributes
    ----------
    at : QPointF or None
        The cursor, px of the widget; None where it is off the picture.
    dragged : int or None
        Number of the point that is being dragged.
    """

    hint = "click the chosen place in the picture; drag a point to correct it"

    def __init__(self, desk: Desk, taker: PointsTaker, given_up: Callable[[], object]) -> None:
        super().__init__(desk)
        self._taker = taker
        self._given_up = given_up
        self.at: QPointF | None = None
        self.dragged: int | None = None
        self._offset = (0.0, 0.0)
        self._moved = False

    def press(self, touch: Touch) -> bool:
        """Grip a point, or be ready to set one."""
        self.at = touch.at
        self.dragged = self._under(touch.at, touch.mapping)
        self._moved = False
        if self.dragged is not None:
            x, y = self._taker.places()[self.dragged]
            self._offset = (x - touch.x, y - touch.y)
        return True

    def drag(self, touch: Touch) -> None:
        """Move the gripped point; the loupe shows where it is, not where the hand is."""
        self.at = touch.at
        if self.dragged is not None:
            x, y = touch.x + self._offset[0], touch.y + self._offset[1]
            self._moved = True
            self.at = touch.mapping.to_widget(x, y)
            self._taker.drag(self.dragged, (hundredth(x), hundredth(y)))

    def release(self, touch: Touch) -> bool:
        """Set the point, or let it go."""
        gripped, self.dragged = self.dragged, None
        if gripped is None:
            if _inside(touch):
                self._taker.place((hundredth(touch.x), hundredth(touch.y)))
        elif self._moved:
            self._taker.dropped(gripped)
        self.hover(touch)
        return False

    def hover(self, touch: Touch) -> None:
        """Move the loupe along; over a point there is none, so that it can be gripped."""
        over = self._under(touch.at, touch.mapping) is not None
        self.at = None if over or not _inside(touch) else touch.at
        blank, grip = Qt.CursorShape.BlankCursor, Qt.CursorShape.SizeAllCursor
        self.cursor = grip if over else blank if self.at is not None else Qt.CursorShape.ArrowCursor

    def cancel(self) -> bool:
        """Put the dragged point back, or end the setting of points."""
        if self.dragged is not None:
            gripped, self.dragged = self.dragged, None
            self._taker.drag_given_up(gripped)
        else:
            self._given_up()
        return True

    def retire(self) -> None:
        """Be put away without that counting as giving up."""
        self._given_up = lambda: None

    def _under(self, at: QPointF, mapping: Mapping) -> int | None:
        apart = []
        for number, pixel in enumerate(self._taker.places()):
            there = mapping.to_widget(*pixel)
            apart.append((math.hypot(there.x() - at.x(), there.y() - at.y()), number))
        near = min(apart, default=(math.inf, -1))
        return near[1] if near[0] <= REACH + 2 else None


def _inside(touch: Touch) -> bool:
    columns, rows = touch.mapping.picture
    return 0 <= touch.x < columns and 0 <= touch.y < rows
