"""The answer: both boards in step, their difference, and the table of verdicts."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QSplitter,
    QTableView,
    QToolTip,
    QWidget,
)

from thermview.analysis.pair.equals import odd_words
from thermview.analysis.pair.verdict import COLDER, HOTTER, UNREADABLE
from thermview.ui.compare.question import Answer, By
from thermview.ui.compare.room import CompareRoom
from thermview.ui.compare.table import NAME, VERDICT, VerdictModel
from thermview.ui.compare.twin import Link, LinkedPicture, Sign
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.viewscale import View, ViewScale
from thermview.ui.widgets import column, label, named, plain_rows, row, tool

LEVEL_TIP = (
    "What all parts share, the supply's level and the room's temperature, is taken out; colours "
    "count from the time before power, and those of the difference have zero in the middle."
)

STEP_TIP = "the strip's playhead moves both boards, each from when its power came"
BEHIND_TIP = "the last moment after power-on that both recordings have"


class ResultView(QWidget):
    """Three linked pictures over the table; a click in any of them selects in all."""

    def __init__(self, desk: Desk, room: CompareRoom) -> None:
        super().__init__()
        named(self, "compareResult")
        self._desk, self._room = desk, room
        self.link = Link(self)
        self.good = LinkedPicture("goodPicture", "known good", self.link)
        self.bad = LinkedPicture("thisPicture", "this board", self.link)
        self.difference = LinkedPicture(
            "differencePicture", "this board less the known good", self.link
        )
        self.pictures = (self.good, self.bad, self.difference)
        self.summary = label("", "compareSummary", "large")
        self.notes = tool("information-outline", "compareNotes", self._tell_notes, tip="")
        self.model = VerdictModel(desk.display)
        self.table = self._table()
        self.chosen = ""
        self._shown = -1
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.timeout.connect(self._show_moment)
        self._build()
        for picture in self.pictures:
            picture.picked.connect(self.choose)
        room.answered.connect(self._take)
        desk.frame_shown.connect(lambda _: self._soon.start(0))
        desk.scale_changed.connect(self._scale_changed)

    def _build(self) -> None:
        self.summary.setToolTip(LEVEL_TIP)
        layout = column(self)
        split = named(QSplitter(Qt.Orientation.Vertical), "compareSplitter")
        split.setChildrenCollapsible(False)
        split.setHandleWidth(tokens().space)
        upper = QWidget()
        upper_layout = row(*self.pictures)
        upper.setLayout(upper_layout)
        split.addWidget(upper)
        split.addWidget(self.table)
        split.setStretchFactor(0, 3)
        split.setStretchFactor(1, 2)
        split.setSizes([300, 180])
        layout.addWidget(split, 1)

    def _table(self) -> QTableView:
        table = named(QTableView(), "compareTable")
        table.setModel(self.model)
        plain_rows(table, 26)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setWordWrap(False)
        table.setMinimumHeight(96)
        head = table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(VERDICT, QHeaderView.ResizeMode.Stretch)
        head.setHighlightSections(False)
        # not the current row's: the table takes one by itself when it gets the keys
        table.selectionModel().selectionChanged.connect(self._row_chosen)
        table.clicked.connect(self._row_chosen)  # the chosen one again: back to it
        return table

    # ---- following -------------------------------------------------------------------------

    def _take(self) -> None:
        found = self._room.answer
        kept, self.chosen, self._shown = self.chosen, "", -1
        if found is None:
            self.model.show(None)
            self.link.fit()
            return
        self.model.show(found)
        for picture in (self.good, self.difference):
            picture.setVisible(not found.alone)
        self.table.resizeColumnToContents(NAME)
        self.summary.setText(summary_of(found))
        self.notes.setToolTip("\n".join([*notes_of(found), LEVEL_TIP]))
        self._show_moment()
        self._show_signs()
        if (at := self.model.row_of(kept)) >= 0:
            self.chosen = kept
            self._select_row(at)
            self._show_signs()

    def _scale_changed(self) -> None:
        self._shown = -1
        self._soon.start(0)

    def _show_moment(self) -> None:
        """Show both boards at the playhead's time since power-on."""
        found = self._room.answer
        if found is None:
            return
        since_s = self._desk.now_s - found.found.on_s[1]
        number = found.films.at(since_s)
        if number == self._shown:
            return
        self._shown = number
        films, display = found.films, self._desk.display
        turned = (display.quarter_turns, display.mirrored)
        colours = "blue – dark – red"
        rise = ViewScale(View.RISE, colours, 0.0, films.high_k)
        ends = ("0", display.difference_text(films.high_k))
        for picture in self.pictures:
            picture.turned = turned
        self.bad.show_levels(films.bad_k[number], rise, ends)
        if films.good_k is not None:
            apart = ViewScale(View.RISE, colours, -films.span_k, films.span_k)
            low, high = (display.difference_text(s * films.span_k) for s in (-1, 1))
            self.good.show_levels(films.good_k[number], rise, ends)
            self.difference.show_levels(films.difference_k(number), apart, (low, high))
        at_s = float(films.since_s[number])
        behind = at_s < since_s - 1.0
        when = f"{at_s:.1f} s after power-on" if at_s >= 0 else "before power-on"
        good = found.reference.short_name if found.reference is not None else ""
        for picture, name in ((self.good, good), (self.bad, "this board")):
            picture.title = f"{name}, {when}"
            picture.setToolTip(BEHIND_TIP if behind else STEP_TIP)

    def _tell_notes(self) -> None:
        at = self.notes.mapToGlobal(self.notes.rect().bottomLeft())
        QToolTip.showText(at, self.notes.toolTip(), self.notes)

    def _show_signs(self) -> None:
        found = self._room.answer
        if found is None:
            return
        equals = found.equals_of(self.chosen)
        signs = tuple(
            Sign(
                *found.places_px[one.name],
                one.name,
                one.verdict,
                chosen=one.name == self.chosen,
                equal=one.name in equals,
            )
            for one in self.model.rows
        )
        for picture in self.pictures:
            picture.show_signs(signs)

    # ---- choosing --------------------------------------------------------------------------

    def _row_chosen(self, *_: object) -> None:
        rows = self.table.selectionModel().selectedRows()
        if rows:
            self._choose(self.model.rows[rows[0].row()].name, fly=True)

    def _select_row(self, at: int) -> None:
        """Select a row, which nobody is told."""
        choice = self.table.selectionModel()
        choice.blockSignals(True)
        self.table.selectRow(at)
        choice.blockSignals(False)
        self.table.viewport().update()

    def choose(self, name: str) -> None:
        """Select a subject in table and pictures."""
        at = self.model.row_of(name)
        if at >= 0:
            self._choose(name, fly=False)
            self._select_row(at)
            self.table.scrollTo(self.model.index(at, 0))

    def _choose(self, name: str, *, fly: bool) -> None:
        found = self._room.answer
        if found is None:
            return
        self.chosen = name
        x, y = found.places_px[name]
        if fly:
            self.link.fly_to(x, y)
            self._desk.flown_to.emit(x, y)
        regions = self._desk.document.current.regions
        self._desk.select([r.id for r in regions if r.name == name])
        self._show_signs()


def summary_of(answer: Answer) -> str:
    """Return the answer in one line."""
    subjects = answer.found.subjects
    colder = [one.name for one in subjects if one.verdict == COLDER]
    hotter = [one.name for one in subjects if one.verdict == HOTTER]
    if answer.alone and len(colder) + len(hotter) == 1:
        name = (colder or hotter)[0]
        what = "regions" if answer.by is By.EQUAL_REGIONS else "equal parts"
        verdict = COLDER if colder else HOTTER
        return odd_words(name, verdict, len(answer.equals_of(name)), what=what)
    words = [f"{len(n)} {what}" for n, what in ((colder, "colder"), (hotter, "hotter")) if n]
    if not words:
        if answer.alone:
            unsure = sum(one.verdict == UNREADABLE for one in subjects)
            told = f", {unsure} cannot be told" if unsure else ""
            what = "regions" if answer.by is By.EQUAL_REGIONS else "parts"
            return f"{len(subjects) - unsure} {what} do as their equals{told}"
        return "nothing colder or hotter than it should be"
    return " and ".join(words) + (
        " than their equals" if answer.alone else " than on the good board"
    )


def notes_of(answer: Answer) -> list[str]:
    """Return what the user should know, in the window's words for the two boards."""
    names = (("good board", "known-good board"), ("bad board", "this board"))
    notes = [*answer.found.notes, *(f"on this board {words}" for words in answer.odd.values())]
    if answer.goods > 1:
        notes.append(f"{answer.goods} good boards of this model show how much they differ")
    for old, new in names:
        notes = [note.replace(old, new, 1) if note.startswith(old) else note for note in notes]
    return notes
