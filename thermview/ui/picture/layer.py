"""Regions, their numbers and the markers, laid over the picture by a mapping."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPainterPath

from thermview.regions import Line, Region, Spot
from thermview.ui.picture import labels
from thermview.ui.picture.geometry import handles_of, outline
from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.labels import Wanted
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.readings import Extreme, Reading

_NEAREST_SPOT = 9.0  # px: a spot is drawn no smaller than this, however far away


@dataclass(frozen=True, slots=True)
class Content:
    """What is to be drawn, in the picture's axes."""

    regions: Sequence[Region]
    readings: Sequence[Reading]
    colour_of: Callable[[str], str]
    """Colour of a region on plates, as in lists and curves."""
    line_of: Callable[[str], str]
    """Colour of its outline: of the dark theme always, for the picture's ground is no theme's."""
    selected: Collection[str] = ()
    extremes: tuple[Extreme, ...] = ()
    """The hottest and the coldest pixel, or none."""


class Layer:
    """Draws the content; remembers where the labels are."""

    def __init__(self) -> None:
        self._asked: tuple[list[Wanted], QRectF, list[QRectF]] | None = None
        self._places: list[QRectF | None] = []
        self._ids: list[str] = []

    def draw(
        self,
        pen: QPainter,
        content: Content,
        mapping: Mapping,
        ink: Ink,
        *,
        frame: QRectF,
        taken: Sequence[QRectF] = (),
    ) -> None:
        """Draw outlines, markers, then labels over them; see `draw_numbers`."""
        self.draw_outlines(pen, content, mapping, ink)
        self.draw_numbers(pen, content, mapping, ink, frame=frame, taken=taken)

    def draw_outlines(self, pen: QPainter, content: Content, mapping: Mapping, ink: Ink) -> None:
        """Draw what stays the same from frame to frame."""
        for region in content.regions:
            chosen = region.id in content.selected
            path = region_path(region, mapping, ink.factor)
            ink.stroke(pen, path, QColor(content.line_of(region.id)), 2.5 if chosen else 1.5)
            if chosen:
                for x, y in handles_of(region.shape, mapping.zoom):
                    ink.handle(pen, mapping.to_widget(x, y))

    def draw_numbers(
        self,
        pen: QPainter,
        content: Content,
        mapping: Mapping,
        ink: Ink,
        *,
        frame: QRectF,
        taken: Sequence[QRectF] = (),
    ) -> None:
        """Draw markers and labels.

        Parameters
        ----------
        frame : QRectF
            Where labels may lie, in the pen's pixels.
        taken : sequence of QRectF
            Where something else stands already.
        """
        chunks = [ink.label(reading) for reading in content.readings]
        boxes = [region_path(r, mapping, ink.factor).boundingRect() for r in content.regions]
        marks = self._draw_glyphs(pen, content, mapping, ink, frame)
        self._ids = [region.id for region in content.regions]
        self._place(_wanted(zip(boxes, chunks, strict=True), ink), frame, taken)
        for region, rect, pieces in zip(content.regions, self._places, chunks, strict=True):
            if rect is not None:
                chosen = region.id in content.selected
                bar = QColor(content.colour_of(region.id))
                ink.plate(pen, rect, pieces, bar=bar, edge=ink.text if chosen else None)
        stand = [*taken, *(rect for rect in self._places if rect is not None)]
        places = labels.place(_wanted(marks, ink), frame, stand, boxes)
        for rect, (_, pieces) in zip(places, marks, strict=True):
            if rect is not None:
                ink.plate(pen, rect, pieces)

    def _place(self, wanted: list[Wanted], frame: QRectF, taken: Sequence[QRectF]) -> None:
        """Find places anew where anything but the digits has changed."""
        asked = (wanted, frame, list(taken))
        if asked != self._asked:
            self._asked, self._places = asked, labels.place(wanted, frame, taken)

    def label_at(self, at: QPointF) -> str | None:
        """Return the id of the region whose label lies under a point, or None."""
        for region_id, rect in zip(self._ids, self._places, strict=False):
            if rect is not None and rect.contains(at):
                return region_id
        return None

    def label_rect(self, region_id: str) -> QRectF | None:
        """Return where a region's label was drawn last."""
        places = dict(zip(self._ids, self._places, strict=False))
        return places.get(region_id)

    def _draw_glyphs(
        self, pen: QPainter, content: Content, mapping: Mapping, ink: Ink, frame: QRectF
    ) -> list[tuple[QRectF, list[Chunk]]]:
        """Draw the glyphs of hottest and coldest; return their boxes and words."""
        drawn: list[tuple[QRectF, list[Chunk]]] = []
        for extreme, word in zip(content.extremes, ("hottest", "coldest"), strict=False):
            at = mapping.to_widget(extreme.x, extreme.y)
            if frame.contains(at):
                words = Chunk(word, ink.small, ink.text)
                number = Chunk(extreme.text, ink.number, ink.text, figures=True)
                box = ink.extreme(pen, at, hottest=word == "hottest")
                drawn.append((box, [words, number]))
        return drawn


def _wanted(named: Iterable[tuple[QRectF, list[Chunk]]], ink: Ink) -> list[Wanted]:
    return [Wanted(box, ink.plate_size(pieces)) for box, pieces in named]


def region_path(region: Region, mapping: Mapping, factor: float = 1.0) -> QPainterPath:
    """Return a region's outline in the mapping's pixels; a spot never shrinks out of sight."""
    path = mapping.transform().map(outline(region.shape))
    box = path.boundingRect()
    least = _NEAREST_SPOT * factor
    if isinstance(region.shape, Spot) and box.width() < least:
        path = QPainterPath()
        path.addEllipse(box.center(), least / 2, least / 2)
        for dx, dy in ((1, 0), (0, 1)):
            for way in (-1, 1):
                path.moveTo(box.center() + QPointF(dx, dy) * way * least / 2)
                path.lineTo(box.center() + QPointF(dx, dy) * way * least)
    elif isinstance(region.shape, Line):
        tick = QPainterPath()
        for x, y in region.shape.handles():
            tick.addEllipse(mapping.to_widget(x, y), 2 * factor, 2 * factor)
        path.addPath(tick)
    return path
