"""The findings: for now the plainest one, where the picture has risen most since the zero."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QTimer
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QFrame, QListWidget, QListWidgetItem

from thermview.analysis.largest_rise import Rise, largest_place, rises_of_outlines
from thermview.board import part_outline_px
from thermview.regions import Line, Spot
from thermview.session.boards import Board
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import column, label, named, row

MOST = 8
REFRESH_MS = 500
SURE = 5.0  # a rise within so many times the picture's noise is not listed
NOT_PROOF = "Not yet proof of a source: heat spreads, and shiny metal mirrors warm things."


def noise_of(rise_k: NDArray[np.float32]) -> float:
    """Return the noise of a picture, K: robust, from the differences of neighbours in a row.

    The differences of neighbours have √2 times the noise; 1.4826 makes a median absolute
    deviation a standard deviation (normal distribution).
    """
    steps = np.abs(np.diff(rise_k[::3], axis=1))
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) * 1.4826 / np.sqrt(2.0) if steps.size else float("nan")


def board_outlines(board: Board) -> dict[str, NDArray[np.float64]]:
    """Return the outlines of the board's parts in the picture, px, by designator."""
    return {p.designator: part_outline_px(p, board.view) for p in board.parts if p.side == "top"}


class FindingsPanel(QFrame):
    """Parts (or regions and the place) in the order of their rise; a click flies there."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        named(self, "findingsPanel", "panel")
        self._desk = desk
        self._outlines: dict[str, NDArray[np.float64]] = {}
        self.rises: list[Rise] = []
        self.heading = label("largest rise since the zero", "findingsHeading", "heading")
        self.heading.setToolTip("mean rise of each part's pixels at the shown moment")
        self.when = label("", "findingsWhen", "small")
        self.list = named(QListWidget(), "findingsList")
        self._fonts = [QFont(self.font()), QFont(self.font())]
        self._fonts[0].setPixelSize(tokens().large)
        self._fonts[1].setPixelSize(tokens().body)
        self.hint = label("", "findingsHint", "dim", wrap=True)
        self.note = label(NOT_PROOF, "findingsNote", "small", wrap=True)
        layout = column(self, margin=tokens().space)
        layout.addLayout(row(self.heading, None, self.when))
        layout.addWidget(self.hint)
        layout.addWidget(self.list, 1)
        layout.addWidget(self.note)
        self._stale = True
        self._timer = QTimer(self)
        self._timer.setInterval(REFRESH_MS)
        self._timer.timeout.connect(self._refresh_stale)
        self._timer.start()
        desk.session_changed.connect(self._another)
        for signal in (desk.frame_shown, desk.scale_changed, desk.regions_changed):
            signal.connect(self._mark_stale)
        self.list.itemClicked.connect(lambda item: self._go(self.list.row(item)))
        self._another()

    def _another(self) -> None:
        board = self._desk.board
        self._outlines = board_outlines(board) if board is not None else {}
        self.refresh()

    def _mark_stale(self, *_: object) -> None:
        self._stale = True

    def _refresh_stale(self) -> None:
        if self._stale and self.isVisible():
            self.refresh()

    def refresh(self) -> None:
        """Rank what is seen at the shown moment."""
        self._stale = False
        desk = self._desk
        frame = desk.shown
        if frame is None or desk.display.baseline_k is None:
            self._show([], "Press zero now while nothing heats; rises count from there.")
            self.when.setText("")
            return
        self.when.setText(f"at {frame.time_s:.1f} s")
        if frame.held:
            return  # the shutter's picture says nothing new
        rise_k = desk.display.rise_k(frame)
        least = SURE * noise_of(rise_k)
        self._show(
            [r for r in self._ranked(rise_k) if r.rise_k > least][:MOST],
            f"Nothing has risen above the noise ({desk.display.difference_text(least)}).",
        )

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

    def _show(self, rises: list[Rise], otherwise: str) -> None:
        display = self._desk.display
        self.rises = rises
        self.hint.setText(otherwise)
        self.hint.setVisible(not rises)
        self.note.setVisible(bool(rises))
        while self.list.count() > len(rises):
            self.list.takeItem(self.list.count() - 1)
        for place, rise in enumerate(rises):
            if place >= self.list.count():
                self.list.addItem(QListWidgetItem())
            item = self.list.item(place)
            item.setText(f"{place + 1}   {rise.name}   {display.difference_text(rise.rise_k)}")
            item.setFont(self._fonts[min(place, 1)])
            item.setToolTip(self._tip(rise))

    def _tip(self, rise: Rise) -> str:
        board = self._desk.board
        parts = board.parts if board is not None else ()
        part = next((p for p in parts if p.designator == rise.name), None)
        what = f"{part.value} {part.package}".strip() if part is not None else ""
        return f"{rise.name} {what}\nhottest pixel: column {rise.x_px:.0f}, row {rise.y_px:.0f}"

    def _go(self, place: int) -> None:
        rise = self.rises[place]
        self._desk.flown_to.emit(rise.x_px, rise.y_px)
        regions = self._desk.document.current.regions
        self._desk.select([r.id for r in regions if r.name == rise.name])


def _corners(bounds: tuple[float, float, float, float]) -> NDArray[np.float64]:
    x0, y0, x1, y1 = bounds
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
