"""What moves over the kept chart: playhead, loop interval, the cursor and its read-out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from thermview.ui.strip.content import Lane, Span
from thermview.ui.strip.ends import number_text
from thermview.ui.strip.glyphs import draw_curve_sign
from thermview.ui.strip.ground import CENTRE, LEFT, RIGHT, shade, time_labels
from thermview.ui.strip.plot import Drawn, Plot
from thermview.ui.strip.ticks import clock_text, tick_text
from thermview.ui.worth_words import NOT_READABLE

_ROW_PX = 16.0
_MOST_ROWS = 9
_TAG_PX = 66.0
_BOX_PX = 170.0
_ELIDE = Qt.TextElideMode.ElideRight
REACH_PX = _TAG_PX / 2 + 64
"""How far the playhead's drawing reaches to either side, px; it clears the times under its own."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the read-out."""

    drawn: Drawn
    value: float


def paint_loop(painter: QPainter, plot: Plot, loop_s: Span, *, on: bool) -> None:
    """Show the interval that is played over and over, along the time axis."""
    left, right = (plot.x_of(t) for t in loop_s)
    lane = plot.lanes.time
    band = QRectF(left, lane.top() + 1, right - left, lane.height() - 3).intersected(lane)
    colour = plot.theme.accent if on else plot.theme.line
    painter.fillRect(band, shade(colour, 60))
    painter.setPen(QPen(QColor(colour), 2))
    for x in (left, right):
        if lane.left() <= x <= lane.right():
            painter.drawLine(QLineF(x, lane.top(), x, lane.bottom() - 2))


def paint_playhead(painter: QPainter, plot: Plot, time_s: float) -> None:
    """Draw the playhead with its time, and a dot on every curve at the shown frame."""
    lanes, theme = plot.lanes, plot.theme
    x = plot.x_of(time_s)
    if not lanes.left - 1 <= x <= lanes.main.right() + 1:
        return
    painter.setRenderHint(painter.RenderHint.Antialiasing)
    colour = QColor(theme.playhead)
    painter.setPen(QPen(colour, 1.5))
    painter.drawLine(QLineF(x, lanes.rail.bottom() - 6, x, lanes.time.top() + 2))
    painter.setPen(QPen(QColor(theme.sunken), 1))
    painter.setBrush(colour)
    for drawn in plot.drawn:
        value = plot.content.value_at(drawn.curve, time_s)
        if math.isfinite(value):
            painter.drawEllipse(QPointF(x, drawn.axis.y_of(value)), 3, 3)
    top = lanes.rail.bottom() - 6
    painter.setPen(QPen(QColor(theme.panel), 1))
    corners = [QPointF(x - 6, top - 6), QPointF(x + 6, top - 6), QPointF(x, top + 3)]
    painter.drawPolygon(QPolygonF(corners))
    _clear_time_labels(painter, plot, x)
    painter.setPen(QPen(QColor(theme.panel), 1))
    painter.setBrush(colour)
    tag = QRectF(x - _TAG_PX / 2, lanes.time.top() + 2, _TAG_PX, lanes.time.height() - 4)
    painter.drawRoundedRect(tag, theme.radius, theme.radius)
    painter.setPen(QColor(theme.panel))
    painter.drawText(tag, CENTRE, clock_text(time_s))
    painter.setRenderHint(painter.RenderHint.Antialiasing, False)


def _clear_time_labels(painter: QPainter, plot: Plot, x: float) -> None:
    """Take away the axis' times that the playhead's would cover in part."""
    lane = plot.lanes.time
    for time_s, step_s in time_labels(plot.timeline, plot.lanes):
        text_px = painter.fontMetrics().horizontalAdvance(tick_text(time_s, step_s))
        place = plot.x_of(time_s)
        if abs(place - x) < (_TAG_PX + text_px) / 2:
            box = QRectF(place - text_px / 2 - 1, lane.top(), text_px + 2, lane.height())
            painter.fillRect(box, QColor(plot.theme.panel))


def readout_rows(plot: Plot, time_s: float, y_px: float) -> list[Row]:
    """Return what to read at a moment, from the top: all curves, or those nearest to a height."""
    rows = [Row(d, plot.content.value_at(d.curve, time_s)) for d in plot.drawn]
    rows = [row for row in rows if math.isfinite(row.value)]
    rows.sort(key=lambda r: abs(r.drawn.axis.y_of(r.value) - y_px) * (not r.drawn.curve.selected))
    rows = rows[:_MOST_ROWS]
    rows.sort(key=lambda r: r.drawn.axis.y_of(r.value))
    return rows


def readout_box(plot: Plot, at: QPointF, rows: int) -> QRectF:
    """Return where the read-out stands: beside the cursor, inside the chart."""
    height = (rows + 1) * _ROW_PX + 10
    left = at.x() + 14
    if left + _BOX_PX > plot.lanes.main.right():
        left = at.x() - 14 - _BOX_PX
    top = min(max(at.y() - height / 2, 2.0), max(plot.size[1] - height - 2.0, 2.0))
    return QRectF(left, top, _BOX_PX, height)


def paint_cursor(painter: QPainter, plot: Plot, at: QPointF) -> None:
    """Draw the cursor's line and the values there."""
    theme, lanes = plot.theme, plot.lanes
    time_s = plot.time_of(at.x())
    painter.setPen(QPen(QColor(theme.text_dim), 1))
    x = round(at.x()) + 0.5
    painter.drawLine(QLineF(x, lanes.main.top(), x, lanes.plot.bottom()))
    if not plot.timeline.first_s <= time_s <= plot.timeline.last_s:
        return
    rows = readout_rows(plot, time_s, at.y())
    box = readout_box(plot, at, len(rows))
    painter.setRenderHint(painter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(theme.line), 1))
    painter.setBrush(shade(theme.raised, 240))
    painter.drawRoundedRect(box.adjusted(0.5, 0.5, -0.5, -0.5), theme.radius, theme.radius)
    line = QRectF(box.left() + 8, box.top() + 5, box.width() - 16, _ROW_PX)
    painter.setPen(QColor(theme.text_dim))
    painter.drawText(line, LEFT, clock_text(time_s))
    painter.drawText(line, RIGHT, _level_text(plot, at.y()))
    for row in rows:
        line.translate(0, _ROW_PX)
        _paint_row(painter, plot, row, line)
    painter.setRenderHint(painter.RenderHint.Antialiasing, False)


def _level_text(plot: Plot, y_px: float) -> str:
    """Return the level at the pointer itself, for reading heights off between curves."""
    if not plot.lanes.main.top() <= y_px <= plot.lanes.main.bottom():
        return ""
    return plot.display.level_text(plot.main.value_of(y_px))


def _paint_row(painter: QPainter, plot: Plot, row: Row, line: QRectF) -> None:
    curve, theme = row.drawn.curve, plot.theme
    colour = QColor(curve.colour)
    text_left = line.left()
    if curve.id:
        at = QPointF(line.left() + 4, line.center().y())
        draw_curve_sign(painter, curve.slot, at, colour, QColor(theme.raised))
        text_left += 14
    unit = {
        Lane.MAIN: plot.display.level_symbol,
        Lane.DIFFERENCE: plot.display.difference_symbol,
    }.get(curve.lane, "")
    number = f"{number_text(plot.display, curve.lane, row.value, row.drawn.axis)} {unit}".rstrip()
    if not curve.readable:
        number = NOT_READABLE
    number_px = painter.fontMetrics().horizontalAdvance(number)
    name_px = line.right() - text_left - number_px - 6
    painter.setPen(colour)
    short = painter.fontMetrics().elidedText(curve.name, _ELIDE, int(name_px))
    painter.drawText(QRectF(text_left, line.top(), name_px, line.height()), LEFT, short)
    painter.setPen(QColor(theme.text))
    painter.drawText(line, RIGHT, number)
