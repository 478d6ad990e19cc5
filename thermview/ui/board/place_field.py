"""Choosing a place on the board: a part's middle or corner, the board's corner, or mm."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QCompleter,
    QDoubleSpinBox,
    QStackedWidget,
    QWidget,
)

from thermview.board import Part, find_parts
from thermview.board import Place as MapPlace
from thermview.session.known_places import CORNERS, MIDDLE, Place, of_board, of_map, of_mm, of_part
from thermview.session.matching import Point
from thermview.ui.widgets import column, label, named, row

OF_PART = {"middle of part": MIDDLE, **{f"{corner} corner of part": corner for corner in CORNERS}}
OF_BOARD, IN_MM = "corner of the board", "place in mm"
_FACE = "as in the board's drawing, unturned and seen from above"


class PlaceField(QWidget):
    """What is to be clicked next; `edited` follows every change."""

    edited = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("placeField")
        self._parts: dict[str, Part] = {}
        self._places: dict[str, MapPlace] = {}
        self.what = named(QComboBox(), "placeWhat")
        self.what.addItems([*OF_PART, OF_BOARD, IN_MM])
        self.what.setToolTip(f"corners: {_FACE}")
        self.what.setAccessibleName("what the point stands on")
        self.part = named(QComboBox(), "placePart")
        self.part.setEditable(True)
        self.part.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.part.setAccessibleName("the part")
        self.width_mm = _length("boardWidth", 100.0, "board's width, mm")
        self.height_mm = _length("boardHeight", 80.0, "board's height, mm")
        self.corner = named(QComboBox(), "boardCorner")
        self.corner.addItems(CORNERS)
        self.corner.setToolTip(_FACE)
        self.x_mm = _length("placeX", 0.0, "to the right, mm", least=-2000.0)
        self.y_mm = _length("placeY", 0.0, "upwards, mm", least=-2000.0)
        board = QWidget()
        layout = column(board)
        layout.addLayout(row(self.width_mm, label("×", "boardTimes"), self.height_mm))
        layout.addWidget(self.corner)
        signs = label("x", "xSign"), label("y", "ySign")
        place = _page(signs[0], self.x_mm, signs[1], self.y_mm)
        self._pages = (_page(self.part), board, place)
        self._fields = QStackedWidget()
        for page in self._pages:
            self._fields.addWidget(page)
        layout = column(self)
        layout.addWidget(self.what)
        layout.addWidget(self._fields)
        self.what.currentTextChanged.connect(self._what_changed)
        self.part.editTextChanged.connect(self.edited)
        self.corner.currentTextChanged.connect(self.edited)
        for field in (self.width_mm, self.height_mm, self.x_mm, self.y_mm):
            field.valueChanged.connect(self.edited)
        self._what_changed()

    def show_parts(self, parts: tuple[Part, ...], places: tuple[MapPlace, ...] = ()) -> None:
        """Offer these parts, and the places that a part map names."""
        self._places = {place.name.upper(): place for place in places}
        self._parts = {part.designator.upper(): part for part in find_parts(parts)}
        self.part.blockSignals(True)
        self.part.clear()
        self.part.addItems([place.name for place in self._places.values()])
        self.part.addItems([part.designator for part in self._parts.values()])
        self.part.setEditText("")
        # a list that pops up while one types would swallow the click into the picture
        completer = self.part.completer()
        if completer is not None:
            completer.setCompletionMode(QCompleter.CompletionMode.InlineCompletion)
        self.part.blockSignals(False)
        if bool(parts) != (self.what.currentText() in OF_PART):
            self.what.setCurrentText(next(iter(OF_PART)) if parts else OF_BOARD)

    def place(self) -> Place | None:
        """Return the chosen place, None while it is not known."""
        what = self.what.currentText()
        if what == OF_BOARD:
            where = self.corner.currentText()
            return of_board(self.width_mm.value(), self.height_mm.value(), where)
        if what == IN_MM:
            return of_mm(self.x_mm.value(), self.y_mm.value())
        name = self.part.currentText().strip().upper()
        if name in self._places:
            return of_map(self._places[name])
        part = self._parts.get(name)
        return None if part is None else of_part(part, OF_PART[what])

    def propose(self, place: Place | None, points: Sequence[Point]) -> None:
        """Offer the next place: one of a part or of the part map, or the board's next corner."""
        what = self.what.currentText()
        if what in OF_PART and place is not None:
            if place.where != MIDDLE:
                self.what.setCurrentText(next(w for w in OF_PART if OF_PART[w] == place.where))
            self.part.setEditText(place.part or place.name)
        elif what == OF_BOARD:
            taken = {point.name for point in points}
            free = [corner for corner in CORNERS if f"board {corner}" not in taken]
            self.corner.setCurrentText(free[0] if free else CORNERS[0])

    def _what_changed(self, *_: object) -> None:
        what = self.what.currentText()
        page = self._pages[1 if what == OF_BOARD else 2 if what == IN_MM else 0]
        self._fields.setCurrentWidget(page)
        self._fields.setFixedHeight(page.sizeHint().height())
        self.edited.emit()


def _length(name: str, value_mm: float, tip: str, *, least: float = 1.0) -> QDoubleSpinBox:
    made = named(QDoubleSpinBox(), name)
    made.setRange(least, 2000.0)
    made.setDecimals(2)
    made.setValue(value_mm)
    made.setSuffix(" mm")
    made.setToolTip(tip)
    made.setAccessibleName(tip)
    return made


def _page(*widgets: QWidget) -> QWidget:
    made = QWidget()
    layout = row(*widgets)
    made.setLayout(layout)
    return made
