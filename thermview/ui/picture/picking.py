"""The tool of guided measurements: a box drawn on the picture that becomes no region."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtGui import QColor, QPainter

from thermview.regions import Rectangle
from thermview.ui.desk import Desk
from thermview.ui.picture.geometry import outline
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.tools import SMALLEST_DRAG, Tool, Touch, hundredth


def _nothing() -> None:
    """Do nothing."""


class PickTool(Tool):
    """Drag a box; `picked` gets it, `given_up` is called on Esc."""

    def __init__(
        self,
        desk: Desk,
        hint: str,
        picked: Callable[[Rectangle], object],
        given_up: Callable[[], object],
    ) -> None:
        super().__init__(desk)
        self.hint = hint
        self._picked = picked
        self._given_up: Callable[[], object] = given_up
        self._start: Touch | None = None
        self._box: Rectangle | None = None

    def press(self, touch: Touch) -> bool:
        """Begin at this corner."""
        self._start, self._box = touch, None
        return True

    def drag(self, touch: Touch) -> None:
        """Stretch to the mouse."""
        if self._start is None:
            return
        moved = touch.at - self._start.at
        if math.hypot(moved.x(), moved.y()) >= SMALLEST_DRAG:
            x0, x1 = sorted((hundredth(self._start.x), hundredth(touch.x)))
            y0, y1 = sorted((hundredth(self._start.y), hundredth(touch.y)))
            self._box = Rectangle(x0, y0, max(x1 - x0, 1.0), max(y1 - y0, 1.0))

    def release(self, touch: Touch) -> bool:
        """Give the box away; the next step may take up another tool, so this one is not ended."""
        box, self._start, self._box = self._box, None, None
        if box is None:
            self.desk.say("info", self.hint)
        else:
            self._given_up = _nothing  # whatever tool comes next takes over from this one
            self._picked(box)
        return False

    def cancel(self) -> bool:
        """Give the box up, or the whole measurement."""
        if self._start is not None:
            self._start = self._box = None
        else:
            self._given_up()
        return True

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw the box so far."""
        if self._box is not None:
            ink.stroke(pen, mapping.transform().map(outline(self._box)), QColor("#ffffff"))
