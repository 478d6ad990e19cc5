"""The chart that is also the scrubber: shows a kept plot, and the playhead and cursor over it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PySide6.QtCore import QEvent, QPoint, QPointF, QRect, QSize, Qt, Signal
from PySide6.QtGui import QHelpEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from thermview.frames import Mark
from thermview.ui.display import LevelMode, View
from thermview.ui.strip.axis import AxisDrag, Grip, grip_at, paint_axis, scale_span
from thermview.ui.strip.content import Content, Span, gather
from thermview.ui.strip.glyphs import mark_word
from thermview.ui.strip.ground import small_font
from thermview.ui.strip.hands import Gesture, HoldAxis, Loop, Pan, Pick, Scrub
from thermview.ui.strip.layout import LEFT_PX, RIGHT_PX
from thermview.ui.strip.overlay import REACH_PX, paint_cursor, paint_loop, paint_playhead
from thermview.ui.strip.plot import Plot
from thermview.ui.strip.ticks import clock_text
from thermview.ui.strip.timeline import Timeline
from thermview.ui.theme import tokens
from thermview.units import TemperatureUnit

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

ZOOM_STEP = 1.25
_NOTCH = 120.0  # one notch of a wheel, in Qt's eighths of a degree


class _Look(NamedTuple):
    """What makes a kept plot useless when it changes."""

    view: View
    unit: TemperatureUnit
    theme: str


class StripChart(QWidget):
    """Curves, supply and marks over one time axis; see `StripView` for what keys do."""

    stretch_changed = Signal()
    loop_changed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("strip_chart")
        self.setAccessibleName("curves and time")
        self.setMouseTracking(True)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(360, 100)
        self.desk = desk
        self.timeline = Timeline()
        self.loop_s: Span | None = None
        self.plot: Plot | None = None
        self._kept_range: tuple[float, float] | None = None
        self._shown_as = self._look
        self._cursor: QPointF | None = None
        self._gesture: Gesture | None = None
        self._head_x = math.nan

    # ---- what has changed ------------------------------------------------------------------

    def refresh(self) -> None:
        """Draw everything anew at the next painting."""
        self.plot = None
        self.update()

    def refresh_film(self) -> None:
        """Take up that the film has grown or been measured further."""
        self._read_extent()
        self.refresh()

    def forget(self) -> None:
        """Take up that another film is open: all of it in view, no loop."""
        self.timeline = Timeline()
        self._kept_range = None
        self.loop_s = None
        self._read_extent()
        self.stretch_changed.emit()
        self.refresh()

    def refresh_scale(self) -> None:
        """Take up that level, span, colours, view or unit have changed.

        An automatic level moves with every frame: as long as the axis holds, only its colours
        are painted anew.
        """
        display = self.desk.display
        if self._look != self._shown_as:
            if self._shown_as.view is not display.view:
                self._kept_range = None
            self.refresh()
        elif self.plot is not None and not self._holding_axis and not self.plot.still_fits():
            self.refresh()
        else:
            self.update(QRect(0, 0, LEFT_PX, self.height()))

    def move_playhead(self) -> None:
        """Take up that another frame is shown."""
        now_s = self.desk.now_s
        if math.isfinite(now_s) and self._gesture is None and self.timeline.reveal(now_s):
            self.stretch_changed.emit()
            self.refresh()
            return
        if self.plot is None:
            return
        x = self.plot.x_of(now_s) if math.isfinite(now_s) else math.nan
        for place in (self._head_x, x):
            if math.isfinite(place) and abs(place) < 1e6:
                left = math.floor(place - REACH_PX)
                self.update(QRect(left, 0, math.ceil(2 * REACH_PX) + 2, self.height()))

    def _read_extent(self) -> None:
        session = self.desk.session
        times_s = session.curves.times_s if session is not None else np.zeros(0)
        if session is None or times_s.size == 0:
            self.timeline.set_film(0.0, 0.0, live=False, follow=False)
            return
        changed = self.timeline.set_film(
            float(times_s[0]),
            float(times_s[-1]),
            live=session.is_live,
            follow=self.desk.player.follow,
        )
        if changed:
            self.stretch_changed.emit()

    @property
    def _look(self) -> _Look:
        display = self.desk.display
        return _Look(display.view, display.unit, tokens().name)

    @property
    def _holding_axis(self) -> bool:
        return isinstance(self._gesture, HoldAxis)

    # ---- the visible stretch ---------------------------------------------------------------

    def fit(self) -> None:
        """Show the whole film."""
        self.timeline.fit()
        self.stretch_changed.emit()
        self.refresh()

    def zoom(self, factor: float, about_s: float | None = None) -> None:
        """Show `factor` times as much time, about a moment (the shown frame's if none is given)."""
        now_s = self.desk.now_s
        if about_s is None:
            inside = self.timeline.start_s <= now_s <= self.timeline.end_s
            about_s = now_s if inside else (self.timeline.start_s + self.timeline.end_s) / 2
        self.timeline.zoom(factor, about_s)
        self.stretch_changed.emit()
        self.refresh()

    def pan_px(self, by_px: float) -> None:
        """Shift the visible stretch by so many px."""
        width = max(self.width() - LEFT_PX - RIGHT_PX, 1)
        self.timeline.pan(by_px / width * self.timeline.span_s)
        self.stretch_changed.emit()
        self.refresh()

    def time_at(self, x_px: float) -> float:
        """Return the moment at a place, kept inside the film, s."""
        time_s = self._current_plot().time_of(x_px)
        return min(max(time_s, self.timeline.first_s), self.timeline.last_s)

    def set_loop(self, loop_s: Span | None) -> None:
        """Choose the interval that is played over and over; None: the whole film."""
        self.loop_s = loop_s
        self.desk.player.loop_s = loop_s
        self.desk.player.loop = loop_s is not None or self.desk.player.loop
        self.loop_changed.emit()
        self.update()

    # ---- painting --------------------------------------------------------------------------

    def _current_plot(self) -> Plot:
        ratio = self.devicePixelRatioF()
        if self.plot is None or self.plot.pixel_ratio != ratio:
            self.plot = Plot(
                gather(self.desk),
                self.timeline,
                self.desk.display,
                theme=tokens(),
                size=(self.width(), self.height()),
                pixel_ratio=ratio,
                kept_range=self._kept_range,
            )
            self._kept_range = (self.plot.main.low, self.plot.main.high)
            self._shown_as = self._look
        return self.plot

    def paintEvent(self, event: QPaintEvent) -> None:
        """Show the kept plot, and over it the axis, playhead and cursor."""
        plot = self._current_plot()
        painter = QPainter(self)
        painter.setClipRegion(event.region())
        painter.drawImage(0, 0, plot.image)
        painter.setFont(small_font(plot.theme))
        if event.rect().left() < LEFT_PX:
            paint_axis(painter, self.desk.display, plot.main, plot.lanes, plot.theme)
        if self.loop_s is not None:
            paint_loop(painter, plot, self.loop_s, on=self.desk.player.loop)
        now_s = self.desk.now_s
        if math.isfinite(now_s):
            paint_playhead(painter, plot, now_s)
            self._head_x = plot.x_of(now_s)
        if self._cursor is not None and self._gesture is None:
            paint_cursor(painter, plot, self._cursor)
        painter.end()

    def sizeHint(self) -> QSize:
        """Return the size at which every lane is easy to read."""
        return QSize(1000, 250)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Draw anew in another size."""
        self.refresh()

    # ---- hands -----------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a gesture."""
        at, button = event.position(), event.button()
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        plot = self._current_plot()
        if button == Qt.MouseButton.MiddleButton or (button == Qt.MouseButton.LeftButton and shift):
            self._gesture = Pan(self, at)
        elif button != Qt.MouseButton.LeftButton:
            return
        elif self._on_axis(at):
            self._gesture = HoldAxis(self, AxisDrag.begin(self.desk.display, plot.main, at.y()))
        elif control:
            self._gesture = Loop(self, at)
        else:
            self._gesture = self._touch(plot, at)
        self.update()

    def _touch(self, plot: Plot, at: QPointF) -> Gesture | None:
        """Return the gesture of a plain press: on a mark, a curve, or anywhere else."""
        mark = plot.mark_at(at.x(), at.y())
        if mark is not None:
            return Pick(self, at, lambda: self.desk.select_mark(mark))
        key = plot.curve_at(at.x(), at.y())
        if key is not None and abs(at.x() - self._head_x) > 5:
            return Pick(self, at, lambda: self.desk.select({key}, fly=True))
        if at.x() < LEFT_PX or at.x() > plot.lanes.main.right() + 6:
            return None
        scrub = Scrub(self)
        scrub.move(at)
        return scrub

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow the pointer."""
        at = event.position()
        if self._gesture is not None:
            self._gesture.move(at)
            return
        plot = self._current_plot()
        inside = plot.lanes.plot.contains(at)
        if inside or self._cursor is not None:
            self.update()
        self._cursor = QPointF(at) if inside else None
        self.setCursor(self._shape_at(plot, at))

    def _shape_at(self, plot: Plot, at: QPointF) -> Qt.CursorShape:
        if self._on_axis(at):
            held = grip_at(self.desk.display, plot.main, at.y())
            level = held is Grip.LEVEL
            return Qt.CursorShape.SizeAllCursor if level else Qt.CursorShape.SizeVerCursor
        if plot.mark_at(at.x(), at.y()) is not None:
            return Qt.CursorShape.PointingHandCursor
        if plot.curve_at(at.x(), at.y()) is not None and abs(at.x() - self._head_x) > 5:
            return Qt.CursorShape.PointingHandCursor
        if abs(at.x() - self._head_x) <= 5:
            return Qt.CursorShape.SizeHorCursor
        return Qt.CursorShape.ArrowCursor

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End the gesture."""
        gesture, self._gesture = self._gesture, None
        if gesture is not None:
            gesture.release(event.position())
        self.update()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Let the level follow the picture again (on the axis), or show the whole film."""
        if event.button() != Qt.MouseButton.LeftButton:
            return
        if self._on_axis(event.position()):
            self.desk.display.set_mode(LevelMode.AUTO)
        elif self._current_plot().curve_at(event.position().x(), event.position().y()) is None:
            self.fit()

    def leaveEvent(self, event: QEvent) -> None:
        """Take the cursor's line away."""
        self._cursor = None
        self.update()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom in time about the cursor; sideways or with shift pan; on the axis, the span."""
        turn = event.angleDelta()
        at = event.position()
        if turn.x() or event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self.pan_px(-(turn.x() or turn.y()) / _NOTCH * 60)
        elif self._on_axis(at):
            scale_span(self.desk.display, ZOOM_STEP ** (-turn.y() / _NOTCH))
        else:
            time_s = self._current_plot().time_of(at.x())
            self.zoom(ZOOM_STEP ** (-turn.y() / _NOTCH), time_s)
        event.accept()

    def _on_axis(self, at: QPointF) -> bool:
        main = self._current_plot().lanes.main
        return at.x() < LEFT_PX and main.top() - 4 <= at.y() <= main.bottom() + 4

    # ---- tips ------------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """Answer a request for a tip with what is under the pointer."""
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            words = self.tip_at(QPointF(event.pos()))
            QToolTip.showText(event.globalPos() + QPoint(0, 8), words, self)
            return True
        return super().event(event)

    def tip_at(self, at: QPointF) -> str:
        """Return what a tip says at a place; empty for nothing."""
        plot = self._current_plot()
        mark = plot.mark_at(at.x(), at.y())
        if mark is not None:
            return mark_tip(mark)
        if self._on_axis(at):
            if self.desk.display.view is View.RISE:
                return "drag: span of the rises (zero stays); wheel: span; double-click: automatic"
            return "drag the middle: level; drag an end: span; wheel: span; double-click: automatic"
        if plot.lanes.time.contains(at):
            return "click or drag: go there; wheel: zoom; Ctrl and drag: play this over and over"
        return _span_tip(plot.content, plot.time_of(at.x()))


def _span_tip(content: Content, time_s: float) -> str:
    if any(start <= time_s <= end for start, end in content.held_s):
        return "held by the camera's shutter, or damaged: not measured"
    if any(start <= time_s <= end for start, end in content.gaps_s):
        return "no frames came in this time"
    return ""


def mark_tip(mark: Mark) -> str:
    """Return a mark in words: kind, time, text."""
    words = f"{mark_word(mark.kind)} at {clock_text(mark.time_s)}"
    return f"{words}: {mark.text}" if mark.text else words
