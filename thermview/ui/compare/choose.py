"""Choosing the known-good recording."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from thermview.ui.compare.power_ups import PowerUps
from thermview.ui.compare.question import Reference
from thermview.ui.compare.room import CompareRoom
from thermview.ui.compare.shelf import ShelfKeeper, ShelfSection
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, panel

WORDS = (
    "Film a board that works once, from before the power to some tens of seconds after it. Every "
    "next one of its kind is then compared with it, from any place of the camera."
)
HALVES = (
    "Two equal channels on one board, or one half beside the other: draw a region on one, copy or "
    "mirror it onto the other, and watch their difference."
)
EQUALS = (
    "Three or more equal parts, such as the drivers of several channels, ought to warm alike: of "
    "the placement list, or regions drawn on them. No good board is needed."
)
FILES = "recordings (*.h5 *.hdf5 *.hdf *.nxs);;all (*)"
MOST_RECENT = 6


class ChooseView(QScrollArea):
    """Known-good recordings from the shelf, from files, or the picture's own other half."""

    def __init__(self, desk: Desk, room: CompareRoom, keeper: ShelfKeeper) -> None:
        super().__init__()
        named(self, "compareChoose")
        self._desk, self._room = desk, room
        self.setWidgetResizable(True)
        page = named(QWidget(), "chooseContent", "page")
        self.setWidget(page)
        outer = column(page, margin=tokens().space)
        outer.addWidget(label("Compare this board with …", "chooseTitle", "large"))
        outer.addWidget(label(WORDS, "chooseWords", "dim", wrap=True))
        columns = QHBoxLayout()
        columns.setSpacing(2 * tokens().space)
        self.columns = columns
        self.shelf = ShelfSection(desk, room, keeper)
        columns.addWidget(self.shelf, 1)
        files = self._section("files", "a good board, or this one before")
        files.addWidget(button("choose a file …", "chooseFile", self.ask, symbol="folder-open"))
        self._recent = column()
        files.addLayout(self._recent)
        files.addStretch(1)
        other = self._section("alone", "this board by itself")
        other.addWidget(label(EQUALS, "equalsWords", "dim", wrap=True))
        other.addWidget(
            button("equal parts", "chooseEquals", room.choose_equals, symbol="format-list-group")
        )
        other.addWidget(label(HALVES, "halvesWords", "dim", wrap=True))
        other.addWidget(
            button(
                "left against right",
                "chooseHalves",
                lambda: room.show_halves(True),
                symbol="compare",
            )
        )
        self.ups = PowerUps(desk, room)
        other.addWidget(self.ups)
        other.addStretch(1)
        outer.addLayout(columns)
        outer.addStretch(1)
        desk.session_changed.connect(self.refresh)
        self.refresh()

    def _section(self, name: str, heading: str) -> QVBoxLayout:
        frame, layout = panel(f"choose_{name}")
        layout.addWidget(label(heading, f"choose_{name}_heading", "heading"))
        self.columns.addWidget(frame, 1)
        return layout

    def refresh(self) -> None:
        """List the recordings opened last, this one left out."""
        while item := self._recent.takeAt(0):
            if (old := item.widget()) is not None:
                old.hide()
                old.deleteLater()
        here = self._desk.opened.path if self._desk.opened is not None else None
        own = None if here is None else here.resolve()
        recent = [Path(text) for text in self._desk.settings.recent()]
        for path in [p for p in recent if p.is_file() and p.resolve() != own][:MOST_RECENT]:
            self._recent.addWidget(
                button(
                    path.name,
                    f"choose_{path}",
                    partial(self._room.choose, Reference(path, path.stem)),
                    tip=str(path),
                )
            )

    def ask(self) -> None:
        """Choose a file."""
        start = self._desk.settings.get("folder", str(Path.home()))
        name, _ = QFileDialog.getOpenFileName(self, "recording of a good board", start, FILES)
        if name:
            path = Path(name)
            self._desk.settings.set("folder", str(path.parent))
            self._desk.settings.add_recent(path)
            self._room.choose(Reference(path, path.stem))
