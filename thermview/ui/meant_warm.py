"""What is meant to be warm: said by a key, taken back, remembered for the board's model."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thermview.session.boards import Board
from thermview.session.meant_warm import Warm, WarmPlace, covers, recall, remember

if TYPE_CHECKING:
    from thermview.ui.desk import Desk
    from thermview.ui.finding import Findings


class MeantWarm:
    """The user's words on it, for what is open.

    Attributes
    ----------
    said : frozenset of Warm
    """

    def __init__(self, desk: Desk, findings: Findings) -> None:
        self._desk, self._findings = desk, findings
        self.said: frozenset[Warm] = frozenset()
        self._before: list[frozenset[Warm]] = []
        self._after: list[frozenset[Warm]] = []

    def begin(self, board: Board | None) -> None:
        """Take up what was said of a board of this model before."""
        self.said = recall(board) if board is not None else frozenset()
        self.forget_undo()

    @property
    def can_undo(self) -> bool:
        """Tell whether the last thing done was to say what is meant to be warm."""
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        """Tell whether the last thing taken back was a word on what is meant to be warm."""
        return bool(self._after)

    def toggle(self, what: Warm = "") -> None:
        """Say that a part or place (the chosen finding, else the selected region's) is meant to be
        warm, or not.

        Remembered for every board with the same placement list.
        """
        what = what or self._findings.pointed_at()
        if not what:
            self._desk.say("info", "choose a finding first, or select a region on what is warm")
            return
        self._before.append(self.said)
        self._after.clear()
        self._set(self._toggled(what))
        self._say_warm(what)

    def _toggled(self, what: Warm) -> frozenset[Warm]:
        place = self._findings.place_of(what)
        here = {what}
        if place is not None:  # said of a place close by: that word is taken back
            here |= {w for w in self.said if isinstance(w, WarmPlace) and w.is_at(place)}
        said = here & self.said
        return self.said - said if said else self.said | {what}

    def _say_warm(self, what: Warm) -> None:
        place = self._findings.place_of(what)
        warm = covers(self.said, place) if place is not None else what in self.said
        name = what if isinstance(what, str) else f"the place at {what}"
        words = "is meant to be warm" if warm else "is not meant to be warm"
        kept = isinstance(what, str) or what.on_board
        held = "remembered for this board model" if kept else "as long as this is open"
        self._desk.say("info", f"{name} {words}; {held}")

    def undo(self) -> None:
        """Take the last word on what is meant to be warm back."""
        if self._before:
            self._after.append(self.said)
            self._set(self._before.pop())
            self._desk.say("info", "taken back")

    def redo(self) -> None:
        """Say it again."""
        if self._after:
            self._before.append(self.said)
            self._set(self._after.pop())
            self._desk.say("info", "done again")

    def forget_undo(self) -> None:
        """Something else was done since: undo is that one's."""
        self._before.clear()
        self._after.clear()

    def _set(self, warm: frozenset[Warm]) -> None:
        board, session = self._desk.board, self._desk.session
        self.said = warm
        if board is not None:
            title = session.info.title if session is not None else ""
            self._desk.attempt(lambda: remember(board, warm, title))
        self._findings.arrange()
