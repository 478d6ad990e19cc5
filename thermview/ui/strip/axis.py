"""The temperature axis: the picture's colour scale, painted, and dragged to set level and span."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QImage, QPainter, QPen, QPolygonF

from thermview.ui.display import COLOUR_MAPS, Display, LevelMode, View
from thermview.ui.strip.ground import LEFT, RIGHT, shade
from thermview.ui.strip.layout import LEFT_PX, Lanes
from thermview.ui.strip.ticks import signed, value_ticks
from thermview.ui.strip.timeline import ValueAxis
from thermview.ui.theme import Theme

_GRIP_PX = 9.0
_BEYOND_ALPHA = 90  # of the end colour, where the picture has no more colours to tell


class Grip(Enum):
    """What part of the axis is held."""

    LEVEL = "level"
    LOW = "low end"
    HIGH = "high end"


def level_ticks(display: Display, axis: ValueAxis) -> list[tuple[float, str]]:
    """Return round levels in the unit shown: (K, text)."""
    low, high = display.level(axis.low), display.level(axis.high)
    most = max(int((axis.bottom_px - axis.top_px) / 26), 2)
    ticks, decimals = value_ticks(low, high, most)
    sign = "+" if display.view is View.RISE else ""
    return [(display.level_k(tick), signed(tick, decimals, sign)) for tick in ticks]


def paint_axis(
    painter: QPainter, display: Display, axis: ValueAxis, lanes: Lanes, theme: Theme
) -> None:
    """Paint the colour bar, its ends, the isotherm's band, the numbers, unit and mode."""
    bar = lanes.bar
    rows = max(round(bar.height()), 1)
    levels_k = np.linspace(axis.high, axis.low, rows)
    painter.drawImage(bar, column_image(display.rgb_of(levels_k)))
    veil = shade(theme.panel, 255 - _BEYOND_ALPHA)
    y_high, y_low = axis.y_of(display.high_k), axis.y_of(display.low_k)
    painter.fillRect(QRectF(bar.left(), bar.top(), bar.width(), max(y_high - bar.top(), 0)), veil)
    painter.fillRect(QRectF(bar.left(), y_low, bar.width(), max(bar.bottom() - y_low, 0)), veil)
    if display.isotherm is not None:
        top, foot = axis.y_of(display.isotherm[1]), axis.y_of(display.isotherm[0])
        top, foot = max(top, bar.top()), min(foot, bar.bottom())
        if foot > top:
            painter.setPen(QPen(display.band_colour, 2))
            painter.drawRect(QRectF(bar.left() - 1, top, bar.width() + 2, foot - top))
    _paint_grips(painter, bar, (y_high, y_low), theme)
    painter.setPen(QColor(theme.text))
    for level_k, text in level_ticks(display, axis):
        y = axis.y_of(level_k)
        if bar.top() + 5 <= y <= bar.bottom() - 5:
            painter.drawText(QRectF(0, y - 9, bar.left() - 7, 18), RIGHT, text)
    _paint_head(painter, display, theme)


def _paint_grips(painter: QPainter, bar: QRectF, ends: tuple[float, float], theme: Theme) -> None:
    """Mark the two ends of the span, where they can be taken hold of."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setBrush(QColor(theme.text))
    for y in ends:
        painter.setPen(QPen(QColor(theme.text), 1.5))
        painter.drawLine(QLineF(bar.left() - 1, y, bar.right() + 1, y))
        painter.setPen(Qt.PenStyle.NoPen)
        x = bar.left() - 1
        corners = [QPointF(x, y), QPointF(x - 5, y - 4), QPointF(x - 5, y + 4)]
        painter.drawPolygon(QPolygonF(corners))
    painter.restore()


def _paint_head(painter: QPainter, display: Display, theme: Theme) -> None:
    """Write the unit, and how the level is set."""
    mode = {LevelMode.AUTO: "auto", LevelMode.MANUAL: "manual", LevelMode.FROZEN: "frozen"}
    unit = "brightness" if display.relative else display.level_symbol
    bold = QFont(painter.font())
    bold.setBold(True)
    plain = painter.font()
    painter.setFont(bold)
    painter.setPen(QColor(theme.text))
    painter.drawText(QRectF(6, 2, LEFT_PX - 8, 18), LEFT, unit)
    painter.setFont(plain)
    painter.setPen(QColor(theme.text_dim))
    if not display.relative:
        painter.drawText(QRectF(0, 2, LEFT_PX - 4, 18), RIGHT, mode[display.mode])


def column_image(rgb: NDArray[np.uint8]) -> QImage:
    """Return an image one pixel wide from colours, shape (row, 3)."""
    red, green, blue = rgb.astype(np.uint32).T
    argb = 0xFF000000 | (red << 16) | (green << 8) | blue
    return QImage(argb.tobytes(), 1, len(rgb), 4, QImage.Format.Format_RGB32).copy()


def diverging_image(rows: int) -> QImage:
    """Return the difference lane's bar: the first diverging map, zero in the middle."""
    name = next(iter(COLOUR_MAPS[View.RISE].values()))
    return column_image(pg.colormap.get(name).getLookupTable(1.0, 0.0, rows, alpha=False))


@dataclass(frozen=True, slots=True)
class AxisDrag:
    """One drag on the axis: what is held, and how everything stood when it began."""

    grip: Grip
    start_y: float
    low_k: float
    high_k: float
    axis: ValueAxis

    @classmethod
    def begin(cls, display: Display, axis: ValueAxis, y_px: float) -> AxisDrag:
        """Take hold of the axis at a height, px."""
        return cls(grip_at(display, axis, y_px), y_px, display.low_k, display.high_k, axis)

    def move(self, display: Display, y_px: float) -> None:
        """Set level or span of the display by where the pointer is now."""
        by_k = (self.start_y - y_px) * self.axis.per_px
        least_k = max((self.high_k - self.low_k) * 1e-3, 1e-3)
        low_k, high_k = self.low_k, self.high_k
        if self.grip is not Grip.HIGH:
            low_k += by_k
        if self.grip is not Grip.LOW:
            high_k += by_k
        rises = display.view is View.RISE  # both ends stay on their side of zero
        if self.grip is Grip.LOW:
            low_k = min(low_k, -least_k if rises else high_k - least_k)
        elif self.grip is Grip.HIGH:
            high_k = max(high_k, least_k if rises else low_k + least_k)
        display.set_level(low_k, high_k)


def grip_at(display: Display, axis: ValueAxis, y_px: float) -> Grip:
    """Return what a press at this height takes hold of; zero of a rise cannot be moved."""
    if display.view is View.RISE:
        return Grip.HIGH if y_px <= axis.y_of(0.0) or display.low_k >= 0 else Grip.LOW
    y_high, y_low = axis.y_of(display.high_k), axis.y_of(display.low_k)
    reach = min(_GRIP_PX, (y_low - y_high) / 3)
    if y_px <= y_high + reach:
        return Grip.HIGH
    if y_px >= y_low - reach:
        return Grip.LOW
    return Grip.LEVEL


def scale_span(display: Display, factor: float) -> None:
    """Widen or narrow the span about its middle; a rise's about zero, which stays."""
    if display.view is View.RISE:
        display.set_level(display.low_k * factor, display.high_k * factor)
        return
    middle_k = (display.low_k + display.high_k) / 2
    half_k = max((display.high_k - display.low_k) / 2 * factor, 0.05)
    display.set_level(middle_k - half_k, middle_k + half_k)
