"""How long a frame takes from its arrival to the screen, at 256×192 and 25 frames a second.

    python benchmarks/bench_latency.py [--seconds 20] [--regions 8]

A synthetic camera hands each frame over at its own time and notes the moment, as a driver's queue
does when a picture is taken out of it. From there: *taken in* is the frame in the session's
mailbox (admission, queue, history, curves); *noticed* the window's next look at it; *painted* the
end of the paint event that shows it. Prints median, 95th percentile and worst of each, in ms. The
time from the sensor to the driver's queue is the camera's and not in it, nor is the screen's own.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from datetime import UTC, datetime
from unittest.mock import patch

import numpy as np

if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QApplication

from thermview.errors import SourceEndedError
from thermview.frames import Frame, FrameSource, Scale, SourceInfo
from thermview.regions import Rectangle
from thermview.session.intake import Intake
from thermview.sources import OpenOptions
from thermview.ui import opening
from thermview.ui.desk import Desk
from thermview.ui.dress import dress
from thermview.ui.picture.canvas import Canvas
from thermview.ui.window import MainWindow

ROWS, COLUMNS, RATE_HZ = 192, 256, 25.0
SCALE = Scale(1 / 64)
WARM_UP = 25


class SyntheticCamera:
    """Frames of noise, each handed over at its time; `arrived_s` has the moments by number."""

    info = SourceInfo(
        "synthetic camera", "camera:9", COLUMNS, ROWS, SCALE, True, datetime.now(UTC), RATE_HZ
    )

    def __init__(self, frames: int) -> None:
        rng = np.random.default_rng(3)
        y, x = np.mgrid[:ROWS, :COLUMNS]
        room = 18950 + 900 * np.exp(-((x - 120) ** 2 + (y - 90) ** 2) / 400)
        noise = rng.normal(0, 3, (8, ROWS, COLUMNS))
        self._pictures = (room + noise).astype(np.uint16)
        self._frames = frames
        self._closed = False
        self._began_s = time.perf_counter()
        self.arrived_s: list[float] = []

    def read(self, timeout_s: float) -> Frame | None:
        number = len(self.arrived_s)
        if self._closed or number == self._frames:
            raise SourceEndedError("done")
        wait_s = self._began_s + number / RATE_HZ - time.perf_counter()
        time.sleep(max(0.0, min(wait_s, timeout_s)))
        if wait_s > timeout_s:
            return None
        self.arrived_s.append(time.perf_counter())
        counts = self._pictures[number % 8].copy()
        return Frame(counts, number / RATE_HZ, number, SCALE)

    def close(self) -> None:
        self._closed = True


class Moments:
    """When each frame was taken in, noticed and painted, by number."""

    def __init__(self) -> None:
        self.taken_in_s: dict[int, float] = {}
        self.noticed_s: dict[int, float] = {}
        self.painted_s: dict[int, float] = {}
        self._waiting: list[int] = []

    def watch(self, desk: Desk) -> None:
        """Note from now on."""
        desk.frame_shown.connect(self._noticed)
        take_frame, paint = Intake.take_frame, Canvas.paintEvent

        def take_and_note(intake: Intake, frame: Frame, *, resumed: bool) -> None:
            take_frame(intake, frame, resumed=resumed)
            self.taken_in_s[frame.index] = time.perf_counter()

        def paint_and_note(canvas: Canvas, event: QPaintEvent) -> None:
            paint(canvas, event)
            for number in self._waiting:
                self.painted_s.setdefault(number, time.perf_counter())
            self._waiting.clear()

        patch.object(Intake, "take_frame", take_and_note).start()
        patch.object(Canvas, "paintEvent", paint_and_note).start()

    def _noticed(self, frame: Frame) -> None:
        self.noticed_s.setdefault(frame.index, time.perf_counter())
        self._waiting.append(frame.index)


def line(name: str, seconds: list[float]) -> str:
    """Return a row of the table."""
    ms = np.array(seconds) * 1e3
    low, high = np.median(ms), np.percentile(ms, 95)
    return f"{name:32} median {low:6.2f}   95 % {high:6.2f}   worst {ms.max():6.2f} ms"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--regions", type=int, default=8)
    options = parser.parse_args()
    frames = round(options.seconds * RATE_HZ) + WARM_UP
    with tempfile.TemporaryDirectory() as folder:
        os.environ["THERMVIEW_HOME"] = folder
        application = QApplication([])
        dress(application, "dark")
        desk, moments = Desk(), Moments()
        moments.watch(desk)
        window = MainWindow(desk)
        window.resize(1280, 800)
        window.show()
        cameras: list[SyntheticCamera] = []

        def open_synthetic(address: str, opened: OpenOptions | None = None) -> FrameSource:
            cameras.append(SyntheticCamera(frames))
            return cameras[-1]

        patch.object(opening, "open_source", open_synthetic).start()
        desk.session_changed.connect(lambda: _draw(desk, options.regions))
        desk.open("camera:9")
        until_s = time.monotonic() + options.seconds + 3.0
        while time.monotonic() < until_s:
            application.processEvents()
            time.sleep(0.0005)
        desk.shut()
        report(cameras[0].arrived_s, moments)
        window.leave()


def _draw(desk: Desk, regions: int) -> None:
    for n in range(regions if desk.session is not None else 0):
        desk.document.add(Rectangle(10.0 + 28 * n, 40.0 + 12 * n, 24, 20))


def report(arrived_s: list[float], moments: Moments) -> None:
    """Print the parts and the whole for the frames that were painted."""
    numbers = [n for n in sorted(moments.painted_s) if n >= WARM_UP]
    taken = [moments.taken_in_s[n] - arrived_s[n] for n in numbers]
    noticed = [moments.noticed_s[n] - moments.taken_in_s[n] for n in numbers]
    painted = [moments.painted_s[n] - moments.noticed_s[n] for n in numbers]
    whole = [moments.painted_s[n] - arrived_s[n] for n in numbers]
    print(f"{len(numbers)} of {len(arrived_s) - WARM_UP} frames were painted")
    print(line("arrival → taken in", taken))
    print(line("taken in → noticed by the window", noticed))
    print(line("noticed → painted", painted))
    print(line("arrival → painted", whole))


if __name__ == "__main__":
    main()
