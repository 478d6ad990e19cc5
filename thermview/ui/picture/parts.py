"""The board's parts drawn on the picture, where a placement list and landmarks are known."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF

from thermview.board import Part, side_seen
from thermview.session.boards import Board
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping

_LINE = QColor(235, 240, 245, 120)
_NAME = QColor(255, 255, 255)
_NAME_GROUND = QColor(0, 0, 0, 130)


class PartsLayer:
    """Outlines of the parts on the side that the camera sees, names where they fit."""

    def __init__(self, board: Board) -> None:
        side = side_seen(board.view)
        self.parts = [part for part in board.parts if part.side == side]
        self._path = QPainterPath()
        corners_mm = np.array([part.outline_mm() for part in self.parts]).reshape(-1, 4, 2)
        self.outlines = [_polygon(corners) for corners in board.view.board_to_pixel(corners_mm)]
        for polygon in self.outlines:
            self._path.addPolygon(polygon)
            self._path.closeSubpath()

    def draw(
        self, pen: QPainter, mapping: Mapping, ink: Ink, labelled: Collection[str] = ()
    ) -> None:
        """Draw thin outlines, and each name that fits into its own part and is not `labelled`."""
        pen.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen.setPen(QPen(_LINE, ink.factor))
        pen.setBrush(Qt.BrushStyle.NoBrush)
        transform = mapping.transform()
        pen.drawPath(transform.map(self._path))
        pen.setFont(ink.small)
        metrics = QFontMetricsF(ink.small)
        for part, polygon in zip(self.parts, self.outlines, strict=True):
            if part.designator in labelled:
                continue
            box = transform.map(polygon).boundingRect()
            width, height = metrics.horizontalAdvance(part.designator) + 4, metrics.height()
            if box.width() >= width + 4 and box.height() >= height + 4:
                plate = QRectF(box.center() - QPointF(width / 2, height / 2), box.center())
                plate.setSize(plate.size() * 2)
                pen.fillRect(plate, _NAME_GROUND)
                pen.setPen(_NAME)
                pen.drawText(plate, Qt.AlignmentFlag.AlignCenter, part.designator)

    def at(self, x: float, y: float) -> Part | None:
        """Return the smallest part at a point of the picture, or None."""
        here = [
            (part.width_mm * part.height_mm, number)
            for number, (part, polygon) in enumerate(zip(self.parts, self.outlines, strict=True))
            if polygon.containsPoint(QPointF(x, y), Qt.FillRule.OddEvenFill)
        ]
        return self.parts[min(here)[1]] if here else None


def _polygon(corners: NDArray[np.float64]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in corners.tolist()])
