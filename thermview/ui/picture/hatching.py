"""Shiny places hatched on the picture: what stands there mirrors the room and is not read."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPainterPath, QPen, QPolygonF

from thermview.ui.picture.mapping import Mapping

_LINES = QColor(255, 255, 255, 170)
_SHADE = QColor(0, 0, 0, 90)


class Hatching:
    """The outlines of one mask, found once."""

    def __init__(self, mask: NDArray[np.bool_]) -> None:
        self.mask = mask
        self._path = QPainterPath()
        # every pixel four times as large, so that outlines run along the pixels' own edges
        large = mask.astype(np.uint8).repeat(4, axis=0).repeat(4, axis=1)
        contours, _ = cv2.findContours(large, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        for contour in contours:
            points = (contour.reshape(-1, 2) + 0.5) / 4.0
            self._path.addPolygon(QPolygonF([QPointF(x, y) for x, y in points.tolist()]))
            self._path.closeSubpath()
        self._path.setFillRule(Qt.FillRule.OddEvenFill)

    def draw(self, pen: QPainter, mapping: Mapping) -> None:
        """Hatch over whatever is drawn there; lines and shade, so that it shows on any colour."""
        path = mapping.transform().map(self._path)
        pen.save()
        pen.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen.setPen(QPen(_LINES, 1))
        pen.setBrush(_SHADE)
        pen.drawPath(path)
        pen.setBrush(QBrush(_LINES, Qt.BrushStyle.BDiagPattern))
        pen.drawPath(path)
        pen.restore()
