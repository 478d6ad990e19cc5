"""A picture to click matching points in: with a loupe, and points that can be dragged."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent

from thermview.ui.board.loupe import draw_loupe, draw_mark
from thermview.ui.board.point_tool import PointsTaker, PointTool
from thermview.ui.compare.films import Pictures
from thermview.ui.desk import Desk
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.surface import Surface
from thermview.ui.theme import tokens
from thermview.ui.viewscale import View, ViewScale

ENDS = (0.5, 99.8)  # percentiles of the picture at the ends of its colours
LEAST_K = 0.2


class MatchPane(Surface):
    """One of the two pictures; the wheel zooms, the right or middle button shifts.

    Attributes
    ----------
    worst : int or None
        Number of the point that has a sign, for it disagrees with the others.
    orientation : (int, bool)
        Quarter turns, mirrored.
    """

    shifting = frozenset({Qt.MouseButton.MiddleButton, Qt.MouseButton.RightButton})
    tool: PointTool

    def __init__(self, name: str, title: str, desk: Desk, taker: PointsTaker) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setAccessibleName(title)
        self.setMinimumSize(200, 130)
        self.tool = PointTool(desk, taker, lambda: None)
        self.worst: int | None = None
        self.orientation = (0, False)
        self._taker = taker
        self._argb = np.zeros((0, 0), np.uint32)
        self._image: QImage | None = None

    def show_picture(self, picture_k: Pictures) -> None:
        """Show a picture, K, shape (row, column), in colours of its own."""
        low_k, high_k = (float(v) for v in np.nanpercentile(picture_k, ENDS))
        scale = ViewScale(View.TEMPERATURE, "inferno", low_k, max(high_k, low_k + LEAST_K))
        self._argb = np.ascontiguousarray(scale.argb_of(picture_k))
        rows, columns = self._argb.shape
        format_ = QImage.Format.Format_RGB32
        self._image = QImage(self._argb.data, columns, rows, 4 * columns, format_)
        self.update()

    def show_worst(self, number: int | None) -> None:
        """Sign the point that disagrees with the others."""
        self.worst = number
        self.update()

    def picture_size(self) -> tuple[int, int] | None:
        """Return its size."""
        return None if self._image is None else (self._image.width(), self._image.height())

    def turned(self) -> tuple[int, bool]:
        """Return how it is turned."""
        return self.orientation

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the picture, its points, and the loupe."""
        pen = QPainter(self)
        pen.fillRect(self.rect(), QColor(tokens().sunken))
        mapping = self.mapping
        if mapping is None:
            return
        ink = Ink(tokens())
        self._draw_image(pen, mapping)
        for number, place in enumerate(self._taker.places()):
            at = mapping.to_widget(*place)
            draw_mark(pen, ink, at, str(number + 1), bad=number == self.worst)
        if self.tool.at is not None and self.underMouse():
            draw_loupe(pen, ink, mapping, self.tool.at, self._draw_image)

    def _draw_image(self, pen: QPainter, mapping: Mapping) -> None:
        assert self._image is not None
        pen.save()
        pen.setTransform(mapping.transform(), combine=True)
        pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        pen.drawImage(QPointF(0, 0), self._image)
        pen.restore()
