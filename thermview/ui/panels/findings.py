"""The findings: which parts heat, how much, how sure; else where it has risen most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import QFrame, QListWidget, QListWidgetItem, QMenu, QSizePolicy

from thermview.analysis.heat.largest_rise import Rise, largest_place, rises_of_outlines
from thermview.analysis.heat.locate import Located
from thermview.analysis.heat.nature import Nature
from thermview.board import outlines_seen
from thermview.regions import Line, Spot
from thermview.session.finding import Lack, power_cycle
from thermview.session.meant_warm import WarmPlace
from thermview.ui.desk import Desk
from thermview.ui.layers import Layer
from thermview.ui.panels.finding_rows import (
    ROW_ROLE,
    FindingDelegate,
    Row,
    row_of_place,
    row_of_suspect,
)
from thermview.ui.theme import tokens
from thermview.ui.widgets import Refresher, column, label, named, row, tool

MOST = 8
REFRESH_MS = 500
LEAST_LIST_PX = 72  # a finding with its evidence
LEAST_RISES_PX = 30  # the largest; above and below it stand more words than beside findings
SURE = 5.0  # a rise within so many times the picture's noise is not listed
NOT_PROOF = (
    "Largest rise only, not yet proof of a source: heat spreads, and shiny metal mirrors warm "
    "things."
)
ZERO_FIRST = "Press zero now while nothing heats; rises count from there."
NO_POWER = (
    "No power seen yet. Hold still, switch on and press P if no supply is read: parts are named "
    "some seconds later."
)
JUST_ON = "The power has just come on: parts are named some seconds later."
RUNNING = (
    "The board was running when this began: there is nothing to compare with. Switch it off for "
    "ten seconds, then on."
)
NOTHING = "Nothing in view warms beyond noise, drift and reflections."
NOT_SHOWN = (
    "None of these is shown to be heat from the power: drift, a reflection or a warmed spot rises "
    "as well."
)
MAYBE_RUNNING = " If the board was running from the start, switch it off for ten seconds, then on."
ONLY_EXPECTED = "Only what is meant to be warm heats."
LIMIT_TIP = (
    "what a pulse test shows: three times its noise, for a part as large as an 0603 that follows "
    "the board at once, on a board with some copper; the limit falls with the root of the time"
)
ON_PICTURE = "show on the picture where the heat comes from"
NO_PARTS = "Without a placement list and matching points no part can be named."
ORIGIN_WORDS = {
    "given": "your mark",
    "marked": "your mark",
    "supply log": "the supply",
    "frames": "the pictures",
}


def noise_of(rise_k: NDArray[np.float32]) -> float:
    """Return the noise of a picture, K: robust, from the differences of neighbours in a row.

    The differences of neighbours have √2 times the noise; 1.4826 makes a median absolute
    deviation a standard deviation (normal distribution).
    """
    steps = np.abs(np.diff(rise_k[::3], axis=1))
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) * 1.4826 / np.sqrt(2.0) if steps.size else float("nan")


class FindingsPanel(QFrame):
    """What heats, ranked, with watts and evidence; until then the largest rises. A click flies."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        named(self, "findingsPanel", "panel")
        self._desk = desk
        self._outlines: dict[str, NDArray[np.float64]] = {}
        self.rises: list[Rise] = []
        self.rows: list[Row] = []
        self.heading = label("findings", "findingsHeading", "heading")
        self.when = label("", "findingsWhen", "small")
        self.when.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.when.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.cancel = tool("close", "findingsCancel", desk.findings.cancel, tip="stop looking")
        self.again = tool("refresh", "findingsAgain", desk.findings.again, tip="look again")
        self.on_picture = tool("fire", "findingsLayer", self._toggle_layer, tip=ON_PICTURE)
        self.on_picture.setCheckable(True)
        self.list = named(QListWidget(), "findingsList")
        self.list.setItemDelegate(FindingDelegate(self.list))
        self.list.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.list.setWordWrap(True)
        self.list.setMouseTracking(True)
        self._fonts = [QFont(self.font()), QFont(self.font())]
        self._fonts[0].setPixelSize(tokens().large)
        self._fonts[1].setPixelSize(tokens().body)
        self.hint = label("", "findingsHint", wrap=True)
        self.note = label("", "findingsNote", "small", wrap=True)
        layout = column(self, margin=tokens().space)
        self._head = row(self.heading, self.when, self.cancel, self.again, self.on_picture)
        self._head.setStretch(1, 1)  # what comes and goes there must not push the picture about
        layout.addLayout(self._head)
        layout.addWidget(self.hint)
        layout.addWidget(self.list, 1)
        layout.addWidget(self.note)
        self._refresher = Refresher(self, self._refresh_rises, REFRESH_MS)
        desk.session_changed.connect(self._another)
        for signal in (desk.frame_shown, desk.scale_changed, desk.regions_changed):
            signal.connect(self._refresher.mark)
        desk.findings.changed.connect(self.refresh)
        desk.findings.progressed.connect(self._say_when)
        desk.findings.pulse.changed.connect(self.refresh)
        desk.findings.chosen_changed.connect(self._show_chosen)
        desk.layers.changed.connect(self._show_layer)
        self.list.itemClicked.connect(lambda item: self._go(self.list.row(item)))
        self.list.itemActivated.connect(lambda item: self._go(self.list.row(item)))
        self.list.setContextMenuPolicy(self.contextMenuPolicy().CustomContextMenu)
        self.list.customContextMenuRequested.connect(self._menu)
        self._another()

    def _another(self) -> None:
        board = self._desk.board
        self._outlines = outlines_seen(board.parts, board.view) if board is not None else {}
        self.refresh()

    def _refresh_rises(self) -> None:
        if not self._answered:  # an answer changes by its own signal, not with every picture
            self.refresh()

    @property
    def _answered(self) -> Located | None:
        """Return the answer, where there is one that says something of parts."""
        located = self._desk.findings.located
        if located is None or (self._desk.board is None and not located.elsewhere):
            return None
        return located

    def refresh(self) -> None:
        """Show what is known now."""
        self._refresher.clear()
        located = self._answered
        if located is None:
            self._show_rises()
        else:
            self._show_answer(located)
        self._say_when()
        self._show_layer()

    # ---- the answer ----------------------------------------------------------------------

    def _show_answer(self, located: Located) -> None:
        board = self._desk.board
        known = {p.designator: p for p in board.parts} if board is not None else {}
        rows = []
        for suspect in located.suspects:
            part = known.get(suspect.part)
            what = f"{part.value} {part.package}".strip() if part is not None else ""
            rows.append(row_of_suspect(suspect, what))
        places = [row_of_place(place) for place in located.elsewhere]
        everything = [*rows, *places]
        unexplained = [r for r in everything if not r.expected]
        unexplained.sort(key=lambda found: found.nature is not Nature.HEATING)  # heat before doubt
        ordered = [*unexplained, *(r for r in everything if r.expected)]
        self._list_rows([replace(r, rank=n) for n, r in enumerate(ordered, start=1)])
        heats = any(r.nature is Nature.HEATING for r in unexplained)
        told = (self._verdict(located, heats=heats), self._desk.findings.pulse.words())
        self.hint.setText(" ".join(words for words in told if words))
        self.hint.setToolTip(LIMIT_TIP if told[1] else "")
        self.hint.setVisible(bool(self.hint.text()))
        self._say_note([note[:1].upper() + note[1:] for note in located.notes])
        self.rises = []

    def _verdict(self, located: Located, *, heats: bool) -> str:
        if not located.heated:
            return NOTHING
        return "" if heats else ONLY_EXPECTED

    def _say_note(self, notes: list[str]) -> None:
        """Say what to know of the answer: the last in the panel, all in the tips."""
        self.note.setText(notes[-1] if notes else "")
        for widget in (self.note, self.when):
            widget.setToolTip("\n".join(notes))
        self._make_room()

    def _make_room(self) -> None:
        """Leave the note out where the list would be covered: a label's lines know no least."""
        width = self.list.width()
        others = [self.list.minimumHeight(), self._head.sizeHint().height()]
        others += [x.heightForWidth(width) for x in (self.hint, self.note) if x.text()]
        gaps = (len(others) + 1) * tokens().space
        self.note.setVisible(bool(self.note.text()) and sum(others) + gaps <= self.height())

    def _list_rows(self, rows: list[Row]) -> None:
        self.heading.setText("findings")
        self.heading.setToolTip(
            "dissipated power by the heat equation, timed against the supply; not the hottest pixel"
        )
        self.list.setMinimumHeight(LEAST_LIST_PX)
        if rows == self.rows:
            return
        self.rows = rows
        self.list.clear()
        for found in rows:
            item = QListWidgetItem(self.list)
            item.setData(ROW_ROLE, found)
            item.setText(f"{found.rank} {found.name} {found.power} {found.nature_words}")
            item.setToolTip(found.tip)
        self._show_chosen()

    def _show_chosen(self) -> None:
        chosen, place = self._desk.findings.chosen, self._desk.findings.place
        blocked = self.list.blockSignals(True)
        names = [found.part for found in self.rows]
        places = [found.place for found in self.rows]
        if chosen and chosen in names:
            self.list.setCurrentRow(names.index(chosen))
        elif place is not None and place in places:
            self.list.setCurrentRow(places.index(place))
        elif self.rows:
            self.list.setCurrentRow(-1)
        self.list.blockSignals(blocked)
        self.list.scheduleDelayedItemsLayout()  # the chosen one shows all of its evidence

    def _say_when(self) -> None:
        findings = self._desk.findings
        looking = not math.isnan(findings.done)
        self.cancel.setVisible(looking)
        located = self._answered
        self.again.setVisible(not looking and self._desk.session is not None and bool(located))
        frame = self._desk.shown
        if looking and located is None:
            share = f" {100 * findings.done:.0f} %" if findings.done < 0.97 else ""
            words = f"looking …{share}"
        elif located is not None and located.power_on_s is not None and located.power_on_from:
            origin = ORIGIN_WORDS.get(located.power_on_from, located.power_on_from)
            words, known = f"power on at {located.power_on_s:.1f} s", f"by {origin}"
            session = self._desk.session
            if session is not None and session.is_live:  # an answer is seconds behind the picture
                known = f"seen to {self._desk.findings.until_s:.0f} s"
            words = f"{words}, {known}"
        elif located is None and frame is not None:
            words = f"at {frame.time_s:.1f} s"
        else:
            words = ""
        self.when.setText(words)

    def _toggle_layer(self) -> None:
        layers = self._desk.layers
        other = layers.available[0] if layers.shown is Layer.NONE else Layer.NONE
        self._desk.attempt(lambda: layers.show(other))
        self._show_layer()

    def _show_layer(self) -> None:
        self.on_picture.setVisible(bool(self._desk.layers.available))
        self.on_picture.setChecked(self._desk.layers.shown is not Layer.NONE)

    # ---- until there is one --------------------------------------------------------------

    def _show_rises(self) -> None:
        desk = self._desk
        self.rows = []
        self.heading.setText("largest rise since the zero")
        self.heading.setToolTip("mean rise of each part's pixels at the shown moment")
        frame = desk.shown
        if frame is None or desk.display.baseline_k is None:
            self._list_rises([], self._lack_words([]) or ZERO_FIRST)
            return
        if frame.held:
            return  # the shutter's picture says nothing new
        rise_k = desk.display.rise_k(frame)
        least = SURE * noise_of(rise_k)
        rises = [r for r in self._ranked(rise_k) if r.rise_k > least][:MOST]
        none = f"Nothing has risen above the noise ({desk.display.difference_text(least)})."
        self._list_rises(rises, self._lack_words(rises) or ("" if rises else none))

    def _lack_words(self, rises: Sequence[Rise]) -> str:
        findings, session = self._desk.findings, self._desk.session
        if session is None:
            return ""
        if findings.trouble:
            return f"What heats cannot be told: {findings.trouble}."
        if findings.lack is Lack.NO_BASELINE:
            return RUNNING
        if findings.lack is Lack.NOT_ENOUGH and session.is_live:
            on = power_cycle(session.marks, session.supply)
            return NO_POWER if on is None or on.off_s is not None else JUST_ON
        located = findings.located
        nothing = NOT_SHOWN if rises else NOTHING
        looked = "" if located is None or located.heated else nothing
        if words := findings.pulse.words():
            return f"{looked} {words}".strip()
        lacking = findings.lack is None and self._desk.board is None
        return f"{looked} {NO_PARTS if lacking else ''}".strip()

    def _ranked(self, rise_k: NDArray[np.float32]) -> list[Rise]:
        place = largest_place(rise_k, "hottest place")
        if self._outlines:
            ranked = rises_of_outlines(rise_k, self._outlines)
        else:
            areas = [
                (r.name, r.shape)
                for r in self._desk.document.current.regions
                if not isinstance(r.shape, Spot | Line)
            ]
            ranked = rises_of_outlines(rise_k, {n: _corners(s.bounds()) for n, s in areas})
        return ranked if self._outlines or place is None else [place, *ranked]

    def _list_rises(self, rises: list[Rise], hint: str) -> None:
        display = self._desk.display
        self.list.setMinimumHeight(LEAST_RISES_PX)
        self.rises = rises
        self.hint.setText(hint)
        self.hint.setVisible(bool(hint))
        self._say_note([NOT_PROOF] if rises else [])
        while self.list.count() > len(rises):
            self.list.takeItem(self.list.count() - 1)
        for place, rise in enumerate(rises):
            if place >= self.list.count():
                self.list.addItem(QListWidgetItem())
            item = self.list.item(place)
            item.setData(ROW_ROLE, None)
            item.setText(f"{place + 1}   {rise.name}   {display.difference_text(rise.rise_k)}")
            item.setFont(self._fonts[min(place, 1)])
            item.setToolTip(self._tip(rise))

    def _tip(self, rise: Rise) -> str:
        board = self._desk.board
        parts = board.parts if board is not None else ()
        part = next((p for p in parts if p.designator == rise.name), None)
        what = f"{part.value} {part.package}".strip() if part is not None else ""
        return f"{rise.name} {what}\nhottest pixel: column {rise.x_px:.0f}, row {rise.y_px:.0f}"

    # ---- mouse ---------------------------------------------------------------------------

    def _go(self, place: int) -> None:
        if self.rows:
            found = self.rows[place]
            if found.place is not None:
                self._desk.findings.choose_place(found.place)
                return
            self._desk.findings.choose(found.part, fly=False)
            self._desk.flown_to.emit(found.x_px, found.y_px)
            return
        rise = self.rises[place]
        self._desk.flown_to.emit(rise.x_px, rise.y_px)
        regions = self._desk.document.current.regions
        self._desk.select([r.id for r in regions if r.name == rise.name])

    def _menu(self, at: QPoint) -> None:
        item = self.list.itemAt(at)
        found = self.rows[self.list.row(item)] if item is not None and self.rows else None
        if found is None:
            return
        what = found.part if found.place is None else WarmPlace.of(found.place)
        menu = QMenu(self)
        menu.setObjectName("findingMenu")
        words = "not meant to be warm" if found.expected else "meant to be warm"
        menu.addAction(words, lambda: self._desk.findings.meant_warm.toggle(what))
        menu.exec(self.list.viewport().mapToGlobal(at))
        menu.deleteLater()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap the evidence anew."""
        super().resizeEvent(event)
        self._make_room()
        self.list.scheduleDelayedItemsLayout()


def _corners(bounds: tuple[float, float, float, float]) -> NDArray[np.float64]:
    x0, y0, x1, y1 = bounds
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
