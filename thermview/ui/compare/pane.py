"""A thermal picture to click matching points in."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from PySide6.QtGui import QImage

from thermview.session.matching import Pixel
from thermview.ui.board.point_pane import PointPane
from thermview.ui.board.point_tool import PointsTaker, PointTool
from thermview.ui.compare.films import Pictures
from thermview.ui.desk import Desk
from thermview.ui.viewscale import View, ViewScale

ENDS = (0.5, 99.8)  # percentiles of the picture at the ends of its colours
LEAST_K = 0.2


class MatchPane(PointPane):
    """One of the two pictures.

    Attributes
    ----------
    worst : int or None
        Number of the point that has a sign, for it disagrees with the others.
    orientation : (int, bool)
        Quarter turns, mirrored.
    """

    def __init__(self, name: str, title: str, desk: Desk, taker: PointsTaker) -> None:
        super().__init__(name, title, PointTool(desk, taker, lambda: None))
        self.setMinimumSize(200, 130)
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

    def image(self) -> QImage | None:
        """Return the picture in its colours."""
        return self._image

    def marks(self) -> Iterable[tuple[int, Pixel]]:
        """Give the points."""
        return enumerate(self._taker.places())

    def signed(self) -> int | None:
        """Return the point that disagrees with the others."""
        return self.worst

    def turned(self) -> tuple[int, bool]:
        """Return how it is turned."""
        return self.orientation
