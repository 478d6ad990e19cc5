"""The surface on which the picture is painted, and where the mouse works on it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QEvent, QPointF, QRectF, QSizeF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPixmap,
    QResizeEvent,
)
from PySide6.QtWidgets import QWidget

from thermview.ui.desk import Desk
from thermview.ui.layers import Layer as SourceLayer
from thermview.ui.picture.content import content_of
from thermview.ui.picture.drawing import RulerTool, make_tool
from thermview.ui.picture.found import FoundLayer
from thermview.ui.picture.geometry import size_text
from thermview.ui.picture.hatching import Hatching
from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.layer import Content, Layer
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.notices import focus_words, is_stale, kind_words, notices
from thermview.ui.picture.painter import FramePainter
from thermview.ui.picture.parts import PartsLayer
from thermview.ui.picture.readings import pixel_text
from thermview.ui.picture.surface import Surface
from thermview.ui.picture.tools import SelectTool, Tool, ToolKind
from thermview.ui.theme import tokens

_EDGE = 6.0  # px that labels keep from the canvas' edge


Overlay = Callable[[QPainter, Mapping, Ink], None]


class Canvas(Surface):
    """Paints the shown frame with its regions; hands the mouse to the tool."""

    tool_changed = Signal(object)  # ToolKind
    measured = Signal(float)  # px between the ruler's two ends
    rename_wanted = Signal(str)  # id of the region

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("pictureCanvas")
        self.setAccessibleName("the picture")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(240, 180)
        self.desk = desk
        self.layer = Layer()
        self.tool_kind = ToolKind.SELECT
        self.tool: Tool = make_tool(ToolKind.SELECT, desk)
        self.focus_help = False
        self.sharpest = 0.0
        self._parts: PartsLayer | None = None
        self._found = FoundLayer(desk, None)
        self._hatching: Hatching | None = None
        self.ground: Callable[[QPainter, Mapping], None] | None = None
        self.overlay: Overlay | None = None
        self._outlines = QPixmap()
        self._outlines_key: Any = None
        self._painter = FramePainter(desk.display)
        self._image: QImage | None = None
        self._cursor: QPointF | None = None

    # -- what is shown -----------------------------------------------------------------------

    def refresh(self) -> None:
        """Paint the shown frame anew, in the display's present colours."""
        self._image = None
        self.update()

    def take_board(self) -> None:
        """Take over the desk's board, if there is one."""
        board = self.desk.board
        self._parts = None if board is None else PartsLayer(board)
        self._found = FoundLayer(self.desk, board)
        self.update()

    def picture_size(self) -> tuple[int, int] | None:
        """Return the shown frame's."""
        frame = self.desk.shown
        return None if frame is None else (frame.shape[1], frame.shape[0])

    def turned(self) -> tuple[int, bool]:
        """Return the display's."""
        return self.desk.display.quarter_turns, self.desk.display.mirrored

    # -- tools -------------------------------------------------------------------------------

    def choose(self, kind: ToolKind) -> None:
        """Take up a tool; what the last one had begun is given up."""
        self.tool.cancel()
        self.tool_kind, self.tool = kind, make_tool(kind, self.desk)
        self.setCursor(self.tool.cursor)
        self.update()
        self.tool_changed.emit(kind)

    def take_up(self, tool: Tool) -> None:
        """Take up a tool that has no button, until it has done its work; selections stay."""
        if not isinstance(self.tool, SelectTool):
            self.tool.cancel()
        self.tool_kind, self.tool = ToolKind.SELECT, tool
        self.setCursor(tool.cursor)
        self.update()
        self.tool_changed.emit(ToolKind.SELECT)

    def label_at(self, at: QPointF) -> str | None:
        """Return the region whose label lies there."""
        return self.layer.label_at(at)

    def tool_done(self) -> None:
        """Go back to selecting."""
        self.choose(ToolKind.SELECT)

    def tool_worked(self) -> None:
        """Tell what the ruler measures."""
        if isinstance(self.tool, RulerTool):
            self.measured.emit(self.tool.length_px)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Read out the pixel under the cursor as well."""
        self._cursor = event.position()
        super().mouseMoveEvent(event)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Close a polygon; rename a region by its label; fit the picture beside the regions."""
        touch = self.touch(event)
        if touch is None or event.button() is not Qt.MouseButton.LeftButton:
            return
        if self.tool_kind is not ToolKind.SELECT:
            self.tool.press(touch)
            if self.tool.finish():
                self.choose(ToolKind.SELECT)
        elif touch.label_of is not None:
            self.rename_wanted.emit(touch.label_of)
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        """Forget the cursor."""
        self._cursor = None
        self.update()
        super().leaveEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Nudge by arrows, delete, close or give up what is being drawn."""
        key = event.key()
        if key in _ARROWS and self.desk.selected:
            self._nudge(*_ARROWS[key], event.modifiers())
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self.desk.selected:
            self.desk.document.remove(self.desk.selected)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.tool.finish():
            self.choose(ToolKind.SELECT)
        elif key == Qt.Key.Key_Escape:
            if not self.tool.cancel() and self.tool_kind is not ToolKind.SELECT:
                self.choose(ToolKind.SELECT)
            self.tool_worked()
            self.update()
        else:
            super().keyPressEvent(event)

    def _nudge(self, dx: int, dy: int, modifiers: Qt.KeyboardModifier) -> None:
        if (mapping := self.mapping) is not None:
            far = 10.0 if modifiers & Qt.KeyboardModifier.ShiftModifier else 1.0
            x, y = mapping.step(dx, dy)
            self.desk.document.move(self.desk.selected, x * far, y * far)

    # -- painting ----------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep fitting while nobody zoomed."""
        super().resizeEvent(event)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint picture, regions, numbers, markers, notices."""
        pen = QPainter(self)
        theme = tokens()
        pen.fillRect(self.rect(), QColor(theme.sunken))
        mapping, shown = self.mapping, self.desk.shown
        if mapping is None or shown is None:
            return
        if self._image is None:
            self._image = self._painter.paint(self.desk.optics.pictured() or shown)
        pen.save()
        pen.setTransform(mapping.transform(), combine=True)
        smooth = self.desk.display.smooth and mapping.zoom > 1.0
        pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, smooth)
        pen.drawImage(QPointF(0, 0), self._found.ground(shown) or self._image)
        pen.restore()
        if self.ground is not None:
            self.ground(pen, mapping)
        ink = Ink(theme)
        if is_stale(self.desk):
            pen.fillRect(self.rect(), QColor(0, 0, 0, 140))
        frame = QRectF(self.rect()).adjusted(_EDGE, _EDGE, -_EDGE, -_EDGE)
        content = content_of(self.desk)
        if self.desk.layers.shown is not SourceLayer.NONE:  # its own numbers are enough
            content = replace(content, regions=(), readings=(), extremes=())
        pen.drawPixmap(QPointF(0, 0), self._outlines_of(content, mapping, ink))
        marked = [mapping.to_widget(extreme.x, extreme.y) for extreme in content.extremes]
        taken = self._draw_notices(pen, ink, frame)
        taken += self._draw_foot(pen, ink, frame, marked)
        taken += self._found.draw(pen, mapping, ink, frame)
        self.layer.draw_numbers(pen, content, mapping, ink, frame=frame, taken=taken)
        if self.overlay is not None:
            self.overlay(pen, mapping, ink)
        self.tool.paint(pen, mapping, ink)

    def _outlines_of(self, content: Content, mapping: Mapping, ink: Ink) -> QPixmap:
        """Return parts and outlines on a clear ground; drawn anew only when something moved."""
        parts = self._parts if self.desk.display.parts else None
        lines = tuple(content.line_of(region.id) for region in content.regions)
        ratio = self.devicePixelRatioF()
        hatching = self._hatching_now()
        key = (
            mapping,
            ratio,
            content.regions,
            lines,
            content.selected,
            id(parts),
            id(hatching),
        )
        if key != self._outlines_key:
            self._outlines_key = key
            self._outlines = QPixmap(self.size() * ratio)
            self._outlines.setDevicePixelRatio(ratio)
            self._outlines.fill(Qt.GlobalColor.transparent)
            pen = QPainter(self._outlines)
            if hatching is not None:
                hatching.draw(pen, mapping)
            if parts is not None:
                parts.draw(pen, mapping, ink, {region.name for region in content.regions})
            self.layer.draw_outlines(pen, content, mapping, ink)
            pen.end()
        return self._outlines

    def _hatching_now(self) -> Hatching | None:
        """Return the shiny places to hatch, or None."""
        optics = self.desk.optics
        if optics.shiny is None or not optics.shiny_shown:
            self._hatching = None
        elif self._hatching is None or self._hatching.mask is not optics.shiny.mask:
            self._hatching = Hatching(optics.shiny.mask)
        return self._hatching

    def _draw_notices(self, pen: QPainter, ink: Ink, frame: QRectF) -> list[QRectF]:
        """Draw what must be known of this picture (top) and the read-out (bottom)."""
        taken: list[QRectF] = []
        top = frame.top()
        for words in notices(self.desk):
            chunks = [Chunk(words, ink.small_bold, ink.warning)]
            rect = _centred(ink.plate_size(chunks), frame, top)
            ink.plate(pen, rect, chunks, edge=ink.warning)
            taken.append(rect)
            top = rect.bottom() + 4
        if words := kind_words(self.desk):
            chunks = [Chunk(words, ink.small, ink.dim)]
            rect = QRectF(frame.topLeft(), ink.plate_size(chunks))
            ink.plate(pen, rect, chunks)
            taken.append(rect)
        if self.focus_help and self.desk.shown is not None:
            words, self.sharpest = focus_words(self.desk.shown, self.sharpest)
            chunks = [
                Chunk("sharpness", ink.small, ink.dim),
                Chunk(words, ink.large, ink.text, figures=True),
            ]
            rect = _centred(ink.plate_size(chunks), frame, top)
            ink.plate(pen, rect, chunks)
            taken.append(rect)
        return taken

    def _draw_foot(
        self, pen: QPainter, ink: Ink, frame: QRectF, marked: list[QPointF]
    ) -> list[QRectF]:
        """Draw the read-out of the cursor's pixel, and the selected region's size.

        They stand at the lower edge, where they hide neither the cursor nor `marked` points.
        """
        taken: list[QRectF] = []
        points = [*marked, *([] if self._cursor is None else [self._cursor])]
        chosen = self.desk.selected_regions()
        size = size_text(chosen[0].shape, self.desk.display.mm_per_px) if len(chosen) == 1 else ""
        for words, places in ((self._readout(), (0.0, 0.5, 1.0)), (size, (1.0, 0.5, 0.0))):
            if not words:
                continue
            chunks = [Chunk(words, ink.body, ink.text, figures=True)]
            rects = [_at_foot(ink.plate_size(chunks), frame, place) for place in places]
            free = [
                rect
                for rect in rects
                if not any(rect.intersects(other) for other in taken)
                and not any(rect.adjusted(-8, -14, 8, 0).contains(point) for point in points)
            ]
            taken.append((free or rects)[0])
            ink.plate(pen, taken[-1], chunks)
        return taken

    def _readout(self) -> str:
        mapping, frame = self.mapping, self.desk.optics.pictured()
        if self._cursor is None or mapping is None or frame is None:
            return ""
        pixel = mapping.pixel_at(self._cursor)
        if pixel is None:
            return ""
        judge = self.desk.optics.judge()
        row, column = pixel
        words = pixel_text(frame, self.desk.display, judge, row=row, column=column)
        part = self._parts.at(*mapping.to_picture(self._cursor)) if self._parts else None
        return words if part is None else f"{words}   {part.designator} {part.value}".rstrip()


_ARROWS = {
    int(Qt.Key.Key_Left): (-1, 0),
    int(Qt.Key.Key_Right): (1, 0),
    int(Qt.Key.Key_Up): (0, -1),
    int(Qt.Key.Key_Down): (0, 1),
}


def _centred(size: QSizeF, frame: QRectF, top: float) -> QRectF:
    return QRectF(QPointF(round(frame.center().x() - size.width() / 2), top), size)


def _at_foot(size: QSizeF, frame: QRectF, place: float) -> QRectF:
    """Return a plate at the lower edge; `place` 0 is left, 1 right."""
    left = frame.left() + place * (frame.width() - size.width())
    return QRectF(QPointF(round(left), frame.bottom() - size.height()), size)
