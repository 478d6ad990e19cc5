"""Redraw cost of the strip: 20 curves over an hour, beside pyqtgraph's plot of the same curves.

Run with `python benchmarks/bench_strip.py`; it needs no screen.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtWidgets import QApplication

from thermview.analysis.decimate import PixelColumns
from thermview.ui.display import Display
from thermview.ui.strip.content import Content, Curve, Lane, gap_spans, held_spans
from thermview.ui.strip.plot import Plot
from thermview.ui.strip.timeline import Timeline
from thermview.ui.theme import tokens

CURVES, WIDTH, HEIGHT = 20, 1600, 320


def median_ms(work: Callable[[], object], repeats: int = 15) -> float:
    work()
    spent = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent) * 1e3


def noisy_curves(count: int) -> list[NDArray[np.float32]]:
    rng = np.random.default_rng(1)
    along = np.linspace(0.0, 1.0, count)
    return [
        (296.0 + (2 + i) * (1 - np.exp(-5 * along)) + rng.normal(0, 0.1, count)).astype(np.float32)
        for i in range(CURVES)
    ]


class Ours:
    """The strip's plot, made anew for every redraw: nothing of the curves is kept."""

    def __init__(self, times_s: NDArray[np.float64], values: list[NDArray[np.float32]]) -> None:
        self.times_s, self.values = times_s, values
        self.display = Display()
        self.display.set_level(295.0, 320.0)
        self.timeline = Timeline()
        self.timeline.set_film(0.0, float(times_s[-1]), live=False, follow=False)
        self.held = np.zeros(len(times_s), dtype=np.bool_)

    def redraw(self) -> Plot:
        curves = tuple(
            Curve(Lane.MAIN, str(i), f"U{i}", v, tokens().region_colour(i), slot=i)
            for i, v in enumerate(self.values)
        )
        content = Content(
            self.times_s,
            curves,
            held_s=held_spans(self.times_s, self.held),
            gaps_s=gap_spans(self.times_s, 0.16),
        )
        return Plot(
            content,
            self.timeline,
            self.display,
            theme=tokens(),
            size=(WIDTH, HEIGHT),
            pixel_ratio=1.0,
        )

    def reduce(self) -> None:
        shares = PixelColumns.of(self.times_s, 0.0, float(self.times_s[-1]), 1400)
        for values in self.values:
            shares.band(values)


def theirs(
    times_s: NDArray[np.float64], values: list[NDArray[np.float32]], method: str, width_px: float
) -> tuple[pg.PlotWidget, Callable[[], object]]:
    """Return pyqtgraph's plot and a redraw after a small change of the view, as in panning."""
    widget = pg.PlotWidget()
    widget.resize(WIDTH, HEIGHT)
    widget.setAntialiasing(True)
    for i, one in enumerate(values):
        curve = widget.plot(times_s, one, pen=pg.mkPen(tokens().region_colour(i), width=width_px))
        curve.setDownsampling(auto=True, method=method)
        curve.setClipToView(True)
    widget.show()
    end_s = float(times_s[-1])
    turn = [0]

    def redraw() -> None:
        turn[0] += 1
        widget.setXRange(0.0, end_s * (1.0 - 1e-4 * (turn[0] % 2)), padding=0)
        widget.grab()

    return widget, redraw


def main() -> None:
    app = QApplication.instance() or QApplication([])
    for count in (90_000, 900_000):
        times_s = np.arange(count) / 25.0
        values = noisy_curves(count)
        ours = Ours(times_s, values)
        reduced, whole = median_ms(ours.reduce), median_ms(ours.redraw)
        print(f"{CURVES} curves x {count:,} points, {WIDTH} x {HEIGHT} px; medians, ms")
        print(f"  strip: curves to pixel columns       {reduced:8.2f}")
        print(f"  strip: whole chart, 1.6 px lines     {whole:8.2f}")
        for method, width_px in (("peak", 1.0), ("peak", 1.6), ("subsample", 1.0)):
            widget, redraw = theirs(times_s, values, method, width_px)
            spent = median_ms(redraw, 5)
            label = f"pyqtgraph: {method}, {width_px} px lines"
            print(f"  {label:<37}{spent:8.2f}   {spent / whole:5.1f} times the strip's")
            widget.close()
    load = Path("/proc/loadavg")
    if load.exists():
        print(f"load of the machine meanwhile: {load.read_text().split()[0]}")
    app.processEvents()


if __name__ == "__main__":
    main()
