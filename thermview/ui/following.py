"""The picture held still under regions and parts while the camera moves; offered when it does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal

from thermview.board import BoardView
from thermview.session.following import moves
from thermview.session.session import Session
from thermview.ui.tasks import Task

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

LOOK_MS = 4000


class Following(QObject):
    """Whether the picture is held still, and whether the camera moves.

    Attributes
    ----------
    moves : bool
        A hand holds the camera, as far as the last look tells.
    """

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.moves = False
        self._looked: Session | None = None
        self._view: BoardView | None = None
        self._placed: int | None = None  # the frame in which the board's points were given
        self._task: Task | None = None
        self._old: list[Task] = []
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self.look)
        desk.board_changed.connect(self._board_changed)

    @property
    def on(self) -> bool:
        """Tell whether the picture is held still."""
        return self._desk.session is not None and self._desk.session.poses is not None

    @property
    def lost(self) -> bool:
        """Tell whether the board is not found in the shown frame."""
        poses = None if self._desk.session is None else self._desk.session.poses
        return poses is not None and poses.lost(self._desk.shown_number)

    def begin(self) -> None:
        """Take over the session that was just opened."""
        self.end()
        self._timer.start()
        session, board = self._desk.session, self._desk.board
        if board is not None and session is not None and not session.is_live:
            self._view, self._placed = board.view, session.footage.first  # as recordings have it

    def end(self) -> None:
        """Forget the session."""
        self._timer.stop()
        self.moves, self._looked, self._view, self._placed = False, None, None, None
        if self._task is not None:
            self._old.append(self._task)
            self._task = None
        self.changed.emit()

    def finish(self) -> None:
        """Wait for the threads at the end of the program."""
        self.end()
        for task in self._old:
            task.break_off()

    def set_on(self, on: bool) -> None:
        """Hold the picture still on the board, or let it go.

        As it was where its points were given; without points, as it is shown now.
        """
        session, desk = self._desk.session, self._desk
        if on == self.on:
            return
        if session is None or desk.shown is None:
            desk.say("info", "open a recording or an input first")
            self.changed.emit()
            return
        number = self._anchor(session)
        desk.attempt(lambda: session.follow(number if on else None))
        desk.show_again()
        desk.findings.again()
        words = "the picture is held still; regions and parts follow the board"
        desk.say("info", words if self.on else "the picture is shown as the camera gives it")
        self.changed.emit()

    def _board_changed(self) -> None:
        """Note in which frame the board's points are right: the one they were given in."""
        session, board = self._desk.session, self._desk.board
        view = None if board is None else board.view
        if session is None or view is self._view:
            return
        shown = session.poses.anchor if session.poses is not None else self._desk.shown_number
        self._view, self._placed = view, None if view is None else shown

    def _anchor(self, session: Session) -> int:
        """Return the frame in whose pixels all lies: the board's, else the shown one."""
        placed = self._placed
        if placed is None or placed < session.footage.first:
            return self._desk.shown_number
        return placed

    def toggle(self) -> None:
        """Switch."""
        self.set_on(not self.on)

    def look(self) -> None:
        """See in a thread whether the camera moves: a film once, a camera again and again."""
        session = self._desk.session
        if session is None or self._task is not None or self.on:
            return
        if not session.is_live and self._looked is session:
            return
        self._looked = session
        end = len(session.footage) - 1 if session.is_live else None
        task = Task(
            "seeing whether the camera moves",
            lambda _: moves(session.footage, end),
            behind=True,
            owner=self,
        )
        task.done.connect(lambda found: self._take(task, found=found))
        task.failed.connect(lambda _: self._take(task, found=False))
        self._task = task
        task.start()

    def _take(self, task: Task, *, found: bool) -> None:
        if task is not self._task:
            self._old.remove(task)
            return
        self._task = None
        if found != self.moves:
            self.moves = found
            self.changed.emit()

    def words(self, key: str) -> str:
        """Return what must be said of it on the picture, else nothing; `key` switches it."""
        if self.on and self.lost:
            return "the board is lost: bring it back to where it was"
        if self.moves and not self.on:
            return f"the camera moves: [{key}] holds the picture still"
        return ""
