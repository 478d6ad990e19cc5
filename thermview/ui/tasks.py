"""Work that takes a while: in a thread of its own, its result back on the window's thread."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from thermview.analysis.wanted import asking
from thermview.errors import CancelledError, ThermviewError

BESIDE = 10  # how far behind, on the scale of `nice`
SHUT_S = 30.0  # a full queue to a slow disk takes a while to be written

_going: set[Task] = set()  # kept until their threads have ended: a thread's signal needs its task


def _give_way() -> None:
    """Let all other threads go before this one and those it starts."""
    if sys.platform.startswith("linux"):  # elsewhere a thread has no such number
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), BESIDE)


class Task(QObject):
    """One long job. `work` gets the task and may ask `task.cancelled` and call `task.report`.

    Exactly one of `done`, `failed` follows, on the thread that made the task. A job that nobody
    wants any more still ends in its own time: what it returns goes to `discard`; so it is, and
    no signal follows, where its `owner` has gone. The task itself lasts as long as its thread,
    and goes by itself. A job `behind` gives way to the threads that paint and record; it must
    start none that do.
    """

    done = Signal(object)
    failed = Signal(object)
    progressed = Signal(str, float)
    _ended = Signal(object, object)

    def __init__(
        self,
        words: str,
        work: Callable[[Task], Any],
        *,
        discard: Callable[[Any], None] | None = None,
        behind: bool = False,
        owner: QObject | None = None,
    ) -> None:
        super().__init__()
        self.words = words
        self._behind = behind
        self.running = True
        self._work = work
        self._discard = discard
        self._stop = threading.Event()
        self._orphan = False
        if owner is not None:
            owner.destroyed.connect(self._lose_owner)
        self._ended.connect(self._deliver)
        self._thread = threading.Thread(target=self._run, name=f"task: {words}", daemon=True)

    @property
    def cancelled(self) -> bool:
        """Tell whether the user has asked to stop."""
        return self._stop.is_set()

    def start(self) -> None:
        """Begin."""
        _going.add(self)
        self._thread.start()

    def cancel(self) -> None:
        """Ask the job to stop; `failed` with a CancelledError follows when it has ended."""
        self._stop.set()

    def report(self, words: str, fraction: float) -> None:
        """Say how far the job is, 0 to 1 (negative: unknown); called by the job."""
        self.progressed.emit(words, fraction)

    def telling(self, words: str, wanted: str) -> Callable[[int, int], None]:
        """Return what a long call tells its progress to, ``(done, total)``: it is reported.

        Once the job is cancelled it raises CancelledError instead, with `wanted`.
        """

        def told(done: int, total: int) -> None:
            if self.cancelled:
                raise CancelledError(wanted)
            self.report(words, done / max(total, 1))

        return told

    def wait(self, seconds: float | None) -> bool:
        """Wait for the thread, without limit if None; tell whether it has ended.

        Python ends a thread that is alive at the end of the program by force, and in the midst of
        C++ that aborts the program: see `break_off`.
        """
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def break_off(self) -> None:
        """End the job at its next step, and wait for its thread: at the end of the program."""
        self.cancel()
        self.wait(SHUT_S)

    def _lose_owner(self) -> None:
        self._orphan = True
        self.cancel()

    def _ask(self) -> None:
        if self.cancelled:
            raise CancelledError(f"{self.words}: cancelled")

    def _run(self) -> None:
        if self._behind:
            _give_way()
        result: Any = None
        error: ThermviewError | None = None
        try:
            with asking(self._ask):
                result = self._work(self)
        except ThermviewError as failure:
            error = failure
        except Exception as failure:
            # a fault of the program itself must not end it, nor be lost: it is said as one
            error = ThermviewError(f"{self.words} failed: {type(failure).__name__}: {failure}")
            error.__cause__ = failure
        if self.cancelled and error is None:
            if self._discard is not None:
                self._discard(result)
            result, error = None, CancelledError(f"{self.words}: cancelled")
        self._ended.emit(result, error)

    def _deliver(self, result: Any, error: ThermviewError | None) -> None:
        self._thread.join()  # it has nothing left to do but to come back from its signal
        QTimer.singleShot(0, lambda: _going.discard(self))  # not in the midst of its own event
        self.running = False
        if error is None and self.cancelled:  # asked to stop after the work was done
            if self._discard is not None:
                self._discard(result)
            error = CancelledError(f"{self.words}: cancelled")
        if self._orphan:
            return
        if error is not None:
            self.failed.emit(error)
        else:
            self.done.emit(result)


class Working(QObject):
    """What can do long work, one job at a time, and say how it went."""

    said = Signal(str, str)  # severity "info" | "warning" | "error", words
    task_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.task: Task | None = None
        self._aside: list[Task] = []

    def say(self, severity: str, words: str) -> None:
        """Put words into the status line."""
        self.said.emit(severity, words)

    def attempt(self, action: Callable[[], Any]) -> Any:
        """Run `action`; an error of the program's own tree is said, and None returned."""
        try:
            return action()
        except ThermviewError as error:
            self.say("error", str(error))
            return None

    def run_task(
        self,
        words: str,
        work: Callable[[Task], Any],
        done: Callable[[Any], object],
        *,
        discard: Callable[[Any], None] | None = None,
    ) -> Task | None:
        """Run `work` in a thread; `done` gets its result here, an error is said.

        Returns None, and says so, while another job is going on.
        """
        if self.task is not None:
            self.say("warning", f"wait: {self.task.words} is still going on")
            return None
        task = Task(words, work, discard=discard, owner=self)
        self.task = task

        def finish(then: Callable[[Any], object], value: Any) -> None:
            self.task = None
            self.task_changed.emit()
            then(value)

        task.done.connect(lambda result: finish(done, result))
        task.failed.connect(lambda error: finish(self._say_failure, error))
        task.start()
        self.task_changed.emit()
        return task

    def run_aside(
        self, words: str, work: Callable[[], object], then: Callable[[], object] | None = None
    ) -> None:
        """Run `work` in a thread beside any other job; only its trouble is said.

        `then` is called here when it has ended, well or not.
        """
        task = Task(words, lambda _: work(), owner=self)
        self._aside.append(task)

        def finish(error: Exception | None) -> None:
            self._aside.remove(task)
            if error is not None:
                self._say_failure(error)
            if then is not None:
                then()

        task.done.connect(lambda _: finish(None))
        task.failed.connect(finish)
        task.start()

    def finish_tasks(self) -> None:
        """Cancel the job that is going on, and wait for all threads."""
        if self.task is not None:
            self.task.cancel()
            self.task.wait(SHUT_S)
        for task in self._aside:
            task.wait(SHUT_S)

    def _say_failure(self, error: Exception) -> None:
        self.say("info" if isinstance(error, CancelledError) else "error", str(error))
