"""The window over a long recording: start-up, scrubbing, playback at its rate.

    python benchmarks/bench_window.py [--frames 3000] [--rate 25]

Prints, for a 640×512 recording made for the purpose (random scenery, simulated): the time from the
start of a process to the first frame on screen; the time from asking for a frame to its picture
painted (median, 99th percentile, worst); what the same frames cost to read and to scale with bare
h5py and numpy (as a ratio); and how well playback keeps its rate with the curves in step.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
from numpy.typing import NDArray

if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from thermview.frames import Frame, Scale, SourceInfo
from thermview.recording.writer import Writer
from thermview.regions import Rectangle, Region, RegionSet, save_regions
from thermview.ui.desk import Desk
from thermview.ui.dress import dress
from thermview.ui.window import MainWindow

ROWS, COLUMNS = 512, 640
SEEKS = 400


def make_recording(path: Path, frames: int, rate_hz: float) -> None:
    """Write smooth scenery with sensor noise: neither the best nor the worst case to pack."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    scenery = 18900 + 400 * np.exp(-((x - 320) ** 2 + (y - 250) ** 2) / 2e4)
    noises = [rng.normal(0, 3, (ROWS, COLUMNS)) for _ in range(8)]
    scale = Scale(0.015625)
    info = SourceInfo("bench", str(path), COLUMNS, ROWS, scale, False, datetime.now(UTC))
    writer = Writer(path, info)
    for number in range(frames):
        counts = (scenery + noises[number % 8] + 200 * np.sin(number / 50)).astype(np.uint16)
        writer.take(Frame(counts, number / rate_hz, number, scale))
    writer.close()


def twenty_regions() -> RegionSet:
    """Return twenty rectangles over the picture."""
    rectangles = [Rectangle(30 + 120 * (i % 5), 30 + 110 * (i // 5), 60, 40) for i in range(20)]
    return RegionSet(tuple(Region(f"R{i}", shape) for i, shape in enumerate(rectangles)))


def until(application: QApplication, done: Callable[[], bool], seconds: float = 60.0) -> float:
    """Run the event loop until something is so; return the seconds it took."""
    began = time.perf_counter()
    while not done():
        application.processEvents()
        if time.perf_counter() - began > seconds:
            raise SystemExit("the window did not get there")
    return time.perf_counter() - began


def bare_reading(path: Path, numbers: NDArray[np.int64]) -> list[float]:
    """Return seconds per frame of reading and scaling with nothing but h5py and numpy."""
    took = []
    with h5py.File(path) as file:
        counts = file["entry/thermal/counts"]
        for number in numbers.tolist():
            began = time.perf_counter()
            _ = counts[number] * np.float32(0.015625)
            took.append(time.perf_counter() - began)
    return took


def scrub(
    application: QApplication, desk: Desk, window: MainWindow, numbers: NDArray[np.int64]
) -> list[float]:
    """Return seconds from asking for each frame to its picture painted."""
    took = []
    for number in numbers.tolist():
        began = time.perf_counter()
        desk.seek(number)
        until(application, lambda number=number: desk.shown_number == number)  # type: ignore[misc]
        window.repaint()
        application.processEvents()
        took.append(time.perf_counter() - began)
    return took


def play(
    application: QApplication, desk: Desk, seconds: float, rate_hz: float
) -> tuple[float, float]:
    """Play; return (share of the rate held, largest lag of the picture in frames)."""
    desk.seek(0)
    desk.play_pause() if not desk.player.playing else None
    began, worst, first = time.perf_counter(), 0.0, desk.shown_number
    while (passed := time.perf_counter() - began) < seconds:
        application.processEvents()
        worst = max(worst, passed * rate_hz - (desk.shown_number - first))
    return (desk.shown_number - first) / (seconds * rate_hz), worst


def start_up(path: Path) -> float:
    """Return seconds from a process's start to its first frame painted."""
    code = (
        "import sys, time\n"
        "from PySide6.QtWidgets import QApplication\n"
        "from thermview.ui.desk import Desk\n"
        "from thermview.ui.dress import dress\n"
        "from thermview.ui.window import MainWindow\n"
        "app = QApplication([]); dress(app, 'dark'); desk = Desk(); window = MainWindow(desk)\n"
        f"window.show(); desk.open({str(path)!r})\n"
        "while desk.shown is None: app.processEvents()\n"
        "window.repaint(); app.processEvents(); print('shown', flush=True)\n"
        "desk.close_session(); import os; os._exit(0)\n"
    )
    began = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert process.stdout is not None
    process.stdout.readline()
    took = time.perf_counter() - began
    process.wait()
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=3000)
    parser.add_argument("--rate", type=float, default=25.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["THERMVIEW_HOME"] = str(Path(folder) / "home")
        path = Path(folder) / "long.h5"
        make_recording(path, options.frames, options.rate)
        save_regions(path.with_suffix(".regions.json"), twenty_regions())
        starts = sorted(start_up(path) for _ in range(5))
        print(f"start to first frame painted: median {starts[2]:.2f} s, worst {starts[-1]:.2f} s")
        application = QApplication([])
        dress(application, "dark")
        desk = Desk()
        window = MainWindow(desk)
        window.resize(1280, 800)
        window.show()
        desk.open(str(path))
        until(application, lambda: desk.session is not None)
        assert desk.session is not None
        measured = until(application, lambda: desk.session.wait_measured(0.0))  # type: ignore[union-attr]
        print(f"{options.frames} frames measured in 20 regions in the background: {measured:.1f} s")
        numbers = np.random.default_rng(2).integers(0, options.frames, SEEKS)
        shown = np.array(scrub(application, desk, window, numbers)) * 1e3
        bare = np.array(bare_reading(path, numbers)) * 1e3
        print(
            f"scrubbing, {SEEKS} random frames: median {np.median(shown):.1f} ms, "
            f"99th percentile {np.percentile(shown, 99):.1f} ms, worst {shown.max():.1f} ms; "
            f"bare h5py read {np.median(bare):.1f} ms: ratio {np.median(shown / bare):.1f}"
        )
        share, lag = play(application, desk, 10.0, options.rate)
        print(f"playback at {options.rate:g} Hz for 10 s: {share:.1%} of the rate, lag ≤ {lag:.1f}")
        window.leave()
        until(application, lambda: not window.isVisible(), 10.0)


if __name__ == "__main__":
    main()
