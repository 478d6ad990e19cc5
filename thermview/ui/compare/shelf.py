"""The shelf of known-good boards in the window: keep, list, take along as one file, remove."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QFileDialog, QFrame, QMenu, QToolButton, QWidget

from thermview.errors import ThermviewError
from thermview.frames import SupplyLog
from thermview.job.shelf import Entry, Shelf
from thermview.session.power import is_on
from thermview.ui.asking import ask_path
from thermview.ui.compare.keep import CHANGE_WORDS, KEEP_WORDS, ConditionsDialog
from thermview.ui.compare.question import Reference
from thermview.ui.compare.room import CompareRoom
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, tool
from thermview.units import ZERO_CELSIUS_K

SUFFIX = ".knowngood.zip"
FILES = f"known-good board (*{SUFFIX} *.zip);;all (*)"


class ShelfKeeper(QObject):
    """Does what is done with the shelf. What is removed goes for good only with the next removal.

    Attributes
    ----------
    removed : Entry or None
        Taken off the shelf just now, and can come back.
    """

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.shelf = Shelf()
        self.removed: Entry | None = None

    def entries(self) -> list[Entry]:
        """Return what stands on the shelf, by model; an index that cannot be read is said."""
        try:
            entries = self.shelf.entries()
        except ThermviewError as error:
            self._desk.say("error", str(error))
            return []
        gone = None if self.removed is None else self.removed.id
        return sorted((e for e in entries if e.id != gone), key=lambda e: (e.model, e.added))

    def reference(self, entry: Entry) -> Reference:
        """Return an entry as something to compare with, its fellows of the same model with it."""
        fellows = [e for e in self.entries() if e.model == entry.model and e.id != entry.id]
        return Reference(
            self.shelf.recording(entry),
            name_of(entry),
            on_s=entry.power_on_s,
            fellows=tuple(
                Reference(self.shelf.recording(e), name_of(e), on_s=e.power_on_s) for e in fellows
            ),
        )

    def keepable(self) -> Path | None:
        """Return the recording that can be kept: the open one, or a live input's last."""
        desk = self._desk
        if desk.opened is not None and desk.opened.path is not None:
            return desk.opened.path
        last = desk.session.last_recording if desk.session is not None else None
        return last.path if last is not None else None

    def keep(self, path: Path, model: str, conditions: dict[str, object]) -> None:
        """Copy a recording onto the shelf; what is not stated is taken from it."""
        stated = {name: value for name, value in conditions.items() if value not in ("", None)}
        self._desk.run_task(
            f"keeping {path.name}",
            lambda _: self.shelf.add(path, model, **stated),
            lambda entry: self._done(f"{name_of(entry)} is on the shelf of known-good boards"),
        )

    def change(self, entry: Entry, model: str, conditions: dict[str, object]) -> None:
        """Say something else of an entry; its recording stays."""
        changed = replace(entry, model=model, **conditions)  # type: ignore[arg-type]
        if self._desk.attempt(lambda: self.shelf.change(changed)):
            self._done(f"{name_of(changed)} is changed")

    def take_in(self, path: Path) -> None:
        """Put an entry that came as a file onto the shelf."""
        self._desk.run_task(
            f"taking in {path.name}",
            lambda _: self.shelf.take_in(path),
            lambda entry: self._done(f"{name_of(entry)} is on the shelf of known-good boards"),
        )

    def export(self, entry: Entry, path: Path) -> None:
        """Write an entry as one file."""
        self._desk.run_task(
            f"exporting {name_of(entry)}",
            lambda _: self.shelf.export(entry, path, force=True),  # the dialog has asked
            lambda _: self._done(f"exported: {path}"),
        )

    def remove(self, entry: Entry) -> None:
        """Take an entry off the shelf; the one removed before it goes for good."""
        self.clear()
        self.removed = entry
        self._done(f"{name_of(entry)} is removed")

    def put_back(self) -> None:
        """Undo the removal."""
        if (entry := self.removed) is not None:
            self.removed = None
            self._done(f"{name_of(entry)} is back on the shelf")

    def clear(self) -> None:
        """Let what is removed go for good."""
        if (entry := self.removed) is not None:
            self.removed = None
            self._desk.attempt(lambda: self.shelf.remove(entry))

    def _done(self, words: str) -> None:
        self._desk.say("info", words)
        self.changed.emit()


class ShelfSection(QFrame):
    """The list of known-good boards, with what can be done with each."""

    def __init__(self, desk: Desk, room: CompareRoom, keeper: ShelfKeeper) -> None:
        super().__init__()
        named(self, "choose_shelf", "panel")
        self._desk, self._room, self._keeper = desk, room, keeper
        self.keep = button(
            "keep this recording …",
            "shelfKeep",
            self.ask_keep,
            symbol="bookmark-plus-outline",
            tip="put this board's recording onto the shelf: it works, others are compared with it",
        )
        self.bring = button(
            "import …", "shelfImport", self.ask_import, tip="a known-good board that came as a file"
        )
        self.undo = button("put it back", "shelfUndo", keeper.put_back, symbol="undo")
        layout = column(self, margin=tokens().space)
        layout.addWidget(label("known-good boards", "choose_shelf_heading", "heading"))
        self._list = column()
        layout.addLayout(self._list)
        self.removed = label("", "shelfRemoved", "dim", wrap=True)
        layout.addLayout(row(self.removed, self.undo, None))
        layout.addLayout(row(self.keep, self.bring, None))
        layout.addStretch(1)
        keeper.changed.connect(self.refresh)
        desk.session_changed.connect(self.refresh)
        desk.state_changed.connect(self._offer_keeping)
        self.refresh()

    def refresh(self) -> None:
        """List what stands on the shelf."""
        while item := self._list.takeAt(0):
            if (old := item.widget()) is not None:
                old.hide()
                old.deleteLater()
        entries = self._keeper.entries()
        if not entries:
            self._list.addWidget(label("None yet.", "shelfEmpty", "dim"))
        model = ""
        for entry in entries:
            if entry.model != model:
                model = entry.model
                alike = sum(e.model == model for e in entries)
                words = model if alike == 1 else f"{model} · {alike} boards"
                self._list.addWidget(label(words, f"shelfModel_{model}"))
            self._list.addWidget(self._row(entry))
        gone = self._keeper.removed
        self.removed.setVisible(gone is not None)
        self.undo.setVisible(gone is not None)
        self.removed.setText(f"{name_of(gone)} was removed." if gone is not None else "")
        self._offer_keeping()

    def _offer_keeping(self) -> None:
        self.keep.setVisible(self._keeper.keepable() is not None)

    def _row(self, entry: Entry) -> QWidget:
        made = QWidget()
        choose = button(
            entry.title or entry.id,
            f"shelf_{entry.id}",
            partial(self._choose, entry),
            tip="compare with this board",
        )
        more = tool("dots-horizontal", f"shelfMore_{entry.id}", tip="change, export or remove")
        more.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        menu = QMenu(more)
        menu.addAction("change its conditions …", partial(self.ask_change, entry))
        menu.addAction("export as one file …", partial(self.ask_export, entry))
        menu.addAction("remove", partial(self._keeper.remove, entry))
        more.setMenu(menu)
        layout = column(made)
        layout.setSpacing(2)
        first = row(choose, more)
        first.setStretch(0, 1)
        layout.addLayout(first)
        layout.addWidget(label(details_of(entry), f"shelfDetails_{entry.id}", "small", wrap=True))
        return made

    def _choose(self, entry: Entry) -> None:
        self._room.choose(self._keeper.reference(entry))

    # ---- asking ----------------------------------------------------------------------------

    def ask_keep(self) -> None:
        """Ask what this board is, then keep its recording."""
        path = self._keeper.keepable()
        if path is None:
            self._desk.say("info", "open or make a recording of the good board first")
            return
        session = self._desk.session
        known = Entry("", "", title=path.stem)
        if session is not None:
            air_k, fed = session.scene.air_k, supplied(session.supply)
            known = replace(
                known,
                title=session.info.title or path.stem,
                ambient_c=None if air_k is None else round(air_k - ZERO_CELSIUS_K, 1),
                supply_v=fed[0],
                supply_a=fed[1],
            )
        self._ask(
            known,
            ("keep as known good", KEEP_WORDS),
            lambda *stated: self._keeper.keep(path, *stated),
        )

    def ask_change(self, entry: Entry) -> None:
        """Ask what else is to be said of an entry."""
        words = ("change a known-good board", CHANGE_WORDS)
        self._ask(entry, words, partial(self._keeper.change, entry))

    def _ask(
        self,
        known: Entry,
        words: tuple[str, str],
        done: Callable[[str, dict[str, object]], object],
    ) -> None:
        models = sorted({e.model for e in self._keeper.entries()})
        dialog = ConditionsDialog(models, known, *words, self)
        dialog.accepted.connect(lambda: done(*dialog.stated()))
        dialog.finished.connect(dialog.deleteLater)
        dialog.open()

    def ask_import(self) -> None:
        """Choose an entry's file and put it onto the shelf."""
        name, _ = QFileDialog.getOpenFileName(self, "import a known-good board", "", FILES)
        if name:
            self._keeper.take_in(Path(name))

    def ask_export(self, entry: Entry) -> None:
        """Choose where an entry's file goes."""
        path = ask_path(self, "export a known-good board", f"{entry.id}{SUFFIX}", FILES)
        if path is not None:
            self._keeper.export(entry, path)


def name_of(entry: Entry) -> str:
    """Return what an entry is called on screen."""
    return f"{entry.model}, {entry.title}" if entry.title else entry.model


def details_of(entry: Entry) -> str:
    """Return an entry's conditions in one line."""
    words = [entry.start_time[:10], f"{entry.seconds:.0f} s" if entry.seconds else ""]
    words += ["" if v is None else f"{v:.4g} {unit}" for v, unit in _conditions(entry)]
    words += [entry.note, entry.camera]
    return " · ".join(word for word in words if word)


def _conditions(entry: Entry) -> list[tuple[float | None, str]]:
    return [(entry.ambient_c, "°C"), (entry.supply_v, "V"), (entry.supply_a, "A")]


def supplied(log: SupplyLog | None) -> tuple[float | None, float | None]:
    """Return the volts and amperes that fed a board, by the log while it was on."""
    if log is None or not len(log) or not np.nanmax(log.voltage_v) > 0:
        return None, None
    on = is_on(log)
    volt, ampere = (float(np.nanmedian(v[on])) for v in (log.voltage_v, log.current_a))
    return round(volt, 3), round(ampere, 4)
