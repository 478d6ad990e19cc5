"""A picture to work on: the wheel zooms, dragging beside things shifts, a tool has the mouse."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.tools import Tool, Touch

WHEEL_STEP = 1.2  # zoom of one notch


class Surface(QWidget):
    """Holds how a picture lies in the widget, and hands the mouse to the tool.

    Attributes
    ----------
    tool : Tool
        Has the left button.
    shifting : frozenset of Qt.MouseButton
        Buttons that always shift the picture; the left one does where the tool leaves it.
    """

    shifting = frozenset({Qt.MouseButton.MiddleButton})
    tool: Tool

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._mapping: Mapping | None = None
        self._fits = True
        self._panned_from: QPointF | None = None

    # -- what a picture's own surface says ---------------------------------------------------

    def picture_size(self) -> tuple[int, int] | None:
        """Return (width, height) of the picture, px; None without one."""
        raise NotImplementedError

    def turned(self) -> tuple[int, bool]:
        """Return the quarter turns, and whether it is mirrored."""
        return 0, False

    def label_at(self, at: QPointF) -> str | None:
        """Return what the label under a point belongs to."""
        return None

    def tool_done(self) -> None:
        """Follow a tool that has done its work at the mouse's release."""

    def tool_worked(self) -> None:
        """Follow a press or a release."""

    # -- how it lies -------------------------------------------------------------------------

    @property
    def mapping(self) -> Mapping | None:
        """Return how the picture lies in the widget, None without a picture."""
        picture = self.picture_size()
        if picture is None:
            return None
        widget, turned = (self.width(), self.height()), self.turned()
        old = self._mapping
        if old is None or self._fits or old.picture != picture:
            self._mapping = Mapping.fitted(picture, widget, *turned)
        elif (old.widget, old.quarter_turns, old.mirrored) != (widget, *turned):
            self._mapping = replace(old, widget=widget, quarter_turns=turned[0], mirrored=turned[1])
        return self._mapping

    def fit(self) -> None:
        """Show the whole picture."""
        self._fits = True
        self.update()

    def zoom(self, factor: float, at: QPointF | None = None) -> None:
        """Zoom about a point of the widget, else about its middle."""
        if (mapping := self.mapping) is not None:
            middle = QPointF(self.width() / 2, self.height() / 2)
            self._lay(mapping.zoomed(middle if at is None else at, factor))

    def fly_to(self, x: float, y: float) -> None:
        """Bring a point of the picture to the middle, unless all of the picture is seen."""
        if (mapping := self.mapping) is not None and not self._fits:
            self._lay(mapping.centred(x, y))

    def _lay(self, mapping: Mapping) -> None:
        self._mapping, self._fits = mapping, False
        self.update()

    # -- mouse -------------------------------------------------------------------------------

    def touch(self, event: QMouseEvent) -> Touch | None:
        """Return where the mouse is on the picture, None without a picture."""
        if (mapping := self.mapping) is None:
            return None
        at = event.position()
        more = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        return Touch(*mapping.to_picture(at), at, mapping, self.label_at(at), more)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Start the tool's work, or a shift with another button or beside the tool's things."""
        touch = self.touch(event)
        if touch is None:
            return
        left = event.button() is Qt.MouseButton.LeftButton
        if event.button() in self.shifting or (left and not self.tool.press(touch)):
            self._panned_from = event.position()
        self.tool_worked()
        self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Go on with it."""
        touch = self.touch(event)
        if touch is None:
            return
        if self._panned_from is not None:
            moved = event.position() - self._panned_from
            self._panned_from = event.position()
            self._lay(touch.mapping.panned(moved.x(), moved.y()))
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            return
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.tool.drag(touch)
        else:
            self.tool.hover(touch)
        self.setCursor(self.tool.cursor)
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End it."""
        self._panned_from = None
        touch = self.touch(event)
        if touch is not None and event.button() is Qt.MouseButton.LeftButton:
            if self.tool.release(touch):
                self.tool_done()
            self.tool_worked()
        self.setCursor(self.tool.cursor)
        self.update()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the cursor."""
        notches = event.angleDelta().y() / 120.0
        if notches:
            self.zoom(WHEEL_STEP**notches, event.position())
        event.accept()
