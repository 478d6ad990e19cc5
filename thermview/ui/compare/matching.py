"""Clicking the same places in two pictures, so that they can be laid over each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtWidgets import QWidget

from thermview.analysis.pair.places import Match
from thermview.ui.compare.room import FEWEST_POINTS, CompareRoom
from thermview.ui.compare.twin import Link, LinkedPicture, Sign
from thermview.ui.desk import Desk
from thermview.ui.viewscale import View, ViewScale
from thermview.ui.widgets import button, column, label, named, row

Point = tuple[float, float]
HINT = (
    "Click the same {n} places in both pictures, far apart: the board's corners, holes, parts. "
    "The wheel zooms in."
)


class MatchingView(QWidget):
    """Two pictures to click in; a pair counts once it was clicked in both."""

    def __init__(self, desk: Desk, room: CompareRoom) -> None:
        super().__init__()
        named(self, "matchingView")
        self._desk, self._room = desk, room
        self.good = LinkedPicture("matchGood", "known good", Link(self))
        self.bad = LinkedPicture("matchThis", "this board", Link(self))
        self.points: tuple[list[Point], list[Point]] = ([], [])
        self.hint = label("", "matchingHint", wrap=True)
        self.back = button("take back", "matchingBack", self.take_back, symbol="undo")
        self.unmoved = button(
            "the camera did not move",
            "matchingNone",
            self._unmoved,
            tip="both recordings were made with camera and board in the same places",
        )
        self.go = button("compare", "matchingGo", self._go, role="primary")
        layout = column(self)
        head = row(self.hint, self.back, self.unmoved, self.go)
        head.setStretch(0, 1)
        layout.addLayout(head)
        pictures = row(self.good, self.bad)
        layout.addLayout(pictures, 1)
        self.good.clicked.connect(lambda x, y: self.click(0, x, y))
        self.bad.clicked.connect(lambda x, y: self.click(1, x, y))
        room.changed.connect(self.refresh)
        desk.frame_shown.connect(lambda _: self._show_bad())

    def refresh(self) -> None:
        """Show the two pictures and what was clicked so far."""
        room, display = self._room, self._desk.display
        self.points = ([m[0] for m in room.matching], [m[1] for m in room.matching])
        if room.good_picture is not None and room.reference is not None:
            self.good.title = f"known good: {room.reference.short_name}"
            self.good.show_levels(*_levels(room.good_picture, display.temperature_text))
        self._show_bad(always=True)
        self._tell()

    def _show_bad(self, *, always: bool = False) -> None:
        shown, display = self._desk.shown, self._desk.display
        if shown is not None and (always or self.isVisible()):
            self.bad.turned = (display.quarter_turns, display.mirrored)
            picture = shown.kelvin().astype(np.float32)
            self.bad.show_levels(*_levels(picture, display.temperature_text))

    def click(self, side: int, x: float, y: float) -> None:
        """Take a point of the good (0) or this board's (1) picture."""
        mine, other = self.points[side], self.points[1 - side]
        if len(mine) > len(other):  # clicked again before its fellow: the place is corrected
            mine[-1] = (x, y)
        else:
            mine.append((x, y))
        self._tell()

    def take_back(self) -> None:
        """Forget the last point, or pair of points."""
        most = max(len(side) for side in self.points)
        for side in self.points:
            del side[max(most - 1, 0) :]
        self._tell()

    @property
    def pairs(self) -> list[Match]:
        """Return the points clicked in both."""
        return list(zip(*self.points, strict=False))

    def _tell(self) -> None:
        done = len(self.pairs)
        for picture, points in zip((self.good, self.bad), self.points, strict=True):
            picture.show_signs(
                tuple(Sign(x, y, f"{n}", "", True) for n, (x, y) in _counted(points))
            )
        counts = [len(side) for side in self.points]
        words = HINT.format(n="four" if done < FEWEST_POINTS else "four or more")
        if counts[0] != counts[1]:
            where = "this board's picture" if counts[0] > counts[1] else "the known-good picture"
            words = f"Now the same place, number {max(counts)}, in {where}."
        self.hint.setText(words)
        self.go.setText(
            f"compare ({done} of {FEWEST_POINTS})" if done < FEWEST_POINTS else "compare"
        )
        self.go.setEnabled(done >= FEWEST_POINTS)
        self.back.setEnabled(max(counts) > 0)
        sizes = [p.levels_k.shape for p in (self.good, self.bad) if p.levels_k is not None]
        self.unmoved.setVisible(len(sizes) == 2 and sizes[0] == sizes[1])

    def _go(self) -> None:
        self._room.set_matching(self.pairs)
        self._room.compare()

    def _unmoved(self) -> None:
        self._room.set_matching([])
        self._room.compare()


def _counted(points: list[Point]) -> list[tuple[int, Point]]:
    return list(enumerate(points, 1))


def _levels(
    picture_k: NDArray[np.float32], words: object
) -> tuple[NDArray[np.float32], ViewScale, tuple[str, str]]:
    assert callable(words)
    low_k, high_k = (float(v) for v in np.nanpercentile(picture_k, (0.5, 99.8)))
    high_k = max(high_k, low_k + 0.2)
    scale = ViewScale(View.TEMPERATURE, "inferno", low_k, high_k)
    return picture_k, scale, (words(low_k), words(high_k))
