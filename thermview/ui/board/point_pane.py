"""A picture to click points in: the wheel zooms, with a loupe and points that can be dragged."""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent

from thermview.session.matching import Pixel
from thermview.ui.board.loupe import draw_loupe, draw_mark
from thermview.ui.board.point_tool import PointTool
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.surface import Surface
from thermview.ui.theme import tokens


class PointPane(Surface):
    """Shows an image and the points in it; the right or middle button shifts it."""

    shifting = frozenset({Qt.MouseButton.MiddleButton, Qt.MouseButton.RightButton})
    tool: PointTool

    def __init__(self, name: str, title: str, tool: PointTool) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setAccessibleName(title)
        self.tool = tool

    def image(self) -> QImage | None:
        """Return what is shown."""
        raise NotImplementedError

    def marks(self) -> Iterable[tuple[int, Pixel]]:
        """Give the points by their numbers from 0."""
        raise NotImplementedError

    def signed(self) -> int | None:
        """Return the number of the point that disagrees with the others, None for none."""
        raise NotImplementedError

    def picture_size(self) -> tuple[int, int] | None:
        """Return the image's."""
        image = self.image()
        return None if image is None else (image.width(), image.height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the image, its points, and the loupe."""
        pen = QPainter(self)
        pen.fillRect(self.rect(), QColor(tokens().sunken))
        mapping = self.mapping
        if mapping is None:
            return
        ink, bad = Ink(tokens()), self.signed()
        self._draw_image(pen, mapping)
        for number, place in self.marks():
            at = mapping.to_widget(*place)
            draw_mark(pen, ink, at, str(number + 1), bad=number == bad)
        if self.tool.at is not None and self.underMouse():
            draw_loupe(pen, ink, mapping, self.tool.at, self._draw_image)

    def _draw_image(self, pen: QPainter, mapping: Mapping) -> None:
        image = self.image()
        if image is None:
            return
        pen.save()
        pen.setTransform(mapping.transform(), combine=True)
        pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        pen.drawImage(QPointF(0, 0), image)
        pen.restore()
