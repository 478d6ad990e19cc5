"""What a press on the chart does until the button is let go: one small object for each gesture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from PySide6.QtCore import QPointF

from thermview.ui.strip.axis import AxisDrag

if TYPE_CHECKING:
    from thermview.ui.strip.chart import StripChart

CLICK_PX = 4.0
"""A press that moves less than this is a click."""


class Gesture(Protocol):
    """From press to release."""

    def move(self, at: QPointF) -> None:
        """Follow the pointer."""
        ...

    def release(self, at: QPointF) -> None:
        """End."""
        ...


@dataclass(slots=True)
class Scrub:
    """The playhead follows the pointer."""

    chart: StripChart

    def move(self, at: QPointF) -> None:
        """Go to where the pointer is."""
        self.chart.desk.seek_time(self.chart.time_at(at.x()))

    def release(self, at: QPointF) -> None:
        """Leave the playhead where it is."""


@dataclass(slots=True)
class Pick:
    """A click does something to what was pressed; a drag scrubs."""

    chart: StripChart
    start: QPointF
    clicked: Callable[[], object]
    moved: bool = False

    def move(self, at: QPointF) -> None:
        """Scrub, once it is more than a click."""
        self.moved = self.moved or abs(at.x() - self.start.x()) > CLICK_PX
        if self.moved:
            self.chart.desk.seek_time(self.chart.time_at(at.x()))

    def release(self, at: QPointF) -> None:
        """Do it, if this was a click."""
        if not self.moved:
            self.clicked()


@dataclass(slots=True)
class Pan:
    """The visible stretch is pulled along."""

    chart: StripChart
    last: QPointF

    def move(self, at: QPointF) -> None:
        """Pull the stretch along."""
        self.chart.pan_px(self.last.x() - at.x())
        self.last = QPointF(at)

    def release(self, at: QPointF) -> None:
        """Leave it there."""


@dataclass(slots=True)
class Loop:
    """An interval is chosen to be played over and over; a click takes it away."""

    chart: StripChart
    start: QPointF
    moved: bool = False

    def move(self, at: QPointF) -> None:
        """Stretch the interval to the pointer."""
        self.moved = self.moved or abs(at.x() - self.start.x()) > CLICK_PX
        if self.moved:
            ends = sorted((self.chart.time_at(self.start.x()), self.chart.time_at(at.x())))
            self.chart.set_loop((ends[0], ends[1]))

    def release(self, at: QPointF) -> None:
        """Leave the interval; without one the whole film loops."""
        if not self.moved:
            self.chart.set_loop(None)


@dataclass(slots=True)
class HoldAxis:
    """Level or span follows the pointer; the axis itself stands still meanwhile."""

    chart: StripChart
    drag: AxisDrag
    moved: bool = False

    def move(self, at: QPointF) -> None:
        """Set level or span."""
        self.moved = self.moved or abs(at.y() - self.drag.start_y) > 1
        if self.moved:
            self.drag.move(self.chart.desk.display, at.y())

    def release(self, at: QPointF) -> None:
        """Let the axis take a new range where the span no longer fits."""
        self.chart.refresh_scale()
