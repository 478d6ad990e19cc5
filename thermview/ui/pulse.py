"""The pulse test in the window: goes on while frames come; amplitude and delay as layers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from thermview.errors import CancelledError
from thermview.session.finding import PULSED_S, Window
from thermview.session.pulsing import Pulsed, PulseTest, later_power_w
from thermview.session.session import Session
from thermview.ui.tasks import Task

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

MORE_S = 120.0


class Pulse(QObject):
    """One pulse test at a time, in a thread of its own.

    Attributes
    ----------
    found : Pulsed or None
        What is known by now.
    """

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.found: Pulsed | None = None
        self._test: PulseTest | None = None
        self._question: object = None
        self._until_s = 0.0
        self._task: Task | None = None
        self._old: list[Task] = []

    def end(self) -> None:
        """Forget the test."""
        if self._task is not None:
            self._task.cancel()
            self._old.append(self._task)
            self._task = None
        known = self.found is not None
        self.found, self._test, self._question, self._until_s = None, None, None, 0.0
        if known:
            self.changed.emit()

    def finish(self) -> None:
        """Wait for the threads at the end of the program."""
        self.end()
        for task in self._old:
            task.break_off()

    def look(self, session: Session, window: Window) -> None:
        """Go on with what has come since; begin anew where the period or the start has changed."""
        if window.period_s is None:
            self.end()
            return
        if window.question != self._question:
            self.end()
            self._question, self._test = window.question, PulseTest(window)
        if self._task is None and window.end_s > self._until_s:
            self._advance(session, window)

    def _advance(self, session: Session, window: Window) -> None:
        test, until_s = self._test, window.end_s
        assert test is not None
        self._until_s = until_s

        def work(task: Task) -> Pulsed | None:
            def told(done: int, total: int) -> None:
                if task.cancelled:
                    raise CancelledError("no longer wanted")

            return test.advance(session.footage, until_s, told)

        task = Task("pulse test", work, behind=True, owner=self)
        task.done.connect(lambda found: self._take(task, found))
        task.failed.connect(lambda error: self._fail(task, error))
        self._task = task
        task.start()

    def _ended(self, task: Task) -> bool:
        if task is not self._task:
            self._old.remove(task)
            return False
        self._task = None
        return True

    def _take(self, task: Task, found: Pulsed | None) -> None:
        if self._ended(task):
            self.found = found
            self.changed.emit()

    def _fail(self, task: Task, error: Exception) -> None:
        if self._ended(task):
            self._desk.say("warning", f"the pulse test stopped: {error}")

    def words(self) -> str:
        """Return how far the test is, and what more time will show."""
        found = self.found
        if found is None:
            return ""
        said = (
            f"Pulse test, {found.period_s:.3g} s: {found.harmonic.periods:.0f} periods. Small "
            f"parts show from about {_power_words(found.least_w)}"
        )
        session = self._desk.session
        if session is not None and session.is_live and found.span_s < PULSED_S - 1.0:
            more_s = min(MORE_S, PULSED_S - found.span_s)
            later = _power_words(later_power_w(found, more_s))
            unit = f"{more_s / 60:.0f} more minutes" if more_s >= 90 else f"{more_s:.0f} s more"
            said += f"; after {unit}, from {later}"
        return said + "."


def _power_words(power_w: float) -> str:
    return f"{power_w * 1e3:.2g} mW" if power_w >= 1e-4 else f"{power_w * 1e6:.0f} µW"
