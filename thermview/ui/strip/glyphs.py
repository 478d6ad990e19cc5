"""Small signs: one for each kind of mark, one for each curve. Shape tells them apart, not colour.

Power on and off carry the bar and the ring of IEC 60417 (5007 "on", 5008 "off"); the others are
our own.
"""

from __future__ import annotations

import math
from functools import lru_cache

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF

from thermview.frames import MarkKind
from thermview.ui.theme import Theme


def mark_colour(kind: MarkKind, theme: Theme) -> QColor:
    """Return the colour of a kind of mark."""
    chosen = {
        MarkKind.TRIGGER: theme.warning,
        MarkKind.FAULT_APPEARS: theme.error,
        MarkKind.FAULT_GONE: theme.good,
        MarkKind.GAP: theme.text_dim,
    }
    return QColor(chosen.get(kind, theme.accent))


def mark_word(kind: MarkKind) -> str:
    """Return what a kind of mark is called on screen."""
    return "zero" if kind is MarkKind.ZERO else kind.value


def draw_mark(
    painter: QPainter, kind: MarkKind, at: QPointF, colour: QColor, ground: QColor
) -> None:
    """Draw the sign of a mark around a point."""
    r = _MARK_PX / 2
    x, y = at.x(), at.y()
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    line = QPen(colour, 1.8, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap)
    painter.setPen(line)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if kind is MarkKind.TRIGGER:
        _filled(painter, colour, [(x - r, y - r), (x + r, y - r), (x, y + r)])
    elif kind is MarkKind.POWER_ON:
        painter.setBrush(colour)
        painter.drawEllipse(at, r, r)
        painter.setPen(QPen(ground, 2))
        painter.drawLine(QPointF(x, y - r * 0.5), QPointF(x, y + r * 0.5))
    elif kind is MarkKind.POWER_OFF:
        painter.drawEllipse(at, r, r)
    elif kind is MarkKind.FAULT_APPEARS:
        painter.drawLine(QPointF(x - r, y - r), QPointF(x + r, y + r))
        painter.drawLine(QPointF(x - r, y + r), QPointF(x + r, y - r))
    elif kind is MarkKind.FAULT_GONE:
        painter.drawPolyline(
            QPolygonF([QPointF(x - r, y), QPointF(x - r * 0.3, y + r * 0.8), QPointF(x + r, y - r)])
        )
    elif kind is MarkKind.ZERO:
        painter.drawLine(QPointF(x, y - r), QPointF(x, y + r))
        painter.drawLine(QPointF(x - r, y + r), QPointF(x + r, y + r))
    elif kind is MarkKind.GAP:
        for side in (-0.55, 0.55):
            painter.drawLine(QPointF(x + side * r, y - r), QPointF(x + side * r, y + r))
    elif kind is MarkKind.NOTE:
        for height in (-0.8, 0.0, 0.8):
            painter.drawLine(QPointF(x - r, y + height * r), QPointF(x + r, y + height * r))
    else:
        _filled(painter, colour, [(x, y - r), (x + r, y), (x, y + r), (x - r, y)])
    painter.restore()


def _filled(painter: QPainter, colour: QColor, corners: list[tuple[float, float]]) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawPolygon(QPolygonF([QPointF(*corner) for corner in corners]))


_MARK_PX = 10.0
CURVE_SIGNS = 8
"""How many signs there are for curves."""
CURVE_SIGN_PX = 8.0
"""Their size."""


def draw_curve_sign(
    painter: QPainter, slot: int, at: QPointF, colour: QColor, ground: QColor
) -> None:
    """Draw the sign of a curve around a point: disc, square, triangles, diamond; then hollow.

    The hollow ones come with the second round of colours, so colour and sign together tell twice
    as many curves apart.
    """
    r = CURVE_SIGN_PX / 2
    hollow = slot // CURVE_SIGNS % 2 == 1
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(colour if hollow else ground, 1.5))
    painter.setBrush(ground if hollow else colour)
    shape = slot % CURVE_SIGNS
    if shape == 0:
        painter.drawEllipse(at, r, r)
    elif shape == 1:
        painter.drawRect(QRectF(at.x() - r * 0.9, at.y() - r * 0.9, r * 1.8, r * 1.8))
    else:
        corners, turn, reach = _CORNERS[shape]
        points = []
        for i in range(corners):
            angle = math.radians(turn + i * 360 / corners)
            length = r * 1.2 if i % 2 == 0 else r * reach
            points.append(
                QPointF(at.x() + length * math.cos(angle), at.y() + length * math.sin(angle))
            )
        painter.drawPolygon(QPolygonF(points))
    painter.restore()


@lru_cache(maxsize=256)
def curve_sign_image(slot: int, colour: str, ground: str, pixel_ratio: float) -> QImage:
    """Return the sign of a curve as a square image around its middle, drawn once and kept."""
    side = math.ceil((CURVE_SIGN_PX * 1.2 + 3) * pixel_ratio)
    image = QImage(side, side, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(Qt.GlobalColor.transparent)
    image.setDevicePixelRatio(pixel_ratio)
    middle = side / pixel_ratio / 2
    painter = QPainter(image)
    draw_curve_sign(painter, slot, QPointF(middle, middle), QColor(colour), QColor(ground))
    painter.end()
    return image


_CORNERS = {  # corners, angle of the first in degrees, length of every second one
    2: (3, -90.0, 1.2),  # triangle up
    3: (4, -90.0, 1.2),  # diamond
    4: (3, 90.0, 1.2),  # triangle down
    5: (5, -90.0, 1.2),  # pentagon
    6: (10, -90.0, 0.5),  # star
    7: (8, 0.0, 0.45),  # cross of four points
}
