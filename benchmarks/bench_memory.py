"""Resident memory over ten simulated minutes of 640 x 512 at 60 per second, recording included.

python benchmarks/bench_memory.py [MINUTES]
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import psutil  # type: ignore[import-untyped]
from bench_pipeline import SCALE, SHAPE, info_of, twenty_regions

from thermview.errors import SourceEndedError
from thermview.frames import Frame
from thermview.session import Session

RATE_HZ = 60.0


class Simulated:
    """Computed pictures as fast as they are taken; their times are those of a 60 Hz camera."""

    def __init__(self, frames: int) -> None:
        self.info = replace(info_of(SHAPE), live=False)
        ramp = np.linspace(29000, 30000, SHAPE[0] * SHAPE[1]).reshape(SHAPE)
        self._warm = [(ramp + 10 * phase).astype(np.uint16) for phase in range(16)]
        self._frames = frames
        self._number = 0

    def read(self, timeout_s: float) -> Frame:
        number = self._number
        if number == self._frames:
            raise SourceEndedError("done")
        self._number += 1
        counts = self._warm[number % 16].copy()
        return Frame(counts, number / RATE_HZ, number, SCALE)

    def close(self) -> None:
        pass


def main() -> None:
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    process = psutil.Process()
    with tempfile.TemporaryDirectory() as folder:
        session = Session.live(Simulated(int(minutes * 60 * RATE_HZ)), history_bytes=100 * 10**6)
        session.set_regions(twenty_regions(SHAPE))
        session.start_recording(Path(folder) / "a.h5")
        start = time.perf_counter()
        session.start()
        print("minute  resident MB  of which curves MB (grow by design: 20 regions, 7 numbers)")
        levels = []
        for minute in range(1, minutes + 1):
            goal = int(minute * 60 * RATE_HZ)
            while len(session.footage) < goal and not session.wait(0.05):
                pass
            rows = len(session.curves)
            levels.append(process.memory_info().rss / 1e6 - rows * 20 * 7 * 4 / 1e6)
            print(f"{minute:6d}  {process.memory_info().rss / 1e6:11.0f}  {rows * 560 / 1e6:.0f}")
        session.wait()
        took_s = time.perf_counter() - start
        summary = session.stop_recording()
        session.close()
    half = len(levels) // 2
    growth = np.mean(levels[half:]) - np.mean(levels[:half]) if half else 0.0
    assert summary is not None
    print(f"second half against first, without the curves: {growth:+.0f} MB")
    print(f"{summary.frames} frames in the file, {summary.dropped} missing, in {took_s:.0f} s")


if __name__ == "__main__":
    main()
