"""A clear sheet over the picture: lit parts, matching points, the loupe."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QPointF, Qt
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QPolygonF
from PySide6.QtWidgets import QWidget

from thermview.board import Part
from thermview.session.matching import Grade
from thermview.ui.board.loupe import draw_loupe, draw_mark, plate_beside
from thermview.ui.board.point_tool import PointTool
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.painter import FramePainter
from thermview.ui.picture.parts import PartsLayer
from thermview.ui.picture.tools import SelectTool
from thermview.ui.theme import DARK, tokens

_LEAST_LIT_PX = 14.0  # a lit part is ringed where it is smaller than this
_NAMES = 12  # more lit parts than this are not named: their names would hide them


class BoardSheet(QWidget):
    """Painted over the canvas and blind to the mouse; it holds no state of its own."""

    def __init__(self, canvas: Canvas) -> None:
        super().__init__(canvas)
        self.setObjectName("boardSheet")
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._canvas = canvas
        self._desk = canvas.desk
        self._keeper = canvas.desk.boards
        self._painter = FramePainter(canvas.desk.display)
        self._layer: PartsLayer | None = None
        self._outlines: list[tuple[Part, QPolygonF]] = []
        self._keeper.changed.connect(self.update)
        self._keeper.photo.changed.connect(self.update)
        canvas.ground = self._keeper.photo.draw
        self._keeper.lit_changed.connect(self._find_outlines)
        self._desk.board_changed.connect(self._board_changed)
        self._desk.session_changed.connect(self._board_changed)
        canvas.installEventFilter(self)
        self.resize(canvas.size())
        self.lower()
        self.show()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Cover the canvas, whatever its size; a double click on a part draws its region."""
        if event.type() is QEvent.Type.Resize:
            self.resize(self._canvas.size())
        elif event.type() is QEvent.Type.MouseButtonDblClick and isinstance(event, QMouseEvent):
            return self._region_of_part(event.position())
        return False

    def _region_of_part(self, at: QPointF) -> bool:
        canvas, mapping = self._canvas, self._canvas.mapping
        if mapping is None or self._layer is None or not self._desk.display.parts:
            return False
        if not isinstance(canvas.tool, SelectTool) or canvas.layer.label_at(at) is not None:
            return False
        part = self._layer.at(*mapping.to_picture(at))
        known = {region.name for region in self._desk.document.current.regions}
        if part is None or part.designator in known:
            return False
        self._keeper.make_regions([part.designator])
        return True

    def _board_changed(self) -> None:
        board = self._desk.board
        self._canvas.take_board()
        self._layer = None if board is None else PartsLayer(board)
        self._find_outlines()

    def _find_outlines(self) -> None:
        """Keep the lit parts' outlines for all paintings."""
        keeper = self._keeper
        self._outlines = []
        if self._layer is not None:
            self._outlines = [
                (part, outline)
                for part, outline in zip(self._layer.parts, self._layer.outlines, strict=True)
                if part.designator in keeper.lit or part.designator == keeper.chosen
            ]
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint all of it."""
        mapping = self._canvas.mapping
        if mapping is None:
            return
        pen, ink = QPainter(self), Ink(tokens())
        pen.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._draw_lit(pen, mapping, ink)
        tool = self._canvas.tool
        if self._keeper.matching or self._keeper.photo.aligning:
            self._draw_points(pen, mapping, ink)
            if isinstance(tool, PointTool) and tool.at is not None and self._canvas.underMouse():
                draw_loupe(pen, ink, mapping, tool.at, self._draw_under_glass)

    # -- lit parts -------------------------------------------------------------------------------

    def _draw_lit(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        transform = mapping.transform()
        named = len(self._outlines) <= _NAMES
        colour = QColor(DARK.accent)
        ground = QColor(colour)
        ground.setAlpha(60)
        for part, outline in self._outlines:
            shape = transform.map(outline)
            chosen = part.designator == self._keeper.chosen
            path = QPainterPath()
            path.addPolygon(shape)
            path.closeSubpath()
            if not chosen:
                pen.fillPath(path, ground)
            ink.stroke(pen, path, QColor("#ffffff") if chosen else colour, 2.5 if chosen else 1.5)
            box = path.boundingRect()
            if chosen and max(box.width(), box.height()) < _LEAST_LIT_PX:
                ring = QPainterPath()
                ring.addEllipse(box.center(), _LEAST_LIT_PX, _LEAST_LIT_PX)
                ink.stroke(pen, ring, QColor("#ffffff"))
            if chosen or named:
                plate_beside(pen, ink, box, part.designator)

    # -- points ----------------------------------------------------------------------------------

    def _draw_points(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        keeper, photo, tool = self._keeper, self._keeper.photo, self._canvas.tool
        marks = [(point.pixel, point.name) for point in keeper.points]
        fit = keeper.fit
        if photo.aligning:
            whole = enumerate(photo.pairs, 1)
            marks = [(pair.picture, str(n)) for n, pair in whole if pair.picture is not None]
            fit = photo.fit
        for number, (pixel, words) in enumerate(marks):
            dragged = isinstance(tool, PointTool) and tool.dragged == number
            bad = fit.grade is Grade.POOR and fit.worst == number
            # the words of a dragged point would stand in the loupe
            draw_mark(pen, ink, mapping.to_widget(*pixel), "" if dragged else words, bad=bad)

    def _draw_under_glass(self, pen: QPainter, mapping: Mapping) -> None:
        shown = self._desk.optics.pictured() or self._desk.shown
        if shown is None:
            return
        pen.save()
        pen.setTransform(mapping.transform(), combine=True)
        pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, self._desk.display.smooth)
        pen.drawImage(QPointF(0, 0), self._painter.paint(shown))
        pen.restore()
        if self._layer is not None and self._desk.display.parts:
            self._layer.draw(pen, mapping, Ink(tokens()))
