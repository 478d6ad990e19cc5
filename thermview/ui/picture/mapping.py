"""Where the picture's pixels lie in the widget: zoom, pan, quarter turns and mirror."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from PySide6.QtCore import QPointF
from PySide6.QtGui import QTransform

LARGEST_ZOOM = 64.0
"""Widget pixels per picture pixel, at most."""

SMALLEST_SHARE = 0.5
"""The picture is never shown smaller than this share of the size that fits."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """One way of laying a picture into a widget.

    Attributes
    ----------
    picture : (columns, rows)
        Size of the picture, px.
    widget : (width, height)
        Size of the widget, px.
    centre : (x, y)
        The point of the picture in the widget's middle.
    zoom : float
        Widget pixels per picture pixel.
    quarter_turns : int
        Turns by 90° clockwise, 0 to 3, after the mirroring.
    mirrored : bool
        Left and right exchanged.
    """

    picture: tuple[int, int]
    widget: tuple[float, float]
    centre: tuple[float, float]
    zoom: float
    quarter_turns: int = 0
    mirrored: bool = False

    @classmethod
    def fitted(
        cls,
        picture: tuple[int, int],
        widget: tuple[float, float],
        quarter_turns: int = 0,
        mirrored: bool = False,
    ) -> Mapping:
        """Return the mapping that shows the whole picture as large as it goes."""
        middle = (picture[0] / 2, picture[1] / 2)
        plain = cls(picture, widget, middle, 1.0, quarter_turns, mirrored)
        return replace(plain, zoom=plain.fitting_zoom)

    @property
    def fitting_zoom(self) -> float:
        """Return the zoom at which the whole picture just fits."""
        columns, rows = self.picture if self.quarter_turns % 2 == 0 else self.picture[::-1]
        return max(min(self.widget[0] / columns, self.widget[1] / rows), 0.01)

    def transform(self) -> QTransform:
        """Return the transform from the picture's axes to the widget's."""
        transform = QTransform()
        transform.translate(self.widget[0] / 2, self.widget[1] / 2)
        transform.rotate(90.0 * self.quarter_turns)
        transform.scale(-self.zoom if self.mirrored else self.zoom, self.zoom)
        transform.translate(-self.centre[0], -self.centre[1])
        return transform

    def to_widget(self, x: float, y: float) -> QPointF:
        """Return the widget's point of a picture's point."""
        return self.transform().map(QPointF(x, y))

    def to_picture(self, at: QPointF) -> tuple[float, float]:
        """Return the picture's point (x, y) under a widget's point."""
        back, _ = self.transform().inverted()
        point = back.map(at)
        return point.x(), point.y()

    def pixel_at(self, at: QPointF) -> tuple[int, int] | None:
        """Return (row, column) of the pixel under a widget's point, or None beside the picture."""
        x, y = self.to_picture(at)
        row, column = math.floor(y), math.floor(x)
        inside = 0 <= row < self.picture[1] and 0 <= column < self.picture[0]
        return (row, column) if inside else None

    def zoomed(self, at: QPointF, factor: float) -> Mapping:
        """Return the mapping zoomed by `factor`, the picture's point under `at` staying there."""
        least = self.fitting_zoom * SMALLEST_SHARE
        zoom = min(max(self.zoom * factor, least), max(LARGEST_ZOOM, self.fitting_zoom))
        closer = replace(self, zoom=zoom)
        before, after = self.to_picture(at), closer.to_picture(at)
        return closer.centred(
            self.centre[0] + before[0] - after[0], self.centre[1] + before[1] - after[1]
        )

    def panned(self, dx: float, dy: float) -> Mapping:
        """Return the mapping with the picture pushed by (dx, dy) widget pixels."""
        middle = QPointF(self.widget[0] / 2 - dx, self.widget[1] / 2 - dy)
        return self.centred(*self.to_picture(middle))

    def centred(self, x: float, y: float) -> Mapping:
        """Return the mapping with this point of the picture (kept inside it) in the middle."""
        x = min(max(x, 0.0), float(self.picture[0]))
        y = min(max(y, 0.0), float(self.picture[1]))
        return replace(self, centre=(x, y))

    def step(self, dx: int, dy: int) -> tuple[float, float]:
        """Return the picture's step of one pixel that is seen as going (dx, dy) on screen."""
        turned = QTransform().rotate(90.0 * self.quarter_turns).inverted()[0]
        point = turned.map(QPointF(dx, dy))
        x = -point.x() if self.mirrored else point.x()
        return float(round(x)), float(round(point.y()))
