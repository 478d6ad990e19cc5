"""Pens, plates and glyphs of what is drawn over the picture; the same on screen and in stills."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QPainter,
    QPainterPath,
    QPen,
    QPolygonF,
)
from PySide6.QtWidgets import QApplication

from thermview.ui.picture.readings import CORRECTED, Reading
from thermview.ui.theme import Theme, relative_luminance

_DIGITS = str.maketrans("0123456789", "0" * 10)
PLATE_ALPHA = 232  # nearly opaque: what is under a plate must not decide whether it can be read


@dataclass(frozen=True, slots=True)
class Chunk:
    """A piece of text on a plate; `figures` keeps its width while its digits change."""

    text: str
    font: QFont
    colour: QColor
    figures: bool = False

    @property
    def width(self) -> float:
        """Return the room it takes, px."""
        text = self.text.translate(_DIGITS) if self.figures else self.text
        return QFontMetricsF(self.font).horizontalAdvance(text)


class Ink:
    """The theme's colours and fonts for drawing, `factor` times their size on screen."""

    def __init__(self, theme: Theme, factor: float = 1.0) -> None:
        self.theme = theme
        self.factor = factor
        self.pad = 6.0 * factor
        self.small = self._font(theme.small, QFont.Weight.Normal)
        self.small_bold = self._font(theme.small, QFont.Weight.Bold)
        self.body = self._font(theme.body, QFont.Weight.Normal)
        self.number = self._font(theme.body, QFont.Weight.DemiBold)
        self.number_bold = self._font(theme.body, QFont.Weight.Black)
        self.large = self._font(theme.large, QFont.Weight.DemiBold)
        self.text = QColor(theme.text)
        self.dim = QColor(theme.text_dim)
        self.warning = QColor(theme.warning)
        self.error = QColor(theme.error)
        self.good = QColor(theme.good)
        self.accent = QColor(theme.accent)

    def _font(self, size_px: int, weight: QFont.Weight) -> QFont:
        font = QFont(QApplication.font())
        font.setPixelSize(round(size_px * self.factor))
        font.setWeight(weight)
        return font

    # -- plates ------------------------------------------------------------------------------

    def plate_size(self, chunks: list[Chunk]) -> QSizeF:
        """Return the size of a plate that holds these pieces in one line."""
        width = sum(chunk.width for chunk in chunks) + self.pad * (len(chunks) + 1)
        height = max(QFontMetricsF(chunk.font).height() for chunk in chunks) + 4 * self.factor
        return QSizeF(round(width), round(height))

    def plate(
        self,
        pen: QPainter,
        rect: QRectF,
        chunks: list[Chunk],
        *,
        edge: QColor | None = None,
        bar: QColor | None = None,
    ) -> None:
        """Draw a plate with its pieces of text in one line, a coloured bar at its left edge."""
        ground = QColor(self.theme.panel)
        ground.setAlpha(PLATE_ALPHA)
        radius = self.theme.radius * self.factor
        path = QPainterPath()
        path.addRoundedRect(rect, radius, radius)
        pen.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen.fillPath(path, ground)
        if bar is not None:
            pen.save()
            pen.setClipPath(path)
            pen.fillRect(QRectF(rect.topLeft(), QSizeF(3 * self.factor, rect.height())), bar)
            pen.restore()
        if edge is not None:
            pen.setPen(QPen(edge, 1.5 * self.factor))
            pen.setBrush(Qt.BrushStyle.NoBrush)
            pen.drawPath(path)
        x = rect.left() + self.pad
        # one base line for all, that of the largest font
        tallest = max((QFontMetricsF(chunk.font) for chunk in chunks), key=lambda m: m.ascent())
        base = rect.center().y() + (tallest.ascent() - tallest.descent()) / 2
        for chunk in chunks:
            pen.setFont(chunk.font)
            pen.setPen(chunk.colour)
            slack = chunk.width - QFontMetricsF(chunk.font).horizontalAdvance(chunk.text)
            pen.drawText(QPointF(x + slack, base), chunk.text)
            x += chunk.width + self.pad

    def label(self, reading: Reading) -> list[Chunk]:
        """Return a region's label: name, number, what corrects it, which limit it exceeds."""
        over = bool(reading.limit_text)
        font = self.number_bold if over else self.number
        chunks = [
            Chunk(reading.name, self.small, self.text),
            Chunk(reading.value, font, self.error if over else self.text, figures=True),
        ]
        if reading.doubt:
            chunks.append(Chunk(reading.doubt, self.small, self.dim, figures=True))
        if reading.corrected:
            chunks.append(Chunk(CORRECTED, self.small, self.dim))
        if over:
            chunks.append(Chunk(f"▲ {reading.limit_text}", self.small_bold, self.error))
        return chunks

    # -- lines -------------------------------------------------------------------------------

    def stroke(
        self,
        pen: QPainter,
        path: QPainterPath,
        colour: QColor,
        width: float = 1.5,
    ) -> None:
        """Draw a line that can be seen on any ground: in its colour, with a halo around it."""
        # upright sides are crisper without smoothing, and several times faster
        upright = _is_upright(path)
        pen.setRenderHint(QPainter.RenderHint.Antialiasing, not upright)
        pen.setBrush(Qt.BrushStyle.NoBrush)
        join = Qt.PenJoinStyle.MiterJoin if upright else Qt.PenJoinStyle.RoundJoin
        for ink, extra in ((halo_of(colour), 2.0), (colour, 0.0)):
            line = QPen(ink, (width + extra) * self.factor)
            line.setJoinStyle(join)
            pen.setPen(line)
            if upright:
                pen.drawRect(path.boundingRect())
            else:
                pen.drawPath(path)

    def handle(self, pen: QPainter, at: QPointF) -> None:
        """Draw a square to drag."""
        half = 4.0 * self.factor
        pen.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        pen.setPen(QPen(QColor("#101010"), self.factor))
        pen.setBrush(QColor("#ffffff"))
        pen.drawRect(QRectF(at.x() - half, at.y() - half, 2 * half, 2 * half))

    def extreme(self, pen: QPainter, at: QPointF, *, hottest: bool) -> QRectF:
        """Draw the marker of the hottest (from above) or coldest pixel; return its box."""
        up = -1.0 if hottest else 1.0
        length, half = 12.0 * self.factor, 5.0 * self.factor
        far = at.y() + up * length
        corners = [at, QPointF(at.x() - half, far), QPointF(at.x() + half, far)]
        pen.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen.setPen(QPen(QColor("#101010"), 1.5 * self.factor))
        pen.setBrush(QColor("#ffffff") if hottest else QColor("#101010"))
        if not hottest:
            pen.setPen(QPen(QColor("#ffffff"), 1.5 * self.factor))
        pen.drawPolygon(QPolygonF(corners))
        return QPolygonF(corners).boundingRect()


def halo_of(colour: QColor) -> QColor:
    """Return the dark or light ground that sets a colour off."""
    light = relative_luminance(colour.name()) > 0.18
    return QColor(0, 0, 0, 190) if light else QColor(255, 255, 255, 190)


def _is_upright(path: QPainterPath) -> bool:
    """Tell whether a path is one upright rectangle."""
    corners = [path.elementAt(i) for i in range(path.elementCount())]
    if len(corners) != 5 or any(corner.isCurveTo() for corner in corners):
        return False
    return all(abs(a.x - b.x) < 1e-6 or abs(a.y - b.y) < 1e-6 for a, b in pairwise(corners))
