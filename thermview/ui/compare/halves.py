"""One half of a picture against the other: pairs of regions and what is between them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
)

from thermview.radiometry import Reading as Worth
from thermview.regions import Difference, Region, RegionSet
from thermview.ui.desk import Desk
from thermview.ui.display import DASH
from thermview.ui.readings import read_region
from thermview.ui.region_edits import RegionEdits
from thermview.ui.region_worth import difference_worth, worth_of
from thermview.ui.theme import tokens
from thermview.ui.widgets import Refresher, button, column, label, named, plain_rows, row, tool
from thermview.ui.worth_words import NOT_READABLE, is_refused, worth_text

REFRESH_MS = 250
LIKELY = 3.0  # differences within so many standard uncertainties are called alike
HEADS = ("pair", "now", "since power-on")
TIPS = (
    "the first region less the second",
    "difference of the two temperatures at the shown moment, with its standard uncertainty",
    "difference of the two rises since the zero, the time before the power came; what the two "
    "sides had at the start, and surfaces that shine alike, drop out; ▲ the first is hotter, "
    "▼ it is colder, beyond 3 standard uncertainties",
)
_LEFT, _RIGHT = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
_SIDES = (_LEFT, _RIGHT, _RIGHT)
HINT = (
    "Draw a region on one channel, or select some, and lay the same onto the other: mirrored, or "
    "some pixels aside."
)


class HalvesPanel(QFrame):
    """Makes pairs of regions, and lists what is between them."""

    def __init__(self, desk: Desk, edits: RegionEdits, back: Callable[[], object]) -> None:
        super().__init__()
        named(self, "halvesPanel", "panel")
        self._desk, self._edits = desk, edits
        self.hint = label(HINT, "halvesHint", "dim", wrap=True)
        self.table = self._table()
        layout = column(self, margin=tokens().space)
        layout.addLayout(
            row(
                tool("arrow-left", "halvesBack", back, tip="compare with another board instead"),
                label("left against right", "halvesHeading", "heading"),
                None,
            )
        )
        head = row(
            button(
                "mirror",
                "halvesMirror",
                self.mirror,
                symbol="reflect-horizontal",
                tip="copy the selected regions (else all) across the picture's middle line",
            ),
            button(
                "copy aside …",
                "halvesCopy",
                self.copy_aside,
                symbol="content-duplicate",
                tip="copy the selected regions (else all) onto an equal channel",
            ),
            button(
                "pair two",
                "halvesPair",
                edits.difference,
                symbol="link-variant",
                tip="compare the two selected regions, drawn by hand",
            ),
            None,
        )
        layout.addLayout(head)
        layout.addWidget(self.hint)
        layout.addWidget(self.table, 1)
        layout.addStretch(0)
        self._refresher = Refresher(self, self.refresh, REFRESH_MS)
        for signal in (desk.frame_shown, desk.curves_changed, desk.curves_grew, desk.scale_changed):
            signal.connect(self._refresher.mark)
        desk.regions_changed.connect(self.refresh)
        desk.session_changed.connect(self.refresh)

    def _table(self) -> QTableWidget:
        table = named(QTableWidget(0, len(HEADS)), "halvesTable")
        for place, (words, tip) in enumerate(zip(HEADS, TIPS, strict=True)):
            head_item = QTableWidgetItem(words)
            head_item.setToolTip(tip)
            table.setHorizontalHeaderItem(place, head_item)
        plain_rows(table, 26)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setMinimumHeight(84)
        head = table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        head.setHighlightSections(False)
        table.cellClicked.connect(lambda place, _: self._select(place))
        return table

    # ---- pairs -----------------------------------------------------------------------------

    def mirror(self) -> None:
        """Copy regions across the picture's middle line, as it is seen, and pair them."""
        session = self._desk.session
        if session is None:
            return
        document, turned = self._desk.document, self._desk.display.quarter_turns % 2 == 1
        width, height = session.info.width_px, session.info.height_px
        if turned:
            self._copied(lambda ids: document.copy_mirrored_y(ids, height / 2))
        else:
            self._copied(lambda ids: document.copy_mirrored_x(ids, width / 2))

    def copy_aside(self) -> None:
        """Copy regions some pixels aside and pair them."""
        if self._meant() and (by := self._edits.ask_shift()) is not None:
            self._copied(lambda ids: self._desk.document.copy_shifted(ids, *by))

    def _meant(self) -> list[Region]:
        """Return the selected regions, else all that are in no pair yet."""
        current = self._desk.document.current
        paired = {key for d in current.differences for key in (d.minuend_id, d.subtrahend_id)}
        meant = self._desk.selected_regions() or [r for r in current.regions if r.id not in paired]
        if not meant:
            self._desk.say("info", "draw a region on one of the two channels first")
        return meant

    def _copied(self, copy: Callable[[list[str]], list[Region]]) -> None:
        meant = self._meant()
        if not meant:
            return
        document = self._desk.document
        document.begin_gesture("pair the channels")
        copies = copy([region.id for region in meant])
        for region, other in zip(meant, copies, strict=True):
            document.add_difference(region.id, other.id)
        document.end_gesture()
        self._desk.select(region.id for region in copies)

    # ---- the table -------------------------------------------------------------------------

    def refresh(self) -> None:
        """Take the numbers anew."""
        self._refresher.clear()
        current = self._desk.document.current
        self.hint.setVisible(not current.differences)
        self.table.setVisible(bool(current.differences))
        self.table.setRowCount(len(current.differences))
        for place, item in enumerate(current.differences):
            for at, words in enumerate(self._row(current, item)):
                cell = self.table.item(place, at)
                if cell is None:
                    cell = QTableWidgetItem()
                    self.table.setItem(place, at, cell)
                    cell.setTextAlignment(_SIDES[at] | Qt.AlignmentFlag.AlignVCenter)
                cell.setText(words)
                cell.setToolTip(TIPS[at])

    def _row(self, current: RegionSet, item: Difference) -> tuple[str, str, str]:
        desk = self._desk
        if desk.session is None or desk.shown is None:
            return item.name, DASH, DASH
        now = difference_worth(desk, item, desk.shown_number)
        rises = [self._rise(current.by_id(key)) for key in (item.minuend_id, item.subtrahend_id)]
        now_text = worth_text(now, desk.display, rise=True)
        return item.name, now_text, _between(rises[0], rises[1], desk)

    def _rise(self, region: Region) -> Worth:
        assert self._desk.session is not None
        plain = read_region(self._desk.session.curves, region, self._desk.shown_number)
        return worth_of(self._desk, region, plain).rise

    def _select(self, place: int) -> None:
        item = self._desk.document.current.differences[place]
        self._desk.select([item.minuend_id, item.subtrahend_id], fly=True)


def _between(first: Worth, second: Worth, desk: Desk) -> str:
    """Return the difference of two rises with its uncertainty, signed where it is sure."""
    for one in (first, second):
        if not one.readable:
            return NOT_READABLE if is_refused(one) else DASH
    apart_k = first.value_k - second.value_k
    u_k = math.hypot(first.u_k, second.u_k)
    words = worth_text(replace(first, value_k=apart_k, u_k=u_k), desk.display, rise=True)
    if abs(apart_k) <= LIKELY * u_k:
        return words
    return f"{'▲' if apart_k > 0 else '▼'} {words}"
