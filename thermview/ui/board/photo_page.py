"""The photo's page: the photo itself to click in, blend and split, how well it lies."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import (
    QHideEvent,
    QImage,
    QShowEvent,
)
from PySide6.QtWidgets import QHBoxLayout, QSlider, QWidget

from thermview.session.matching import Grade, Pixel
from thermview.ui.board.photo import Pair, Photo
from thermview.ui.board.photo_camera import PhotoCamera
from thermview.ui.board.point_pane import PointPane
from thermview.ui.board.point_tool import PointTool
from thermview.ui.board.points_page import SIGNS, TONES
from thermview.ui.desk import Desk
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.tools import ToolKind
from thermview.ui.widgets import button, column, label, named, row, set_tone, tool


class PairTaker:
    """Passes what a tool tells of one of the two, photo or picture, on to the photo's pairs."""

    def __init__(self, photo: Photo, of: str) -> None:
        self._photo, self._of = photo, of
        self._before: tuple[Pair, ...] = ()

    def _shown(self) -> list[int]:
        """Return the numbers of the pairs that have a place here."""
        pairs = enumerate(self._photo.pairs)
        return [number for number, pair in pairs if getattr(pair, self._of) is not None]

    def places(self) -> list[Pixel]:
        """Return where they lie."""
        return [getattr(self._photo.pairs[number], self._of) for number in self._shown()]

    def place(self, pixel: Pixel) -> None:
        """Take a click."""
        self._photo.click(**{self._of: pixel})

    def drag(self, number: int, pixel: Pixel) -> None:
        """Follow the mouse."""
        pairs = list(self._photo.pairs)
        self._before = self._before or tuple(pairs)
        at = self._shown()[number]
        changed = {"photo": pixel} if self._of == "photo" else {"picture": pixel}
        pairs[at] = replace(pairs[at], **changed)
        self._photo.show_pairs(tuple(pairs))

    def dropped(self, number: int) -> None:
        """Make the drag one step."""
        before, self._before = self._before, ()
        if before:
            self._photo.set_pairs(self._photo.pairs, before=before)

    def drag_given_up(self, number: int) -> None:
        """Put it back."""
        before, self._before = self._before, ()
        if before:
            self._photo.show_pairs(before)


class PhotoPane(PointPane):
    """The photo."""

    def __init__(self, desk: Desk, given_up: Callable[[], object]) -> None:
        self._photo = desk.boards.photo
        tool = PointTool(desk, PairTaker(self._photo, "photo"), given_up)
        super().__init__("photoPane", "the photo", tool)
        self.setMinimumHeight(160)
        self._photo.changed.connect(self.update)

    def image(self) -> QImage | None:
        """Return the photo."""
        return self._photo.image

    def marks(self) -> Iterable[tuple[int, Pixel]]:
        """Give the places that were clicked in it."""
        pairs = enumerate(self._photo.pairs)
        return [(number, pair.photo) for number, pair in pairs if pair.photo is not None]

    def signed(self) -> int | None:
        """Return the place that disagrees with the others."""
        return self._photo.fit.worst if self._photo.fit.grade is Grade.POOR else None

    def picture_size(self) -> tuple[int, int] | None:
        """Return the photo's."""
        if self._photo.image is None:
            self._fits = True  # the next one is seen whole
        return super().picture_size()


class PhotoPage(QWidget):
    """While it is seen, clicks in photo and picture set pairs of points."""

    ended = Signal()

    def __init__(self, desk: Desk, canvas: Canvas, ask: Callable[[], object]) -> None:
        super().__init__()
        self.setObjectName("photoPage")
        self._desk, self._canvas, self._photo = desk, canvas, desk.boards.photo
        self._taker = PairTaker(self._photo, "picture")
        self.step = label("", "photoStep", wrap=True)
        self.pane = PhotoPane(desk, self.ended.emit)
        self.verdict = label("", "photoVerdict", wrap=True)
        self.blend = self._slider("photoBlend", "heat alone … photo alone", self._photo.set_blend)
        self.split = self._slider(
            "photoSplit", "heat alone to the left of the line", self._photo.set_split
        )
        self.blend.setValue(50)
        self.blend_words, self.split_words = label("blend", "blendW"), label("split", "splitW")
        for widget in (self.blend, self.split, self.blend_words, self.split_words):
            policy = widget.sizePolicy()  # the photo must not jump under the hand when they come
            policy.setRetainSizeWhenHidden(True)
            widget.setSizePolicy(policy)
        self.verdict.setMinimumHeight(2 * self.verdict.fontMetrics().lineSpacing() + 8)
        self.load = button("load a photo …", "photoLoad", ask)
        self.camera = PhotoCamera(desk)
        layout = column(self)
        layout.addWidget(self.step)
        layout.addWidget(self.pane, 1)
        self._spare = QWidget()  # takes the photo's room while there is none
        layout.addWidget(self._spare, 1)
        layout.addWidget(self.verdict)
        layout.addLayout(row(self.blend_words, self.blend, self.split_words, self.split))
        layout.addLayout(self._buttons())
        self._photo.changed.connect(self._refresh)
        self._refresh()

    def _slider(self, name: str, tip: str, moved: Callable[[float], object]) -> QSlider:
        made = named(QSlider(Qt.Orientation.Horizontal), name)
        made.setRange(0, 100)
        made.setToolTip(tip)
        made.setAccessibleName(tip)
        made.valueChanged.connect(lambda value: moved(value / 100.0))
        return made

    def _buttons(self) -> QHBoxLayout:
        undo = tool("undo", "pairUndo", self._desk.undo, tip="take the last click back  (Ctrl+Z)")
        redo = tool("redo", "pairRedo", self._desk.redo, tip="do it again  (Ctrl+Shift+Z)")
        anew = tool(
            "eraser", "pairsAnew", self._clear, tip="remove all points; undo brings them back"
        )
        self._of_photo = [undo, redo, anew]
        self.done = button("done", "photoDone", self.ended.emit, role="primary")
        return row(*self._of_photo, self.load, self.camera.button, None, self.done)

    def _clear(self) -> None:
        self._photo.set_pairs(())

    def _refresh(self) -> None:
        photo = self._photo
        there = photo.image is not None
        laid = photo.to_photo() is not None
        for widget in (self.pane, self.verdict, *self._of_photo, self.done):
            widget.setVisible(there)
        for widget in (self.blend, self.split, self.blend_words, self.split_words):
            widget.setVisible(laid)
        self._spare.setVisible(not there)
        self.step.setText(self._step_words())
        self.verdict.setText(f"{SIGNS[photo.fit.grade]}{photo.fit.words}")
        set_tone(self.verdict, TONES[photo.fit.grade])
        self._canvas.update()
        if self.isVisible():
            self._arm()

    def _step_words(self) -> str:
        photo = self._photo
        if photo.image is None:
            return (
                "A photo of the board under the heat shows which part it is. Take it from about "
                "where the camera stands."
            )
        for of in ("picture", "photo"):
            lacking = [n for n, p in enumerate(photo.pairs, 1) if getattr(p, of) is None]
            if lacking:
                return f"Now click place {lacking[0]} in the {of}."
        return f"Click place {len(photo.pairs) + 1} in the photo and in the picture."

    def showEvent(self, event: QShowEvent) -> None:
        """Take the picture's clicks."""
        self._photo.aligning = True
        QTimer.singleShot(0, self, self._arm)

    def hideEvent(self, event: QHideEvent) -> None:
        """Give the picture back."""
        self._photo.aligning = False
        if isinstance(self._canvas.tool, PointTool):
            self._canvas.tool.retire()
            self._canvas.choose(ToolKind.SELECT)
        self._canvas.update()

    def _arm(self) -> None:
        if not self.isVisible() or self._photo.image is None:
            return
        if not isinstance(self._canvas.tool, PointTool):
            self._canvas.take_up(PointTool(self._desk, self._taker, self.ended.emit))
