"""Clicking the same places in two pictures, so that they can be laid over each other."""

from __future__ import annotations

import numpy as np
from PySide6.QtWidgets import QWidget

from thermview.analysis.pair.places import Match
from thermview.session.matching import ENOUGH, Fit, Grade, Pixel, judge_pairs
from thermview.ui.board.points_page import SIGNS, TONES
from thermview.ui.compare.pane import MatchPane
from thermview.ui.compare.room import CompareRoom
from thermview.ui.desk import Desk
from thermview.ui.widgets import button, column, label, named, row, set_tone, tool

Sides = tuple[tuple[Pixel, ...], tuple[Pixel, ...]]  # in the good picture, in this board's
NONE: Sides = ((), ())
HINT = (
    "Click the same four or more places in both pictures, far apart: corners, holes, parts. "
    "Drag a point to correct it."
)
PICTURES = ("the known-good picture", "this board's picture")


class _Side:
    """Tells the view what a tool does in one of its pictures."""

    def __init__(self, view: MatchingView, side: int) -> None:
        self._view, self._side = view, side
        self._before: Sides | None = None

    def places(self) -> tuple[Pixel, ...]:
        """Return where its points lie."""
        return self._view.points[self._side]

    def place(self, pixel: Pixel) -> None:
        """Take a click."""
        self._view.set_points(self._with((*self.places(), pixel)))

    def drag(self, number: int, pixel: Pixel) -> None:
        """Follow the mouse."""
        self._before = self._before or self._view.points
        mine = self.places()
        self._view.show_points(self._with((*mine[:number], pixel, *mine[number + 1 :])))

    def dropped(self, number: int) -> None:
        """Make the drag one step."""
        before, self._before = self._before, None
        self._view.set_points(self._view.points, before=before)

    def drag_given_up(self, number: int) -> None:
        """Put it back."""
        before, self._before = self._before, None
        if before is not None:
            self._view.show_points(before)

    def _with(self, mine: tuple[Pixel, ...]) -> Sides:
        good, bad = self._view.points
        return (mine, bad) if self._side == 0 else (good, mine)


class MatchingView(QWidget):
    """Two pictures to click in, in any order; the points belong together by their numbers."""

    def __init__(self, desk: Desk, room: CompareRoom) -> None:
        super().__init__()
        named(self, "matchingView")
        self._desk, self._room = desk, room
        self.points = NONE
        self.fit: Fit = judge_pairs((), "")
        self._of: tuple[object, object] = (None, None)  # what the points belong to
        self._undo: list[Sides] = []
        self._redo: list[Sides] = []
        self.good = MatchPane("matchGood", "known good", desk, _Side(self, 0))
        self.bad = MatchPane("matchThis", "this board", desk, _Side(self, 1))
        self.good_title = label("", "matchGoodTitle", "dim")
        self.hint = label("", "matchingHint", wrap=True)
        self.back = tool("undo", "matchingBack", self.undo, tip="take it back  (Ctrl+Z)")
        self.again = tool("redo", "matchingAgain", self.redo, tip="do it again  (Ctrl+Shift+Z)")
        self.anew = tool("eraser", "matchingAnew", self._clear, tip="remove all points")
        self.unmoved = button(
            "the camera did not move",
            "matchingNone",
            self._unmoved,
            tip="both recordings were made with camera and board in the same places",
        )
        self.go = button("compare", "matchingGo", self._go, role="primary")
        layout = column(self)
        head = row(self.hint, self.back, self.again, self.anew, self.unmoved, self.go)
        head.setStretch(0, 1)
        layout.addLayout(head)
        pictures = row()
        for title, pane in (
            (self.good_title, self.good),
            (label("this board", "matchThisTitle", "dim"), self.bad),
        ):
            beneath = column()
            beneath.setSpacing(2)
            beneath.addWidget(title)
            beneath.addWidget(pane, 1)
            pictures.addLayout(beneath, 1)
        layout.addLayout(pictures, 1)
        room.changed.connect(self.refresh)
        desk.frame_shown.connect(lambda _: self._show_bad())

    def refresh(self) -> None:
        """Show the two pictures and what was clicked so far."""
        room = self._room
        if (room.reference, self._desk.session) != self._of:
            self._of = (room.reference, self._desk.session)
            self.points = NONE
            self._undo.clear()
            self._redo.clear()
        if room.good_picture is not None and room.reference is not None:
            self.good_title.setText(f"known good: {room.reference.short_name}")
            self.good.show_picture(room.good_picture)
        self._show_bad(always=True)
        self._tell()

    def _show_bad(self, *, always: bool = False) -> None:
        shown, display = self._desk.shown, self._desk.display
        if shown is not None and (always or self.isVisible()):
            self.bad.orientation = (display.quarter_turns, display.mirrored)
            self.bad.show_picture(shown.kelvin().astype(np.float32))

    # ---- points ----------------------------------------------------------------------------

    @property
    def pairs(self) -> list[Match]:
        """Return the points clicked in both."""
        return list(zip(*self.points, strict=False))

    def show_points(self, points: Sides) -> None:
        """Show points while one is dragged; `set_points` ends it."""
        self.points = points
        self._tell()

    def set_points(self, points: Sides, *, before: Sides | None = None) -> None:
        """Change the points; one step to undo."""
        self._undo.append(self.points if before is None else before)
        self._redo.clear()
        self.show_points(points)

    def undo(self) -> bool:
        """Take the last change back; False while no points are being set here."""
        return self._step(self._undo, self._redo)

    def redo(self) -> bool:
        """Do it again; False while no points are being set here."""
        return self._step(self._redo, self._undo)

    def _step(self, source: list[Sides], other: list[Sides]) -> bool:
        if self.isVisible() and source:
            other.append(self.points)
            self.show_points(source.pop())
        return self.isVisible()

    def _clear(self) -> None:
        self.set_points(NONE)

    # ---- telling ---------------------------------------------------------------------------

    def _tell(self) -> None:
        self.fit = fit = judge_pairs(self.pairs, "the known-good picture")
        few, refused = fit.grade is Grade.FEW, fit.grade is Grade.REFUSED
        self.hint.setText(self._words())
        set_tone(self.hint, TONES[fit.grade] if self._complete else "")
        for pane in (self.good, self.bad):
            pane.show_worst(fit.worst if fit.grade is Grade.POOR else None)
        self.go.setText(f"compare ({len(self.pairs)} of {ENOUGH})" if few else "compare")
        self.go.setEnabled(not few and not refused)
        self.back.setEnabled(bool(self._undo))
        self.again.setEnabled(bool(self._redo))
        self.anew.setEnabled(self.points != NONE)
        sizes = {pane.picture_size() for pane in (self.good, self.bad)}
        self.unmoved.setVisible(len(sizes) == 1 and None not in sizes)

    @property
    def _complete(self) -> bool:
        good, bad = (len(side) for side in self.points)
        return good == bad >= ENOUGH

    def _words(self) -> str:
        good, bad = (len(side) for side in self.points)
        if good != bad:
            where = PICTURES[1 if good > bad else 0]
            first, last = min(good, bad) + 1, max(good, bad)
            if first == last:
                return f"Now the same place, number {last}, in {where}."
            return f"Now the same places, numbers {first} to {last} in this order, in {where}."
        return f"{SIGNS[self.fit.grade]}{self.fit.words}." if self._complete else HINT

    def _go(self) -> None:
        self._room.set_matching(self.pairs)
        self._room.compare()

    def _unmoved(self) -> None:
        self._room.set_matching([])
        self._room.compare()
