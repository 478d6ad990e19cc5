"""Python's cyclic garbage, collected on Qt's thread only."""

from __future__ import annotations

import gc
import itertools

from PySide6.QtCore import QObject, QTimer

EVERY_MS = 500
OLDER, OLDEST = 10, 120  # every so many times, what has lasted longer is looked through too


class Collector(QObject):
    """Collects garbage in the event loop while it lives, and nowhere else.

    Python collects in whatever thread happens to allocate. A window, a dialog or a timer that
    goes with a cycle is destroyed there, and Qt's objects must go in the thread they live in: a
    timer destroyed elsewhere stays in the event loop's list, which ends the program.
    """

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._times = itertools.count(1)
        timer = QTimer(self)
        timer.timeout.connect(self.collect)
        timer.start(EVERY_MS)
        gc.freeze()  # what the program loaded stays, and need not be looked through
        gc.disable()
        self.destroyed.connect(gc.enable)

    def collect(self) -> None:
        """Collect once."""
        times = next(self._times)
        gc.collect(2 if times % OLDEST == 0 else 1 if times % OLDER == 0 else 0)
