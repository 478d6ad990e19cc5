"""The tool of guided measurements: a box drawn on the picture that becomes no region."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QColor, QPainter

from thermview.regions import Rectangle
from thermview.ui.desk import Desk
from thermview.ui.picture.geometry import outline
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.tools import StretchTool, Touch, hundredth


def _nothing() -> None:
    """Do nothing."""


class PickTool(StretchTool):
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

    def stretched(self, start: Touch, touch: Touch) -> Rectangle:
        """Return the box."""
        x0, x1 = sorted((hundredth(start.x), hundredth(touch.x)))
        y0, y1 = sorted((hundredth(start.y), hundredth(touch.y)))
        return Rectangle(x0, y0, max(x1 - x0, 1.0), max(y1 - y0, 1.0))

    def release(self, touch: Touch) -> bool:
        """Give the box away; the next step may take up another tool, so this one is not ended."""
        box = self.take_shape()
        if isinstance(box, Rectangle):
            self._given_up = _nothing  # whatever tool comes next takes over from this one
            self._picked(box)
        return False

    def cancel(self) -> bool:
        """Give the box up, or the whole measurement."""
        if not super().cancel():
            self._given_up()
        return True

    def paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Draw the box so far."""
        if self._shape is not None:
            ink.stroke(pen, mapping.transform().map(outline(self._shape)), QColor("#ffffff"))
