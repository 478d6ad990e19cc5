"""The whole window in this process, with a watch on how long its event loop is ever held up."""

from __future__ import annotations

import time
from itertools import pairwise
from statistics import median
from typing import Any

from PySide6.QtCore import QEventLoop, Qt, QTimer
from PySide6.QtWidgets import QApplication

from thermview.ui.desk import Desk
from thermview.ui.dialogs.inputs import InputsDialog
from thermview.ui.dialogs.knobs import KnobsDialog
from thermview.ui.dress import dress
from thermview.ui.rubbish import Collector
from thermview.ui.settings import Settings
from thermview.ui.window import MainWindow

TICK_MS = 10


class WatchedWindow:
    """The window; `run` lets it live for a while and notes how it did."""

    def __init__(self) -> None:
        self._application = QApplication(["thermview", "-platform", "offscreen"])
        dress(self._application, "dark")
        Collector(self._application)
        self._desk = Desk(Settings())
        self._window = MainWindow(self._desk)
        self._window.show()
        self._shown = 0
        self._desk.frame_shown.connect(self._count)
        self._ticks: list[float] = []
        self._timer = QTimer()
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(lambda: self._ticks.append(time.monotonic()))
        self._timer.start(TICK_MS)
        self._phases: list[dict[str, Any]] = []
        self._dialog: InputsDialog | None = None

    def list_inputs(self) -> None:
        """Open the dialog of inputs, as its command does."""
        self._window.commands.files.open_input()
        self._dialog = self._window.findChild(InputsDialog)

    def open_first(self) -> None:
        """Open the first input listed."""
        assert self._dialog is not None
        self._dialog.list.setCurrentRow(0)
        self._dialog.open_button.click()
        self._dialog = None

    def show_controls(self) -> None:
        """Open the dialog of the camera's controls, as its command does."""
        self._window.optics.knobs()

    def turn(self, name: str, value: int) -> None:
        """Set a number in that dialog."""
        dialog = self._window.findChild(KnobsDialog)
        assert isinstance(dialog, KnobsDialog)
        number = dialog.rows[name].number
        assert number is not None
        number.setValue(value)

    def run(self, seconds: float, phase: str) -> None:
        """Run the event loop for so long."""
        self._ticks, self._shown, states, troubles = [time.monotonic()], 0, set(), set()
        loop = QEventLoop()
        QTimer.singleShot(round(seconds * 1000), loop.quit)
        look = QTimer()

        def note() -> None:
            session = self._desk.session
            states.add(session.state.value if session is not None else "none")
            troubles.add(session.trouble if session is not None else "")

        look.timeout.connect(note)
        look.start(50)
        loop.exec()
        ticks = [*self._ticks, time.monotonic()]
        waits = [late - early for early, late in pairwise(ticks)]
        self._phases.append(
            {
                "phase": phase,
                "longest_wait_s": max(waits),
                "frames_shown": self._shown,
                "states": sorted(states),
                "troubles": sorted(troubles - {""}),
                "listed": self._listed(),
            }
        )

    def lay_out_s(self) -> float:
        """Return how long this machine takes to lay out and paint the whole window once, s."""
        took = []
        for step in (20, -20, 20, -20):
            self._application.processEvents()
            began_s = time.monotonic()
            self._window.resize(self._window.width() - step, self._window.height() - step)
            self._application.processEvents()
            took.append(time.monotonic() - began_s)
        return median(took)

    def _listed(self) -> list[str]:
        """Return what the dialog of inputs lists, where it is open."""
        if self._dialog is None:
            return []
        return [self._dialog.list.item(n).text() for n in range(self._dialog.list.count())]

    def close(self) -> dict[str, Any]:
        """Close it; return what was noted, and the session's losses."""
        session = self._desk.session
        losses = str(session.losses) if session is not None else ""
        marks = [mark.kind.value for mark in session.marks] if session is not None else []
        self._timer.stop()
        self._window.leave()
        deadline_s = time.monotonic() + 60.0
        while self._window.isVisible() and time.monotonic() < deadline_s:
            self._application.processEvents()
            time.sleep(0.01)
        return {"phases": self._phases, "losses": losses, "marks": marks}

    def _count(self, _frame: object) -> None:
        self._shown += 1
