"""The line at the bottom: what was just said, and what is being worked on."""

from __future__ import annotations

from collections import deque

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QWidget

from thermview.ui.desk import Desk
from thermview.ui.widgets import button, label, named, set_tone

STAY_MS = {"info": 8_000, "warning": 20_000, "error": 60_000}
SIGNS = {"info": "", "warning": "⚠ ", "error": "▲ "}
REMEMBERED = 50


class StatusLine(QWidget):
    """Words for the user; an error is not wiped out by the next piece of news."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setObjectName("statusLine")
        self._desk = desk
        self.history: deque[tuple[str, str]] = deque(maxlen=REMEMBERED)
        self.words = label("", "statusWords")
        self.words.setMinimumWidth(50)
        self.progress = named(QProgressBar(), "statusProgress")
        self.progress.setFixedWidth(180)
        self.cancel = button("cancel", "statusCancel", self._cancel, role="slim")
        layout = QHBoxLayout(self)
        layout.setContentsMargins(4, 0, 4, 0)
        layout.addWidget(self.words, 1)
        layout.addWidget(self.progress)
        layout.addWidget(self.cancel)
        self.setFixedHeight(28)
        self._severity = "info"
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._wipe)
        desk.said.connect(self.say)
        self._going_on = ""
        desk.task_changed.connect(self._task_changed)
        self._task_changed()

    def say(self, severity: str, words: str) -> None:
        """Show words; the last ones stay readable in the tooltip."""
        words = " ".join(words.split())
        self.history.append((severity, words))
        self.words.setToolTip("\n".join(SIGNS[s] + w for s, w in list(self.history)[-8:]))
        if (
            self._severity == "error"
            and severity == "info"
            and self._timer.remainingTime() > 50_000
        ):
            return  # an error stays for its first ten seconds
        self._severity = severity
        self.words.setText(SIGNS[severity] + words)
        set_tone(self.words, severity if severity != "info" else "")
        self._timer.start(STAY_MS[severity])

    def _wipe(self) -> None:
        self._severity = "info"
        self.words.setText("")

    def _task_changed(self) -> None:
        task = self._desk.task
        self.progress.setVisible(task is not None)
        self.cancel.setVisible(task is not None)
        if task is not None:
            self.progress.setRange(0, 0)
            self.progress.setFormat("%p %")
            task.progressed.connect(self._progressed)
            self._going_on = task.words + " …"
            self.say("info", self._going_on)
        elif self.words.text() == self._going_on:
            self._wipe()  # it goes on no more

    def _progressed(self, words: str, fraction: float) -> None:
        if words and self.words.text() == self._going_on:
            self._going_on = f"{words} …"
            self.words.setText(self._going_on)
        self.progress.setRange(0, 0 if fraction < 0 else 1000)
        if fraction >= 0:
            self.progress.setValue(int(1000 * fraction))

    def _cancel(self) -> None:
        if self._desk.task is not None:
            self._desk.task.cancel()
            self.say("info", "cancelling …")
