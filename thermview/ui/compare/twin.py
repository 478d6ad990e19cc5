"""A picture beside others: one zoom and one place for all that are linked with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QPointF, QRectF, QSizeF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QImage,
    QLinearGradient,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QWheelEvent,
)
from PySide6.QtWidgets import QApplication, QSizePolicy, QWidget

from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.theme import tokens
from thermview.ui.viewscale import ViewScale

WHEEL_STEP = 1.2
CLOSE = 2.5  # times the whole picture, when a click in the list flies to a place
LEAST_ZOOM, MOST_ZOOM = 1.0, 24.0
EDGE_PX = 6.0
BAR_PX = QSizeF(96.0, 8.0)
RING_PX = 9.0
REACH_PX = 24.0  # a click so near to a place means it
COLDER, HOTTER = "colder", "hotter"


class Link(QObject):
    """Zoom and place that several pictures of one size share.

    Attributes
    ----------
    centre : (x, y) or None
        The picture's point in the middle; None: the picture's own middle.
    zoom : float
        Times the size at which the whole picture fits.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.centre: tuple[float, float] | None = None
        self.zoom = 1.0

    def lay(self, centre: tuple[float, float] | None, zoom: float) -> None:
        """Show another piece of the picture."""
        zoom = min(max(zoom, LEAST_ZOOM), MOST_ZOOM)
        self.centre, self.zoom = (None if zoom == LEAST_ZOOM else centre), zoom
        self.changed.emit()

    def fly_to(self, x: float, y: float) -> None:
        """Bring a place to the middle, near enough to see it."""
        self.lay((x, y), max(self.zoom, CLOSE))

    def fit(self) -> None:
        """Show the whole picture."""
        self.lay(None, LEAST_ZOOM)


@dataclass(frozen=True, slots=True)
class Sign:
    """Something marked on the picture: its place, px, its name, what is said of it."""

    x: float
    y: float
    name: str
    verdict: str = ""
    chosen: bool = False
    equal: bool = False  # to the chosen one


class LinkedPicture(QWidget):
    """Paints one picture of levels, K, with marked places, its name and its colour scale."""

    picked = Signal(str)  # the name of the marked place that was clicked

    def __init__(self, name: str, title: str, link: Link) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setAccessibleName(title)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(200, 130)
        self.title, self.link = title, link
        self.levels_k: NDArray[np.float32] | None = None
        self.scale: ViewScale | None = None
        self.ends = ("", "")
        self.signs: tuple[Sign, ...] = ()
        self.turned = (0, False)
        self._image: QImage | None = None
        self._argb: NDArray[np.uint32] | None = None
        self._pressed: QPointF | None = None
        self._panned = False
        link.changed.connect(self.update)

    def show_levels(
        self, levels_k: NDArray[np.float32], scale: ViewScale, ends: tuple[str, str]
    ) -> None:
        """Show another picture; `ends` are the words at the ends of its colour scale."""
        self.levels_k, self.scale, self.ends = levels_k, scale, ends
        self._image = None
        self.update()

    def show_signs(self, signs: tuple[Sign, ...]) -> None:
        """Mark these places."""
        self.signs = signs
        self.update()

    @property
    def mapping(self) -> Mapping | None:
        """Return how the picture lies in the widget, None without a picture."""
        if self.levels_k is None:
            return None
        rows, columns = self.levels_k.shape
        whole = Mapping.fitted((columns, rows), (self.width(), self.height()), *self.turned)
        centre = self.link.centre if self.link.centre is not None else whole.centre
        return replace(whole, centre=centre, zoom=whole.zoom * self.link.zoom)

    # ---- mouse -----------------------------------------------------------------------------

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the cursor, in all linked pictures."""
        mapping, notches = self.mapping, event.angleDelta().y() / 120.0
        if mapping is not None and notches:
            wanted = min(max(self.link.zoom * WHEEL_STEP**notches, LEAST_ZOOM), MOST_ZOOM)
            zoomed = mapping.zoomed(event.position(), wanted / self.link.zoom)
            self.link.lay(zoomed.centre, wanted)
        event.accept()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a click or a pan."""
        self._pressed, self._panned = event.position(), False

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Pan, in all linked pictures."""
        mapping = self.mapping
        if self._pressed is None or mapping is None:
            return
        moved = event.position() - self._pressed
        if not self._panned and moved.manhattanLength() < QApplication.startDragDistance():
            return
        self._panned, self._pressed = True, event.position()
        if self.link.zoom > LEAST_ZOOM:
            self.link.lay(mapping.panned(moved.x(), moved.y()).centre, self.link.zoom)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Tell what was clicked."""
        pressed, self._pressed = self._pressed, None
        mapping = self.mapping
        if pressed is None or self._panned or mapping is None:
            return
        if event.button() is not Qt.MouseButton.LeftButton:
            return
        if (name := self._sign_at(event.position(), mapping)) is not None:
            self.picked.emit(name)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Show the whole picture again."""
        self.link.fit()
        event.accept()

    def _sign_at(self, at: QPointF, mapping: Mapping) -> str | None:
        near = [
            ((mapping.to_widget(sign.x, sign.y) - at).manhattanLength(), sign.name)
            for sign in self.signs
        ]
        distance, name = min(near, default=(REACH_PX + 1.0, ""))
        return name if distance <= REACH_PX else None

    # ---- painting --------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint picture, signs, name and scale."""
        pen = QPainter(self)
        theme = tokens()
        pen.fillRect(self.rect(), QColor(theme.sunken))
        mapping = self.mapping
        ink = Ink(theme)
        frame = QRectF(self.rect()).adjusted(EDGE_PX, EDGE_PX, -EDGE_PX, -EDGE_PX)
        if mapping is not None:
            pen.save()
            pen.setTransform(mapping.transform(), combine=True)
            pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            pen.drawImage(QPointF(0, 0), self._painted())
            pen.restore()
            self._draw_signs(pen, ink, mapping)
            self._draw_scale(pen, ink, frame)
        chunks = [Chunk(self.title, ink.small, ink.text)]
        ink.plate(pen, QRectF(frame.topLeft(), ink.plate_size(chunks)), chunks)

    def _painted(self) -> QImage:
        assert self.levels_k is not None
        assert self.scale is not None
        if self._image is None:
            self._argb = np.ascontiguousarray(self.scale.argb_of(self.levels_k))
            rows, columns = self._argb.shape
            self._image = QImage(
                self._argb.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32
            )
        return self._image

    def _draw_signs(self, pen: QPainter, ink: Ink, mapping: Mapping) -> None:
        for sign in sorted(self.signs, key=lambda s: s.chosen):
            at = mapping.to_widget(sign.x, sign.y)
            if not QRectF(self.rect()).contains(at):
                continue
            if sign.verdict in (COLDER, HOTTER):
                _arrow(pen, at, up=sign.verdict == HOTTER)
            if sign.chosen or sign.equal:
                _ring(pen, at, RING_PX + 5 if sign.chosen else RING_PX)
            if sign.chosen or sign.equal or sign.verdict in (COLDER, HOTTER):
                self._draw_name(pen, ink, at, sign)

    def _draw_name(self, pen: QPainter, ink: Ink, at: QPointF, sign: Sign) -> None:
        chunks = [Chunk(sign.name, ink.small_bold if sign.chosen else ink.small, ink.text)]
        size = ink.plate_size(chunks)
        left = at.x() + RING_PX + 6
        if left + size.width() + 2 > self.width():  # it must not lie on its own place
            left = at.x() - RING_PX - 6 - size.width()
        rect = QRectF(QPointF(left, at.y() - size.height() / 2), size)
        ink.plate(pen, rect, chunks)

    def _draw_scale(self, pen: QPainter, ink: Ink, frame: QRectF) -> None:
        """Draw a small bar of the colours, zero marked, with the numbers at its ends."""
        assert self.scale is not None
        low, high = (Chunk(words, ink.small, ink.text) for words in self.ends)
        width = low.width + BAR_PX.width() + high.width + 4 * ink.pad
        height = ink.plate_size([low]).height()
        rect = QRectF(frame.left(), frame.bottom() - height, width, height)
        ink.plate(pen, rect, [low])
        bar = QRectF(QPointF(rect.left() + low.width + 2 * ink.pad, 0), BAR_PX)
        bar.moveCenter(QPointF(bar.center().x(), rect.center().y()))
        gradient = QLinearGradient(bar.topLeft(), bar.topRight())
        places = np.linspace(0.0, 1.0, 17)
        levels_k = self.scale.low_k + places * (self.scale.high_k - self.scale.low_k)
        for place, colour in zip(places, self.scale.rgb_of(levels_k), strict=True):
            gradient.setColorAt(float(place), QColor(*(int(c) for c in colour)))
        pen.fillRect(bar, gradient)
        pen.setFont(ink.small)
        pen.setPen(ink.text)
        right = QRectF(bar.right() + ink.pad, rect.top(), high.width + ink.pad, height)
        pen.drawText(right, Qt.AlignmentFlag.AlignVCenter, high.text)


def _ring(pen: QPainter, at: QPointF, radius_px: float) -> None:
    pen.setRenderHint(QPainter.RenderHint.Antialiasing)
    pen.setBrush(Qt.BrushStyle.NoBrush)
    for colour, width in ((QColor("#101010"), 4.0), (QColor("#ffffff"), 2.0)):
        pen.setPen(QPen(colour, width))
        pen.drawEllipse(at, radius_px, radius_px)


def _arrow(pen: QPainter, at: QPointF, *, up: bool) -> None:
    """Draw a filled triangle: up where it is hotter than it should be, down where colder."""
    sign = -1.0 if up else 1.0
    corners = [
        QPointF(at.x(), at.y() + sign * RING_PX),
        QPointF(at.x() - RING_PX, at.y() - sign * 0.7 * RING_PX),
        QPointF(at.x() + RING_PX, at.y() - sign * 0.7 * RING_PX),
    ]
    pen.setRenderHint(QPainter.RenderHint.Antialiasing)
    pen.setPen(QPen(QColor("#101010"), 2.0))
    pen.setBrush(QColor("#ffffff"))
    pen.drawPolygon(QPolygonF(corners))
