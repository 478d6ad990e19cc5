"""Cost of painting a frame at 640 x 512, against one memory copy of the frame.

Run with `python benchmarks/bench_picture.py`; it needs no screen.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("THERMVIEW_HOME", tempfile.mkdtemp())

import numpy as np
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QApplication

from thermview.frames import Frame, Mark, Scale, Scene, SourceInfo, SupplyLog
from thermview.regions import Ellipse, Rectangle
from thermview.session.session import Session
from thermview.ui.desk import Desk
from thermview.ui.display import Display, View
from thermview.ui.picture import PictureView
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.painter import FramePainter

ROWS, COLUMNS = 512, 640
SCALE = Scale(0.01)


def median_ms(work: Callable[[int], object], repeats: int = 200) -> float:
    """Return the median time of `work(i)`, ms."""
    taken = []
    for i in range(repeats):
        start = time.perf_counter()
        work(i)
        taken.append(time.perf_counter() - start)
    return 1e3 * statistics.median(taken)


class InMemory:
    """The frames as footage."""

    def __init__(self, frames: list[Frame]) -> None:
        start = datetime(2026, 1, 1, tzinfo=UTC)
        self.info = SourceInfo("frames", "frames", COLUMNS, ROWS, SCALE, False, start)
        self.frames = frames
        self.times_s = np.array([frame.time_s for frame in frames])
        self.first = 0
        self.supply: SupplyLog | None = None
        self.marks: tuple[Mark, ...] = ()

    def __len__(self) -> int:
        return len(self.frames)

    def frame(self, number: int) -> Frame:
        return self.frames[number]

    def close(self) -> None:
        pass


def widget_ms(frames: list[Frame]) -> float:
    """Return what a frame costs the widget, from being shown to painted, with 20 regions."""
    desk = Desk()
    desk.session = Session.replay(InMemory(frames))  # not started: nothing else runs
    desk.display.start(SCALE)
    view = PictureView(desk)
    view.resize(1000, 720)
    for i in range(20):
        x, y = 20.0 + 120 * (i % 5), 20.0 + 120 * (i // 5)
        desk.document.add(Rectangle(x, y, 40, 30) if i % 2 else Ellipse(x + 20, y + 20, 20, 15))
    screen = QImage(view.canvas.size(), QImage.Format.Format_RGB32)

    def work(i: int) -> None:
        desk.shown, desk.shown_number = frames[i % 8], i % 8
        desk.frame_shown.emit(desk.shown)
        view.canvas.render(screen)

    taken_ms = median_ms(work, 60)
    desk.shut()
    return taken_ms


def main() -> None:
    """Print one line per kind of picture."""
    app = QApplication.instance() or QApplication([])
    rng = np.random.default_rng(0)
    frames = [
        Frame(rng.normal(30_000 + i, 40, (ROWS, COLUMNS)).astype(np.uint16), i / 25, i, SCALE)
        for i in range(8)
    ]
    floats = [Frame(f.counts.astype(np.float32), f.time_s, f.index, SCALE) for f in frames]
    display = Display()
    display.start(SCALE, Scene())
    painter = FramePainter(display)
    copy_ms = median_ms(lambda i: frames[i % 8].counts.copy())

    def auto(i: int) -> None:
        display.set_level(299.0 + i * 1e-3, 301.0)  # the axis moves: another table every time
        painter.paint(frames[i % 8])

    screen = QImage(1280, 1024, QImage.Format.Format_RGB32)

    def drawn(smooth: bool, turns: int) -> float:
        mapping = Mapping.fitted((COLUMNS, ROWS), (1280, 1024), turns)

        def work(i: int) -> None:
            picture = painter.paint(frames[i % 8])
            pen = QPainter(screen)
            pen.setTransform(mapping.transform())
            pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, smooth)
            pen.drawImage(0, 0, picture)
            pen.end()

        return median_ms(work, 60)

    rows = {
        "automatic level (robust range)": median_ms(lambda i: display.observe(frames[i % 8])),
        "counts to colours": median_ms(lambda i: painter.paint(frames[i % 8])),
        "counts to colours, axis moved": median_ms(auto),
        "float picture to colours": median_ms(lambda i: painter.paint(floats[i % 8])),
    }
    display.set_baseline(np.full((ROWS, COLUMNS), 300, np.float32))
    display.set_view(View.RISE)
    rows["rise to colours"] = median_ms(lambda i: painter.paint(frames[i % 8]))
    display.set_view(View.TEMPERATURE)
    rows["… and drawn at 1280 x 1024, plain"] = drawn(False, 0)
    rows["… and drawn at 1280 x 1024, smooth"] = drawn(True, 0)
    rows["… and drawn, smooth, turned by 90°"] = drawn(True, 1)
    rows["the widget: level, picture, 20 regions, labels"] = widget_ms(frames)
    print(f"{'one memory copy of the frame':48} {copy_ms:8.3f} ms")
    for words, cost_ms in rows.items():
        print(f"{words:48} {cost_ms:8.3f} ms  {cost_ms / copy_ms:7.1f} x the copy")
    del app


if __name__ == "__main__":
    main()
