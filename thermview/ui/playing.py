"""The playhead over what is open: where it stands, and the ways to move it."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QObject, Signal

from thermview.frames import Frame
from thermview.session.player import NoFilm, Player
from thermview.session.session import Session
from thermview.ui.tasks import Working


class Playing(Working):
    """What holds a session and shows one frame of it.

    Attributes
    ----------
    session : Session or None
    player : Player
        Over the session's frames.
    shown, shown_number : Frame or None, int
        The frame on screen; -1 without one.
    """

    state_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.session: Session | None = None
        self.player = Player(NoFilm())
        self.shown: Frame | None = None
        self.shown_number = -1

    def tick(self, *, show: bool = True) -> None:
        """Show the frame at which the playhead stands."""
        raise NotImplementedError

    @property
    def now_s(self) -> float:
        """Return the time of the shown frame, s since the source's start; NaN without one."""
        return self.shown.time_s if self.shown is not None else math.nan

    def seek(self, number: int) -> None:
        """Show frame `number` (the nearest there is)."""
        self.player.seek(number)
        self.tick()

    def seek_time(self, time_s: float) -> None:
        """Show the frame nearest to `time_s`."""
        if self.session is not None and len(self.session.footage):
            times = self.session.footage.times_s
            after = int(np.searchsorted(times, time_s))
            pick = [n for n in (after - 1, after) if 0 <= n < len(times)]
            self.seek(min(pick, key=lambda n: abs(times[n] - time_s)))

    def play_pause(self) -> None:
        """Play or pause."""
        self.player.toggle()
        self.state_changed.emit()

    def step(self, frames: int) -> None:
        """Go `frames` forward or, negative, back."""
        self.player.step(frames)
        self.tick()

    def follow(self) -> None:
        """Go to the live edge and stay there."""
        self.player.follow = True
        self.tick()
        self.state_changed.emit()

    def to_end(self) -> None:
        """Go to the last frame; of a live source, to the live edge, to stay there."""
        if self.session is not None and self.session.is_live:
            self.follow()
        elif self.session is not None:
            self.seek(len(self.session.footage) - 1)

    def next_mark(self, direction: int) -> None:
        """Go to the next (1) or the previous (-1) mark."""
        if self.session is None:
            return
        now_s, half = self.now_s, 1e-6
        times = sorted(m.time_s for m in self.session.marks)
        ahead = [t for t in times if (t - now_s) * direction > half]
        if ahead:
            self.seek_time(ahead[0] if direction > 0 else ahead[-1])
        else:
            self.say("info", "no mark " + ("after" if direction > 0 else "before") + " this moment")
