"""A window over the real rooms, for tests: made, driven, closed without asking."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from thermview.errors import SourceLostError
from thermview.frames import Frame, Scale, SourceInfo
from thermview.session.session import Session
from thermview.ui.desk import Desk
from thermview.ui.dress import dress
from thermview.ui.window import MainWindow

SCALE = Scale(0.01, 0.0)


@contextmanager
def opened_window(qtbot: QtBot) -> Iterator[MainWindow]:
    """Show a window; close it without asking for unsaved pictures."""
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    dress(application, "dark")
    window = MainWindow(Desk())
    window.resize(1280, 800)
    window.show()
    window.activateWindow()  # keys work in the active window only
    qtbot.waitUntil(window.isActiveWindow)
    try:
        yield window
    finally:
        window.desk.keeping.unsaved = lambda: False  # type: ignore[method-assign]
        window.close()
        window.deleteLater()
        window.desk.deleteLater()
        qtbot.wait(1)
        application.setStyleSheet("")


def session_of(window: MainWindow) -> Session:
    """Return the open session."""
    session = window.desk.session
    assert session is not None
    return session


def open_and_wait(qtbot: QtBot, window: MainWindow, address: str) -> None:
    """Open an address and wait until a frame of it is shown."""
    window.desk.open(address)
    qtbot.waitUntil(lambda: window.desk.shown is not None)


def write_warming(path: Path, frames: int = 60, rate_hz: float = 25.0) -> None:
    """Write a recording by plain h5py: one square at (40..48, 20..28) warms from 1 s on.

    It rises by 10 K a second from 25 °C, so it crosses 30 °C halfway through the second second.
    """
    times = np.arange(frames) / rate_hz
    counts = np.full((frames, 48, 64), 29815, dtype=np.uint16)
    rise = np.clip(times - 1.0, 0.0, None) * 10.0
    counts[:, 20:28, 40:48] += np.rint(rise * 100).astype(np.uint16)[:, None, None]
    with h5py.File(path, "w") as file:
        thermal = file.create_group("entry/thermal")
        data = thermal.create_dataset("counts", data=counts)
        data.attrs["scale_factor"], data.attrs["add_offset"] = 0.01, 0.0
        data.attrs["units"] = "K"
        thermal.create_dataset("time", data=times)
        file["entry"].attrs["NX_class"] = "NXentry"
        file["entry/title"] = "a square that warms"
        file["entry/start_time"] = "2026-01-01T12:00:00+00:00"


class ScriptedSource:
    """A live source that the test drives: frames come when it says so."""

    def __init__(self) -> None:
        self.info = SourceInfo(
            name="scripted camera",
            address="camera:9",
            width_px=64,
            height_px=48,
            scale=SCALE,
            live=True,
            start_time=datetime(2026, 1, 1, tzinfo=UTC),
            rate_hz=25.0,
        )
        self._index = 0
        self._due = threading.Semaphore(0)
        self._gone = threading.Event()
        self._closed = threading.Event()

    def give(self, frames: int) -> None:
        """Let so many frames come."""
        for _ in range(frames):
            self._due.release()

    def vanish(self) -> None:
        """Be unplugged."""
        self._gone.set()
        self._due.release()

    def read(self, timeout_s: float) -> Frame | None:
        if not self._due.acquire(timeout=min(timeout_s, 0.05)) or self._closed.is_set():
            return None
        if self._gone.is_set():
            raise SourceLostError("the scripted camera was unplugged")
        index, self._index = self._index, self._index + 1
        counts = np.full((48, 64), 29815 + index % 7, dtype=np.uint16)
        return Frame(counts, index / 25.0, index, SCALE)

    def close(self) -> None:
        self._closed.set()
        self._due.release()
