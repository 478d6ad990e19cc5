"""The curves' names and numbers at their right end, their signs, and the smaller lanes' axes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPen

from thermview.ui.display import Display, View
from thermview.ui.strip.axis import diverging_image
from thermview.ui.strip.content import Lane
from thermview.ui.strip.glyphs import curve_sign_image, draw_curve_sign
from thermview.ui.strip.ground import LEFT, RIGHT, shade
from thermview.ui.strip.labels import spread
from thermview.ui.strip.layout import BAR_PX, RIGHT_PX
from thermview.ui.strip.ticks import signed, value_ticks
from thermview.ui.strip.timeline import ValueAxis
from thermview.ui.worth_words import NOT_READABLE

if TYPE_CHECKING:
    from thermview.ui.strip.plot import Drawn, Plot

_LABEL_PX = 16.0
_LEADER_PX = 12.0
MILLI_BELOW_A = 0.1
"""An axis that ends below is in mA."""

_SIGN_EVERY_PX = 240
_ELIDE = Qt.TextElideMode.ElideRight


def number_text(display: Display, lane: Lane, value: float, axis: ValueAxis) -> str:
    """Return a value of a lane as people read it; degrees without their unit."""
    if not np.isfinite(value):
        return "–"
    if lane is Lane.VOLTAGE:
        return signed(value, 2) + " V"
    if lane is Lane.CURRENT:
        if axis.high < MILLI_BELOW_A:
            return signed(value * 1e3, 1) + " mA"
        return signed(value, 3) + " A"
    if lane is Lane.DIFFERENCE:
        reach = display.difference(axis.high)
        return signed(display.difference(value), 3 if reach < 0.2 else 2 if reach < 2 else 1, "+")
    sign = "+" if display.view is View.RISE else ""
    return signed(display.level(value), 0 if display.relative else 1, sign)


def paint_labels(painter: QPainter, plot: Plot) -> dict[str, QRectF]:
    """Write name and number beside every curve's end; return where, by id.

    Where more curves end than labels fit, the selected and the warmest come first; the rest is
    counted.
    """
    places: dict[str, QRectF] = {}
    for lane, rect in plot.lanes.of.items():
        ends = [(d, _last(d)) for d in plot.drawn if d.curve.lane is lane]
        ends = [(d, end) for d, end in ends if np.isfinite(end[1])]
        room = max(int((rect.height() + 6) / _LABEL_PX), 1)
        left_out = len(ends) - room
        if left_out > 0:
            ends.sort(key=lambda e: (not e[0].curve.selected, -e[1][1]))
            ends = ends[: max(room - 1, 1)]
        wanted = [d.axis.y_of(end[1]) for d, end in ends]
        counted = left_out > 0 and room > 1
        foot = rect.bottom() + 3 - (_LABEL_PX if counted else 0)
        heights = spread(wanted, _LABEL_PX, rect.top() - 3, foot)
        for (drawn, end), y in zip(ends, heights, strict=True):
            place = _paint_label(painter, plot, drawn, end, y)
            if drawn.curve.id:
                places[drawn.curve.id] = place
        if counted:
            painter.setPen(QColor(plot.theme.text_dim))
            box = QRectF(rect.right() + _LEADER_PX + 14, foot, RIGHT_PX, _LABEL_PX)
            painter.drawText(box, LEFT, f"and {left_out + 1} more")
    return places


def _last(drawn: Drawn) -> tuple[int, float]:
    """Return the last pixel column with a number, and the number."""
    known = np.flatnonzero(np.isfinite(drawn.high))
    if not known.size:
        return 0, float("nan")
    last = int(known[-1])
    return last, float(drawn.high[last] + drawn.low[last]) / 2


def _paint_label(
    painter: QPainter, plot: Plot, drawn: Drawn, end: tuple[int, float], y: float
) -> QRectF:
    """Write one label with its leader and sign; return its place."""
    curve, theme = drawn.curve, plot.theme
    edge = plot.lanes.main.right()
    colour = QColor(curve.colour)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(colour, 1))
    end_y = drawn.axis.y_of(end[1])
    painter.drawLine(QLineF(edge + 1, end_y, edge + _LEADER_PX - 3, y))
    end_x = plot.lanes.left + (end[0] + 1) / plot.pixel_ratio
    if end_x < edge - 4:  # the film ends before the chart does
        painter.setPen(QPen(shade(colour, 120), 1, Qt.PenStyle.DotLine))
        painter.drawLine(QLineF(end_x + 4, end_y, edge, end_y))
    place = QRectF(edge + _LEADER_PX - 2, y - _LABEL_PX / 2, RIGHT_PX - _LEADER_PX, _LABEL_PX)
    text_left = place.left()
    if curve.id:
        at = QPointF(edge + _LEADER_PX + 3, y)
        draw_curve_sign(painter, curve.slot, at, colour, QColor(theme.panel))
        text_left += 14
    font = painter.font()
    if curve.selected:
        heavy = QFont(font)
        heavy.setBold(True)
        painter.setFont(heavy)
    number = curve.worth or number_text(plot.display, curve.lane, end[1], drawn.axis)
    if not curve.readable:
        number = NOT_READABLE
    number_px = painter.fontMetrics().horizontalAdvance(number)
    name = curve.name + (" ε" if curve.corrected else "")
    name_px = place.right() - text_left - number_px - 10
    painter.setPen(colour)
    short = painter.fontMetrics().elidedText(name, _ELIDE, int(name_px))
    painter.drawText(QRectF(text_left, place.top(), name_px, _LABEL_PX), LEFT, short)
    painter.setPen(QColor(theme.text))
    painter.drawText(place.adjusted(0, 0, -4, 0), RIGHT, number)
    painter.setFont(font)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    return place


def paint_signs(painter: QPainter, plot: Plot) -> None:
    """Set every curve's sign on it now and then, so that lines can be told apart anywhere."""
    ratio, left = plot.pixel_ratio, plot.lanes.left
    every = round(_SIGN_EVERY_PX * ratio)
    regions = [drawn for drawn in plot.drawn if drawn.curve.id]
    for position, drawn in enumerate(regions):
        image = curve_sign_image(drawn.curve.slot, drawn.curve.colour, plot.theme.sunken, ratio)
        half = image.width() / ratio / 2
        offset = round(every * ((position * 0.382) % 1.0)) + round(20 * ratio)
        columns = np.arange(offset, plot.columns, every)
        middles = (drawn.low[columns] + drawn.high[columns]) / 2
        for column, middle in zip(columns.tolist(), middles.tolist(), strict=True):
            if math.isfinite(middle):
                x = left + (column + 0.5) / ratio
                painter.drawImage(QPointF(x - half, drawn.axis.y_of(middle) - half), image)


def paint_other_axes(painter: QPainter, plot: Plot) -> None:
    """Paint the axes of differences (about zero, on the diverging map) and of the supply."""
    for lane, axis in plot.axes.items():
        if lane is Lane.MAIN:
            continue
        rect = plot.lanes.of[lane]
        if lane is Lane.DIFFERENCE:
            bar = QRectF(plot.lanes.bar.left(), rect.top(), BAR_PX, rect.height())
            painter.drawImage(bar, diverging_image(max(round(rect.height()), 2)))
            painter.setPen(QPen(QColor(plot.theme.line), 1))
            y = round(axis.y_of(0.0)) + 0.5
            painter.drawLine(QLineF(rect.left(), y, rect.right(), y))
        _paint_numbers(painter, plot, lane, rect)


def _paint_numbers(painter: QPainter, plot: Plot, lane: Lane, rect: QRectF) -> None:
    axis, display = plot.axes[lane], plot.display
    difference = lane is Lane.DIFFERENCE
    milli = lane is Lane.CURRENT and axis.high < MILLI_BELOW_A
    per_unit = display.difference(1.0) if difference else 1e3 if milli else 1.0
    low = rect.height() < 44
    most = 3 if low else max(int(rect.height() / 22), 1)
    ticks, decimals = value_ticks(axis.low * per_unit, axis.high * per_unit, most)
    right = (plot.lanes.bar.left() if difference else rect.left()) - 7
    painter.setPen(QColor(plot.theme.text))
    for tick in (
        [t for t in ticks if t == 0] if difference and low else ticks[-1:] if low else ticks
    ):
        y = axis.y_of(tick / per_unit)
        text = signed(tick, decimals, "+" if difference else "")
        y = min(max(y, rect.top() + 7), rect.bottom() - 6)
        painter.drawText(QRectF(0, y - 9, right, 18), RIGHT, text)
    unit = {
        Lane.DIFFERENCE: display.difference_symbol,
        Lane.VOLTAGE: "V",
        Lane.CURRENT: "mA" if milli else "A",
    }
    painter.setPen(QColor(plot.theme.text_dim))
    painter.drawText(QRectF(6, rect.top(), 40, 16), LEFT, unit[lane])
