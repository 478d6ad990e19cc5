"""A full-size sensor at its full rate, recorded while the window is scrubbed and resized."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of

from thermview.errors import SourceEndedError
from thermview.frames import Frame, FrameSource, Scale, SourceInfo
from thermview.recording.reader import open_recording
from thermview.regions import Rectangle
from thermview.sources import OpenOptions
from thermview.ui import opening
from thermview.ui.window import MainWindow

ROWS, COLUMNS, RATE_HZ, FRAMES = 512, 640, 60.0, 360
SCALE = Scale(0.01)


class FullRateCamera:
    """Noise that carries its number, sixty times a second once it is let go, as a sensor does."""

    info = SourceInfo(
        "synthetic camera", "camera:9", COLUMNS, ROWS, SCALE, True, datetime.now(UTC), RATE_HZ
    )

    def __init__(self) -> None:
        rng = np.random.default_rng(5)
        self._noise = rng.integers(29990, 30010, (8, ROWS, COLUMNS), dtype=np.uint16)
        self.go = threading.Event()
        self._number = 0
        self._start_s = 0.0

    def read(self, timeout_s: float) -> Frame | None:
        if self._number and not self.go.wait(min(timeout_s, 0.05)):
            return None
        if self._number == FRAMES:
            raise SourceEndedError("done")
        now_s = time.monotonic()
        self._start_s = self._start_s if self._number > 1 else now_s - self._number / RATE_HZ
        time.sleep(max(0.0, self._start_s + self._number / RATE_HZ - now_s))
        counts = self._noise[self._number % 8].copy()
        counts[0, 0] = self._number
        frame = Frame(counts, self._number / RATE_HZ, self._number, SCALE)
        self._number += 1
        return frame

    def close(self) -> None:
        self.go.set()


def test_no_frame_is_lost_while_the_window_is_scrubbed_and_resized(
    qtbot: QtBot, main_window: MainWindow, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    camera, path = FullRateCamera(), tmp_path / "full.h5"

    def open_it(address: str, options: OpenOptions | None = None) -> FrameSource:
        return camera

    monkeypatch.setattr(opening, "open_source", open_it)
    desk, rng = main_window.desk, np.random.default_rng(3)
    open_and_wait(qtbot, main_window, "camera:9")
    for i in range(20):
        desk.document.add(Rectangle(20.0 + 25 * i, 30.0 + 20 * i, 60, 40))
    session = session_of(main_window)
    session.start_recording(path, pre_trigger_s=1.0)
    camera.go.set()
    looks = 0
    while not session.wait(0.0):
        desk.seek(int(rng.integers(session.footage.first, len(session.footage))))
        main_window.resize(int(rng.integers(1280, 1500)), int(rng.integers(800, 900)))
        qtbot.wait(15)
        looks += 1
    summary = session.stop_recording()
    assert summary is not None
    assert looks > 20
    assert session.losses.queue_dropped == session.losses.writer_dropped == 0
    footage = open_recording(path)
    numbers = [int(footage.frame(number).counts[0, 0]) for number in range(len(footage))]
    footage.close()
    assert numbers == list(range(FRAMES))
