"""The findings on the picture: parts coloured by their power, the chosen one, what may be warm."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPainterPath, QPen, QPolygonF

from thermview.analysis.heat.locate import Place, Suspect
from thermview.board import outlines_seen
from thermview.frames import Frame
from thermview.session.boards import Board
from thermview.session.meant_warm import Warm
from thermview.ui.desk import Desk
from thermview.ui.layers import Layer
from thermview.ui.levels import robust_range
from thermview.ui.panels.finding_rows import EXPECTED
from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.pulse_map import COLOURS, DELAY_COLOURS, amplitude_ends, pulse_pixels
from thermview.units import power_text, watts_text

_GREY = 0.45  # of full white: the ground on which sources stand out
_CEILING = 0.97
_FLOOR = 0.35  # the weakest source's place on the map: not lost in its black end
_MOST_PLATES = 8
_LEAST_PX = 9.0  # a source is drawn no smaller


class FoundLayer:
    """Draws what the findings say over a picture.

    Parameters
    ----------
    desk : Desk
    board : Board or None
        Whose parts are outlined.
    """

    def __init__(self, desk: Desk, board: Board | None) -> None:
        self._desk = desk
        self._view = board.view if board is not None else None
        self._outlines = outlines_seen(board.parts, board.view) if board else {}
        self._pixels = np.empty((0, 0), np.uint8)
        self._map = np.empty((0, 0), np.uint32)

    # ---- in place of the picture -----------------------------------------------------------

    def ground(self, frame: Frame) -> QImage | None:
        """Return a dim grey picture to lay sources on; None where the picture itself is shown."""
        layer, pulsed = self._desk.layers.shown, self._desk.findings.pulse.found
        if layer is Layer.NONE:
            return None
        if layer is not Layer.SOURCES and pulsed is not None:
            self._map = pulse_pixels(pulsed, delay=layer is Layer.DELAY)
            rows, columns = self._map.shape
            return QImage(self._map.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32)
        low, high = robust_range(frame.counts)
        if not math.isfinite(low):
            low, high = 0.0, 1.0
        grey = (frame.counts - np.float32(low)) * np.float32(255 * _GREY / max(high - low, 1e-6))
        self._pixels = np.clip(np.nan_to_num(grey), 0, 255 * _GREY).astype(np.uint8)
        rows, columns = frame.shape
        return QImage(self._pixels.data, columns, rows, columns, QImage.Format.Format_Grayscale8)

    # ---- over it ---------------------------------------------------------------------------

    def draw(self, pen: QPainter, mapping: Mapping, ink: Ink, frame: QRectF) -> list[QRectF]:
        """Draw sources, the chosen finding and the signs; return where plates stand."""
        taken: list[QRectF] = []
        if self._desk.layers.shown is Layer.SOURCES:
            taken = self._draw_sources(pen, mapping, ink, frame)
        elif self._desk.layers.shown is not Layer.NONE:
            taken = self._draw_pulse_key(pen, ink, frame)
        taken += self._draw_chosen(pen, mapping, ink, frame, taken)
        self._draw_signs(pen, mapping, ink)
        return taken

    def _path(self, name: str, mapping: Mapping, ink: Ink) -> QPainterPath:
        """Return a part's outline in the widget, never smaller than can be seen."""
        path = QPainterPath()
        corners = self._outlines.get(name)
        if corners is None:
            return path
        points = [mapping.to_widget(x, y) for x, y in corners.tolist()]
        path.addPolygon(QPolygonF(points))
        path.closeSubpath()
        box, least = path.boundingRect(), _LEAST_PX * ink.factor
        if max(box.width(), box.height()) < least:
            path = QPainterPath()
            path.addEllipse(box.center(), least / 2, least / 2)
        return path

    def _draw_sources(
        self, pen: QPainter, mapping: Mapping, ink: Ink, frame: QRectF
    ) -> list[QRectF]:
        sources = self._desk.layers.sources()
        located = self._desk.findings.located
        for place in located.elsewhere if located is not None else ():
            self._draw_track(pen, place, mapping, ink)
        powers = [s.power_w for s in sources]
        taken = [self._draw_key(pen, ink, frame, min(powers), max(powers))]
        for source in sources:
            path = self._path(source.part, mapping, ink)
            colour = power_colour(source.power_w, min(powers), max(powers))
            pen.setRenderHint(QPainter.RenderHint.Antialiasing)
            pen.fillPath(path, colour)
            ink.stroke(pen, path, QColor("#ffffff"), 1.0)
        boxes = [self._path(s.part, mapping, ink).boundingRect() for s in sources]
        for source in sources[: -_MOST_PLATES - 1 : -1]:
            chunks = _plate_of(source, ink)
            box = self._path(source.part, mapping, ink).boundingRect()
            taken.append(_beside(box, ink.plate_size(chunks), frame, [*taken, *boxes]))
            ink.plate(pen, taken[-1], chunks)
        return taken

    def _draw_pulse_key(self, pen: QPainter, ink: Ink, frame: QRectF) -> list[QRectF]:
        """Say what a pulse test's colours are."""
        pulsed, display = self._desk.findings.pulse.found, self._desk.display
        if pulsed is None:
            return []
        if self._desk.layers.shown is Layer.DELAY:
            ends = "0 s", f"{pulsed.period_s:.3g} s"
            words, colours = "delay behind the supply; grey: nothing seen", DELAY_COLOURS
        else:
            low, high = (display.difference(k) for k in amplitude_ends(pulsed))
            ends = f"{low:.2g}", f"{high:.2g} {display.difference_symbol}"
            words, colours = "swing with the pulses", COLOURS
        key = pg.colormap.get(colours)
        return [draw_key(pen, ink, frame, words, ends=ends, colours=key)]

    def _draw_key(
        self, pen: QPainter, ink: Ink, frame: QRectF, low_w: float, high_w: float
    ) -> QRectF:
        """Say what the colours are: power per part, on a logarithmic scale."""
        if high_w <= low_w:
            return draw_key(pen, ink, frame, "heat per part")
        ends = watts_text(low_w), watts_text(high_w)
        key, stretch = pg.colormap.get(COLOURS), (_FLOOR, _CEILING)
        return draw_key(pen, ink, frame, "heat per part", ends=ends, colours=key, stretch=stretch)

    def _draw_track(self, pen: QPainter, place: Place, mapping: Mapping, ink: Ink) -> None:
        """Draw the course of a glowing track."""
        if place.path_px:
            line = QPainterPath()
            line.addPolygon(QPolygonF([mapping.to_widget(x, y) for x, y in place.path_px]))
            ink.stroke(pen, line, QColor("#ffffff"), 2.0)

    def _draw_signs(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        """Put a small tick at the upper right corner of what is meant to be warm."""
        side = 14.0 * ink.factor
        for warm in self._desk.findings.meant_warm.said:
            box = self._box_of(warm, mapping, ink)
            if box.isEmpty():
                continue
            rect = QRectF(box.topRight() - QPointF(side / 2, side / 2), QSizeF(side, side))
            pen.setRenderHint(QPainter.RenderHint.Antialiasing)
            pen.setPen(QPen(ink.good, 1.2 * ink.factor))
            pen.setBrush(QColor(ink.theme.panel))
            pen.drawEllipse(rect)
            pen.setFont(ink.small_bold)
            pen.drawText(rect, int(Qt.AlignmentFlag.AlignCenter), EXPECTED)

    def _box_of(self, warm: Warm, mapping: Mapping, ink: Ink) -> QRectF:
        """Return what a part or place takes up in the widget."""
        if isinstance(warm, str):
            return self._path(warm, mapping, ink).boundingRect()
        x, y = warm.x, warm.y
        if warm.on_board:
            if self._view is None:
                return QRectF()
            x, y = self._view.board_to_pixel((x, y)).tolist()
        return self._ring(x, y, 0.0, mapping, ink).boundingRect()

    def _ring(
        self, x_px: float, y_px: float, radius_px: float, mapping: Mapping, ink: Ink
    ) -> QPainterPath:
        """Return a ring around a place, never smaller than can be seen."""
        radius = max(radius_px * mapping.zoom, _LEAST_PX * ink.factor)
        path = QPainterPath()
        path.addEllipse(mapping.to_widget(x_px, y_px), radius, radius)
        return path

    def _draw_chosen(
        self, pen: QPainter, mapping: Mapping, ink: Ink, frame: QRectF, taken: list[QRectF]
    ) -> list[QRectF]:
        """Outline the finding that is looked at; name it where nothing else does."""
        name, place = self._desk.findings.chosen, self._desk.findings.place
        if place is not None:
            self._draw_track(pen, place, mapping, ink)
            wide_px = place.radius_mm / self._view.mm_per_px if self._view is not None else 0.0
            ring = self._ring(place.x_px, place.y_px, wide_px, mapping, ink)
            ink.stroke(pen, ring, QColor("#ffffff"), 2.5)
        path = self._path(name, mapping, ink)
        if not name or path.isEmpty():
            return []
        ink.stroke(pen, path, QColor("#ffffff"), 2.5)
        regions = {region.name for region in self._desk.document.current.regions}
        if name in regions or self._desk.layers.shown is Layer.SOURCES:
            return []
        chunks = [Chunk(name, ink.number, ink.text)]
        rect = _beside(path.boundingRect(), ink.plate_size(chunks), frame, taken)
        ink.plate(pen, rect, chunks, edge=ink.text)
        return [rect]


def draw_key(
    pen: QPainter,
    ink: Ink,
    frame: QRectF,
    words: str,
    *,
    ends: tuple[str, str] | None = None,
    colours: pg.ColorMap | None = None,
    stretch: tuple[float, float] = (0.0, 1.0),
) -> QRectF:
    """Draw what colours mean into the frame's upper right corner; return where."""
    chunks = [Chunk(words, ink.small, ink.dim)]
    if ends is not None:
        low, high = (Chunk(end, ink.small, ink.text) for end in ends)
        chunks += [low, Chunk(" " * 16, ink.small, ink.dim), high]
    size = ink.plate_size(chunks)
    rect = QRectF(frame.right() - size.width(), frame.top(), size.width(), size.height())
    ink.plate(pen, rect, chunks)
    if ends is not None and colours is not None:
        left = rect.left() + ink.pad * 3 + chunks[0].width + chunks[1].width
        bar = QRectF(left, rect.top() + 5, chunks[2].width, rect.height() - 10)
        steps = max(round(bar.width()), 2)
        places = np.linspace(*stretch, steps)
        for n, place in enumerate(places.tolist()):
            column = QRectF(bar.left() + n, bar.top(), 1.0, bar.height())
            pen.fillRect(column, colours.map(place, mode="qcolor"))
    return rect


def _plate_of(source: Suspect, ink: Ink) -> list[Chunk]:
    power = power_text(source.power_w, source.power_sigma_w)
    chunks = [
        Chunk(source.part, ink.small, ink.text),
        Chunk(power, ink.number, ink.text, figures=True),
    ]
    return [*chunks, Chunk(EXPECTED, ink.small_bold, ink.good)] if source.expected else chunks


def power_colour(power_w: float, low_w: float, high_w: float) -> QColor:
    """Return a source's colour; the scale is logarithmic from the weakest to the strongest."""
    share = 1.0
    if high_w > low_w:
        share = math.log(power_w / low_w) / math.log(high_w / low_w)
    table = pg.colormap.get(COLOURS)
    colour: QColor = table.map(_FLOOR + (_CEILING - _FLOOR) * share, mode="qcolor")
    return colour


def _beside(box: QRectF, size: QSizeF, frame: QRectF, taken: list[QRectF]) -> QRectF:
    """Return a place for a plate beside a box: right, left, above, below; clear of the others."""
    gap = 4.0
    middle = box.center()
    places = [
        QPointF(box.right() + gap, middle.y() - size.height() / 2),
        QPointF(box.left() - gap - size.width(), middle.y() - size.height() / 2),
        QPointF(middle.x() - size.width() / 2, box.top() - gap - size.height()),
        QPointF(middle.x() - size.width() / 2, box.bottom() + gap),
    ]
    rects = [_inside(QRectF(place, size), frame) for place in places]

    def covered(rect: QRectF) -> float:
        shared = [rect.intersected(other) for other in [*taken, box]]
        return sum(s.width() * s.height() for s in shared)

    return min(rects, key=covered)  # the first of those that cover least


def _inside(rect: QRectF, frame: QRectF) -> QRectF:
    left = min(max(rect.left(), frame.left()), frame.right() - rect.width())
    top = min(max(rect.top(), frame.top()), frame.bottom() - rect.height())
    return QRectF(QPointF(round(left), round(top)), rect.size())
