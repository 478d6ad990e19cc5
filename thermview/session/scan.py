"""Measuring past frames in the background, in their order, again whenever something changed."""

from __future__ import annotations

import threading
from contextlib import suppress

from thermview.errors import ThermviewError
from thermview.frames import Footage
from thermview.session.curves import CurveStore
from thermview.session.following import Poses
from thermview.session.pipeline import MeasureStep
from thermview.session.replaying import ReplayTriggers
from thermview.session.watching import TriggerWatch

CHUNK = 64
"""Frames between two looks at whether the work has changed, and two signs of progress."""


class Scan:
    """Fills the rows that are not measured, and leads all rows past a watching step.

    Parameters
    ----------
    footage : Footage
        Where the frames are.
    store : CurveStore
        Where the rows are.
    triggers : ReplayTriggers or None
        What leads every pass past the rules; None where they watch the frames as they arrive.
    """

    def __init__(
        self,
        footage: Footage,
        store: CurveStore,
        triggers: ReplayTriggers | None = None,
    ) -> None:
        self._footage = footage
        self._store = store
        self._triggers = triggers
        self._measure = MeasureStep(store)
        self.poses: Poses | None = None
        self._wanted = threading.Event()
        self._idle = threading.Event()
        self._idle.set()
        self._closed = False
        self._progress = (0, 0)
        self._thread = threading.Thread(target=self._run, name="thermview measuring", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def request(self) -> None:
        """Say that regions, scene or triggers changed: begin anew with what is missing."""
        self._idle.clear()
        self._wanted.set()

    @property
    def progress(self) -> tuple[int, int]:
        """Return how many frames of this pass are done, and how many there are."""
        return self._progress

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until nothing is left to do; False when that took too long."""
        return self._idle.wait(timeout_s)

    def close(self) -> None:
        """Stop soon; waits for the thread."""
        self._closed = True
        self._wanted.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            self._wanted.clear()
            if self._closed:
                return
            self._pass()
            if not self._wanted.is_set():
                self._idle.set()

    def _pass(self) -> None:
        first, stop = self._footage.first, len(self._footage)  # rows may be ahead of the frames
        if self.poses is not None and not self._find_poses(self.poses, first, stop):
            return
        watch = self._triggers.begin() if self._triggers is not None else None
        missing = set(self._store.missing(first, stop).tolist())
        numbers = range(first, stop) if watch is not None else sorted(missing)
        total = len(numbers)
        for done, number in enumerate(numbers):
            if done % CHUNK == 0:
                self._report(done, total)
                if self._wanted.is_set():
                    return
            self._one(number, number in missing, watch)
        if self._triggers is not None:
            self._triggers.finish()
        self._report(total, total)

    def _find_poses(self, poses: Poses, first: int, stop: int) -> bool:
        """Follow the board from the anchor on and back; False where the work has changed."""
        for done, number in enumerate(poses.outward(first, stop)):
            if done % CHUNK == 0:
                self._report(done, stop - first)
                if self._wanted.is_set():
                    return False
            with suppress(ThermviewError, IndexError):  # let go of meanwhile, or unreadable
                poses.take(number, self._footage.frame(number))
        return True

    def _report(self, done: int, total: int) -> None:
        self._progress = (done, total)
        self._store.touch()

    def _one(self, number: int, missing: bool, watch: TriggerWatch | None) -> None:
        frame = None
        if missing or (watch is not None and watch.needs_frames):
            try:
                frame = self._footage.frame(number)
            except (ThermviewError, IndexError):  # let go of meanwhile, or unreadable
                self._store.give_up(number)
        if missing and frame is not None:
            self._store.see(number, held=frame.held)
            self._measure.take(number, frame)
        if watch is not None:
            watch.take(number, frame)
