"""What lies under and around the curves: lanes, grid, spans, marks, the axes' numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QPainter, QPen

from thermview.frames import Mark
from thermview.ui.strip.content import Content, Span
from thermview.ui.strip.glyphs import draw_mark, mark_colour, mark_word
from thermview.ui.strip.labels import spread
from thermview.ui.strip.layout import Lanes
from thermview.ui.strip.ticks import tick_text, time_ticks
from thermview.ui.strip.timeline import Timeline, ValueAxis
from thermview.ui.theme import Theme

LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_MARK_PX = 13.0  # from sign to sign
CENTRE = Qt.AlignmentFlag.AlignCenter


def shade(colour: str | QColor, alpha: int) -> QColor:
    """Return a colour made transparent; `alpha` 0 to 255."""
    shaded = QColor(colour)
    shaded.setAlpha(alpha)
    return shaded


def small_font(theme: Theme) -> QFont:
    """Return the font of everything on the chart."""
    font = QFont()
    font.setPixelSize(theme.small)
    return font


def time_labels(timeline: Timeline, lanes: Lanes) -> list[tuple[float, float]]:
    """Return the round times to be written along the axis, s, each with their step, s."""
    most = max(int(lanes.width / 90), 1)
    times, step_s = time_ticks(timeline.start_s, timeline.end_s, most)
    return [(time_s, step_s) for time_s in times]


def mark_places(
    marks: Sequence[Mark], timeline: Timeline, lanes: Lanes
) -> list[tuple[Mark, float]]:
    """Return the marks in view and where their signs stand, px: side by side where close."""
    places = [lanes.left + timeline.x_of(mark.time_s, lanes.width) for mark in marks]
    left, right = lanes.main.left(), lanes.main.right()
    inside = [i for i, x in enumerate(places) if left - 1 <= x <= right + 1]
    wanted = [places[i] for i in inside]
    if len(wanted) * _MARK_PX < (right - left) / 3:  # more would be moved far from their moment
        wanted = spread(wanted, _MARK_PX, left - _MARK_PX, right + _MARK_PX)
    return [(marks[i], x) for i, x in zip(inside, wanted, strict=True)]


@dataclass(slots=True)
class Ground:
    """Paints one chart's surroundings; the painter works in logical px."""

    painter: QPainter
    theme: Theme
    content: Content
    timeline: Timeline
    lanes: Lanes

    def x_of(self, time_s: float) -> float:
        """Return where a moment is, px."""
        return self.lanes.left + self.timeline.x_of(time_s, self.lanes.width)

    # ---- under the curves ------------------------------------------------------------------

    def paint_lanes(self) -> None:
        """Paint the lanes' grounds; what is outside the film stays dull."""
        left = self.x_of(self.timeline.first_s)
        right = self.x_of(self.timeline.last_s)
        for lane in self.lanes.of.values():
            self.painter.fillRect(lane, shade(self.theme.sunken, 130))
            film = QRectF(left, lane.top(), right - left, lane.height()).intersected(lane)
            if not film.isEmpty():
                self.painter.fillRect(film, QColor(self.theme.sunken))

    def paint_grid(self, main: ValueAxis, levels: list[float]) -> None:
        """Paint hairlines at round times in all lanes and at round levels in the main one."""
        self.painter.setPen(QPen(QColor(self.theme.grid), 1))
        times = [time_s for time_s, _ in time_labels(self.timeline, self.lanes)]
        lines = [
            QLineF(round(self.x_of(t)) + 0.5, lane.top(), round(self.x_of(t)) + 0.5, lane.bottom())
            for lane in self.lanes.of.values()
            for t in times
        ]
        for level in levels:
            y = round(main.y_of(level)) + 0.5
            lines.append(QLineF(self.lanes.main.left(), y, self.lanes.main.right(), y))
        self.painter.drawLines(lines)

    def paint_spans(self) -> None:
        """Hatch shutter and gaps, tint the baseline's interval."""
        if self.content.baseline_s is not None:
            span = self._rect(self.content.baseline_s, self.lanes.main)
            if span is not None:
                self.painter.fillRect(span, shade(self.theme.accent, 34))
        hatch = QBrush(shade(self.theme.line, 150), Qt.BrushStyle.BDiagPattern)
        cross = QBrush(shade(self.theme.line, 150), Qt.BrushStyle.DiagCrossPattern)
        for spans, brush in ((self.content.held_s, hatch), (self.content.gaps_s, cross)):
            for span_s in spans:
                for lane, place in self.lanes.of.items():
                    span = None if lane.is_supply else self._rect(span_s, place)
                    if span is not None:
                        self.painter.fillRect(span, brush)

    def paint_unmeasured(self, empty: NDArray[np.bool_], columns_per_px: float) -> None:
        """Dot the pixel columns that the background measuring has not reached."""
        lane = self.lanes.main
        turns = np.flatnonzero(np.diff(empty.astype(np.int8), prepend=0, append=0))
        dots = QBrush(shade(self.theme.text_dim, 120), Qt.BrushStyle.Dense7Pattern)
        widest = QRectF()
        for start, stop in turns.reshape(-1, 2).tolist():
            span = QRectF(
                lane.left() + start / columns_per_px,
                lane.top(),
                (stop - start) / columns_per_px,
                lane.height(),
            )
            self.painter.fillRect(span, dots)
            if span.width() > widest.width():
                widest = span
        done, total = self.content.progress
        words = f"not measured yet, {100 * done // max(total, 1)} % done"
        if widest.width() > 190:
            box = QRectF(0, 0, 190, 20)
            box.moveCenter(widest.center())
            self.painter.fillRect(box, QColor(self.theme.panel))
            self.painter.setPen(QColor(self.theme.text_dim))
            self.painter.drawText(box, CENTRE, words)

    def paint_limits(self, axis: ValueAxis) -> None:
        """Draw the regions' limits as thin broken lines with their name."""
        lane = self.lanes.main
        for curve in self.content.curves:
            limit_k = curve.limit_k
            if limit_k is None or not axis.low <= limit_k <= axis.high:
                continue
            y = round(axis.y_of(limit_k)) + 0.5
            colour = QColor(curve.colour)
            self.painter.setPen(QPen(colour, 1, Qt.PenStyle.DashLine))
            self.painter.drawLine(QLineF(lane.left(), y, lane.right(), y))
            self.painter.setPen(colour)
            above = y - 15 > lane.top()
            place = QRectF(lane.right() - 206, y - 15 if above else y + 1, 200, 14)
            self.painter.drawText(place, RIGHT, f"limit {curve.name}")

    def paint_mark_lines(self) -> None:
        """Draw a fine line down from every mark."""
        for mark in self.content.marks:
            x = round(self.x_of(mark.time_s)) + 0.5
            if self.lanes.left <= x <= self.lanes.main.right():
                pen = QPen(shade(mark_colour(mark.kind, self.theme), 150), 1, Qt.PenStyle.DotLine)
                self.painter.setPen(pen)
                plot = self.lanes.plot
                self.painter.drawLine(QLineF(x, plot.top(), x, plot.bottom()))

    # ---- around them -----------------------------------------------------------------------

    def paint_marks(self, shown: list[tuple[Mark, float]]) -> None:
        """Draw the marks' signs in the rail, with their word where there is room for it."""
        metrics = self.painter.fontMetrics()
        middle = self.lanes.rail.center().y()
        ground = QColor(self.theme.panel)
        for position, (mark, x) in enumerate(shown):
            colour = mark_colour(mark.kind, self.theme)
            draw_mark(self.painter, mark.kind, QPointF(x, middle), colour, ground)
            last = position + 1 == len(shown)
            following = self.lanes.main.right() if last else shown[position + 1][1] - 8
            words = mark.text if mark.text else mark_word(mark.kind)
            if x + 12 + metrics.horizontalAdvance(words) < following:
                self.painter.setPen(QColor(self.theme.text_dim))
                self.painter.drawText(QRectF(x + 10, 0, 400, self.lanes.rail.height()), LEFT, words)

    def paint_baseline_bracket(self, axis: ValueAxis) -> None:
        """Bracket the interval that rises are counted from, at the foot of the main lane."""
        if self.content.baseline_s is None:
            return
        span = self._rect(self.content.baseline_s, self.lanes.main)
        if span is None:
            return
        y = self.lanes.main.bottom() - 2.5
        self.painter.setPen(QPen(QColor(self.theme.accent), 1.5))
        self.painter.drawLine(QLineF(span.left(), y, span.right(), y))
        for x in (span.left(), span.right()):
            self.painter.drawLine(QLineF(x, y - 4, x, y))
        if span.width() > 10:
            self.painter.setPen(QColor(self.theme.accent))
            self.painter.drawText(
                QRectF(span.left() + 5, self.lanes.main.top() + 2, 100, 14), LEFT, "baseline"
            )

    def paint_time_axis(self) -> None:
        """Write the times below."""
        lane = self.lanes.time
        self.painter.setPen(QColor(self.theme.text_dim))
        for time_s, step_s in time_labels(self.timeline, self.lanes):
            place = QRectF(self.x_of(time_s) - 50, lane.top(), 100, lane.height())
            self.painter.drawText(place, CENTRE, tick_text(time_s, step_s))

    def _rect(self, span_s: Span, lane: QRectF) -> QRectF | None:
        """Return a stretch of time in a lane, a pixel wide at least; None out of view."""
        left, right = self.x_of(span_s[0]), self.x_of(span_s[1])
        rect = QRectF(left, lane.top(), max(right - left, 1.0), lane.height()).intersected(lane)
        return None if rect.isEmpty() else rect
