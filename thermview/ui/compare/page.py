"""The page of the step "compare": what with, how, the pictures, the verdicts."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QFrame, QStackedWidget, QWidget

from thermview.ui.compare.choose import ChooseView
from thermview.ui.compare.matching import MatchingView
from thermview.ui.compare.question import By
from thermview.ui.compare.result import ResultView
from thermview.ui.compare.room import CompareRoom
from thermview.ui.compare.shelf import ShelfKeeper
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, set_tone, tool

BY_TIPS = {
    By.PART: "every part of the placement list, by its own dissipation",
    By.REGION: "the regions drawn on this board's picture",
    By.PLACE: "every place that warms on either board; no list is needed",
    By.EQUAL_PARTS: "parts of one package, value and pattern of nets, among themselves",
    By.EQUAL_REGIONS: "the regions drawn on this board's picture, taken for equals",
}


class ComparePage(QFrame):
    """One of: choosing the known-good board, clicking matching points, the answer."""

    def __init__(self, desk: Desk, room: CompareRoom, keeper: ShelfKeeper) -> None:
        super().__init__()
        named(self, "comparePage", "panel")
        self._desk, self.room = desk, room
        self.choose = ChooseView(desk, room, keeper)
        self.matching = MatchingView(desk, room)
        self.result = ResultView(desk, room)
        self.views = named(QStackedWidget(), "compareViews")
        for view in (self.choose, self.matching, self.result):
            self.views.addWidget(view)
        self._asked_matching = False
        self.other = tool("arrow-left", "compareOther", self._go_back, tip="choose another board")
        self.name = label("", "compareName", "heading")
        self.by = named(QComboBox(), "compareBy")
        self.by.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.by.activated.connect(lambda _: room.set_by(self.by.currentData()))
        self.points = button("matching points …", "comparePoints", self._ask_matching)
        self.points.setToolTip("click the same places in both pictures, if the camera was moved")
        self.words = label("", "compareWords", wrap=True)
        self.go = button("compare", "compareGo", self._compare, role="primary")
        self.cancel = button("cancel", "compareCancel", room.cancel)
        told = (self.result.summary, self.result.notes)
        self._head = row(self.other, self.name, self.by, self.points, *told, self.words)
        self._head.setStretch(6, 1)
        self._head.addWidget(self.go)
        self._head.addWidget(self.cancel)
        layout = column(self, margin=tokens().space)
        layout.addLayout(self._head)
        layout.addWidget(self.views, 1)
        room.changed.connect(self.refresh)
        room.answered.connect(self._answered)
        room.state_changed.connect(self.refresh)
        desk.regions_changed.connect(self._refresh_choices)
        self.refresh()

    def _go_back(self) -> None:
        self._asked_matching = False
        self.room.cancel()
        self.room.let_go()

    def _ask_matching(self) -> None:
        self._asked_matching = True
        self.refresh()

    def _compare(self) -> None:
        self._asked_matching = False
        self.room.compare()
        self.refresh()

    def _answered(self) -> None:
        if self.room.answer is not None:
            self._asked_matching = False
        self.refresh()

    def refresh(self) -> None:
        """Show what the room's state asks for."""
        room = self.room
        view = self._view()
        self.views.setCurrentWidget(view)
        self.other.setVisible(room.chosen)
        reference = room.reference
        self.name.setText(_heading(room))
        self.name.setToolTip(f"{reference.name}\n{reference.path or ''}" if reference else "")
        self.name.setVisible(room.chosen)
        ready = room.chosen and room.ready
        self._refresh_choices()
        self.by.setVisible(ready)
        self.points.setVisible(ready and room.needs_matching and view is not self.matching)
        self.points.setText(
            f"matching points ({len(room.matching)}) …" if room.matching else "matching points …"
        )
        waiting = ready and room.answer is None and not room.busy and not room.watching
        self.go.setVisible(waiting and view is not self.matching)
        self.cancel.setVisible(room.busy)
        self.words.setText(self._words())
        self.words.setVisible(room.chosen)
        for told in (self.result.summary, self.result.notes):
            told.setVisible(view is self.result and room.answer is not None)
        set_tone(self.words, "warning" if room.trouble else "")

    def _view(self) -> QWidget:
        room = self.room
        failed = room.alone and room.answer is None and bool(room.trouble)
        if not room.chosen or failed:
            return self.choose
        first = room.answer is None and room.needs_matching and not room.watching
        if room.good_picture is not None and (self._asked_matching or (first and not room.busy)):
            return self.matching
        return self.result

    def _words(self) -> str:
        room = self.room
        if room.trouble:
            return f"⚠ {room.trouble}"
        if room.busy:
            return "comparing …" if room.ready else "reading …"
        return room.live_words

    def _refresh_choices(self) -> None:
        choices = self.room.choices()
        if [self.by.itemData(n) for n in range(self.by.count())] != choices:
            self.by.clear()
            for place, by in enumerate(choices):
                self.by.addItem(f"compare {by.value}", by)
                self.by.setItemData(place, BY_TIPS[by], Qt.ItemDataRole.ToolTipRole)
        if self.room.by in choices:
            self.by.setCurrentIndex(choices.index(self.room.by))


def _heading(room: CompareRoom) -> str:
    """Return what this board is compared with."""
    if room.alone:
        return "equal parts of this board"
    if room.reference is None:
        return ""
    own = room.reference.path is None
    return room.reference.short_name if own else f"known good: {room.reference.short_name}"
