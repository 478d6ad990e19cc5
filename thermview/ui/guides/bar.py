"""The line above the picture that leads through a guided measurement."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QColor, QKeySequence, QPainter, QShortcut
from PySide6.QtWidgets import QDoubleSpinBox, QFrame, QHBoxLayout, QWidget

from thermview.errors import ThermviewError
from thermview.regions import Rectangle
from thermview.ui.desk import Desk
from thermview.ui.guides.guide import Answer, Guide, look_at
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.geometry import outline
from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.picking import PickTool
from thermview.ui.picture.tools import SelectTool
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, set_tone, tool

AGAIN_MS = 300  # the answer follows the live picture so often


class GuideBar(QFrame):
    """Shown while a guided measurement is going on; Esc gives it up."""

    running = Signal(bool)

    def __init__(self, desk: Desk, canvas: Canvas) -> None:
        super().__init__()
        named(self, "guideBar", "panel")
        self._desk, self._canvas = desk, canvas
        self.guide: Guide | None = None
        self.boxes: list[Rectangle] = []
        self.fields: dict[str, QDoubleSpinBox] = {}
        self._untyped: set[str] = set()
        self.title = label("", "guideTitle", "heading")
        self.step = label("", "guideStep", wrap=True)
        self.result = label("", "guideResult", wrap=True)
        self.note = label("", "guideNote", "small", wrap=True)
        self._asked = QWidget()
        self._uses = QWidget()
        self._asked_row = _level(self._asked)
        self._uses_row = _level(self._uses)
        close = tool("close", "guideClose", self.finish, tip="give this measurement up  (Esc)")
        layout = column(self, margin=tokens().space)
        layout.setContentsMargins(tokens().space, 4, tokens().space, 4)
        layout.setSpacing(2)
        upper = row(self.title, self.step, self.result, close)
        upper.setStretch(1, 1)
        upper.setStretch(2, 1)
        lower = row(self._asked, None, self._uses)
        layout.addLayout(upper)
        layout.addLayout(lower)
        layout.addWidget(self.note)
        self._again = QTimer(self)
        self._again.setSingleShot(True)
        self._again.setInterval(AGAIN_MS)
        self._again.timeout.connect(self._solve)
        desk.frame_shown.connect(self._frame_shown)
        desk.session_changed.connect(self.finish)
        escape = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        escape.activated.connect(self.finish)
        self.hide()

    # -- going through ----------------------------------------------------------------------

    def begin(self, guide: Guide) -> None:
        """Lead through a measurement; another one that was going on is given up."""
        self.finish()
        if self._desk.shown is None or self._desk.display.relative:
            self._desk.say("info", "this takes a picture of temperatures; open one first")
            return
        self.guide = guide
        self._canvas.overlay = self._paint
        self.title.setText(guide.title)
        self.note.setText(guide.note)
        self.note.setVisible(bool(guide.note))
        self._ask(guide)
        self.show()
        self.running.emit(True)
        self._next()

    def finish(self) -> None:
        """End the measurement, used or not."""
        if self.guide is None:
            return
        self.guide = None
        self.boxes.clear()
        self._again.stop()
        self._canvas.overlay = None
        self.hide()
        self.running.emit(False)
        if isinstance(self._canvas.tool, PickTool):
            self._canvas.take_up(SelectTool(self._desk))
        self._canvas.update()
        self._canvas.setFocus()

    def _ask(self, guide: Guide) -> None:
        _clear(self._asked_row)
        self.fields.clear()
        self._untyped = {name for name, asked in guide.asked.items() if asked.read}
        for name, asked in guide.asked.items():
            field = named(QDoubleSpinBox(), f"guide_{name}")
            field.setDecimals(asked.decimals)
            field.setRange(*asked.limits)
            field.setSingleStep(10.0**-asked.decimals * (1 if asked.decimals > 1 else 5))
            field.setValue(asked.value)
            field.setSuffix(asked.suffix)
            field.setToolTip(asked.tip)
            field.setAccessibleName(asked.words)
            field.valueChanged.connect(partial(self._typed, name))
            field.lineEdit().returnPressed.connect(partial(self._typed, name))
            self.fields[name] = field
            self._asked_row.addWidget(label(asked.words, f"guideWords_{name}", "dim"))
            self._asked_row.addWidget(field)
        self._asked.setVisible(bool(guide.asked))

    def _typed(self, name: str, *_: object) -> None:
        self._untyped.discard(name)
        self._solve()

    def _next(self) -> None:
        """Ask for the next box, or show the answer."""
        guide = self.guide
        assert guide is not None
        done = len(self.boxes)
        if done < len(guide.boxes):
            words = guide.boxes[done]
            number = f"{done + 1} of {len(guide.boxes)}: " if len(guide.boxes) > 1 else ""
            self._tell(f"{number}{words}", "")
            self._canvas.take_up(PickTool(self._desk, words, self._picked, self.finish))
            _clear(self._uses_row)
        else:
            last = "draw the last box anew, or use the result"
            if guide.boxes:
                self._canvas.take_up(PickTool(self._desk, last, self._picked, self.finish))
            self._solve()
        self._canvas.update()

    def _picked(self, box: Rectangle) -> None:
        guide = self.guide
        if guide is None:
            return
        if len(self.boxes) == len(guide.boxes):
            self.boxes.pop()  # the last one anew
        self.boxes.append(box)
        self._next()

    def _frame_shown(self, _: object) -> None:
        if self.guide is not None and not self._again.isActive():
            self._again.start()

    def _solve(self, *_: object) -> None:
        """Show the answer of the shown frame."""
        guide, frame = self.guide, self._desk.shown
        if guide is None or frame is None or len(self.boxes) < len(guide.boxes) or frame.held:
            return
        if asked := [guide.asked[name] for name in guide.asked if name in self._untyped]:
            self._show(Answer(f"type: {asked[0].words}", usable=False))
            return
        judge = self._desk.optics.judge()
        looks = [look_at(frame, box, judge) for box in self.boxes]
        numbers = {name: field.value() for name, field in self.fields.items()}
        try:
            answer = guide.answer(looks, numbers)
        except ThermviewError as error:
            answer = Answer(str(error), usable=False)
        self._show(answer)

    def _tell(self, step: str, result: str) -> None:
        """Say what to do, or what came of it: both have the same room."""
        for shown, words in ((self.step, step), (self.result, result)):
            shown.setText(words)
            shown.setVisible(bool(words))

    def _show(self, answer: Answer) -> None:
        self._tell("", answer.words)
        self.result.setToolTip(answer.tip)
        set_tone(self.result, "good" if answer.usable and answer.good else "warning")
        _clear(self._uses_row)
        if not answer.usable:
            return
        for number, (words, use) in enumerate(answer.uses.items()):
            made = button(
                words,
                f"guideUse_{number}",
                partial(self._use, use),
                role="" if number else "primary",
            )
            self._uses_row.addWidget(made)

    def _use(self, use: Callable[[], object]) -> None:
        self._desk.attempt(use)
        self.finish()

    # -- on the picture -----------------------------------------------------------------------

    def _paint(self, pen: QPainter, mapping: Mapping, ink: Ink) -> None:
        for number, box in enumerate(self.boxes, 1):
            path = mapping.transform().map(outline(box))
            ink.stroke(pen, path, QColor("#ffffff"), 2.0)
            chunks = [Chunk(str(number), ink.small_bold, ink.text)]
            corner = path.boundingRect().topLeft() - QPointF(0, 20)
            ink.plate(pen, QRectF(corner, ink.plate_size(chunks)), chunks)


def _level(widget: QWidget) -> QHBoxLayout:
    layout = QHBoxLayout(widget)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(tokens().space)
    layout.setAlignment(Qt.AlignmentFlag.AlignLeft)
    return layout


def _clear(layout: QHBoxLayout) -> None:
    while (item := layout.takeAt(0)) is not None:
        if (old := item.widget()) is not None:
            old.setParent(None)  # gone at once, not only when the event loop comes to it
            old.deleteLater()
