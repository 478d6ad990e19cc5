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
from thermview.session.session import Session

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


def run(minutes: int, recorded: Path | None) -> None:
    process = psutil.Process()
    session = Session.live(Simulated(int(minutes * 60 * RATE_HZ)), history_bytes=100 * 10**6)
    session.set_regions(twenty_regions(SHAPE))
    if recorded is not None:
        session.start_recording(recorded)
    start = time.perf_counter()
    session.start()
    print(f"{'with' if recorded else 'without'} a recording")
    print("minute  resident MB  curves MB (of 20 regions, kept for the whole session)")
    rest = []
    for minute in range(1, minutes + 1):
        goal = int(minute * 60 * RATE_HZ)
        while len(session.footage) < goal and not session.wait(0.02):
            pass
        resident, curves = process.memory_info().rss / 1e6, session.curves.nbytes / 1e6
        rest.append(resident - curves)
        print(f"{minute:6d}  {resident:11.0f}  {curves:9.0f}")
    session.wait()
    took_s = time.perf_counter() - start
    summary = session.stop_recording()
    lost = session.losses.lost
    session.close()
    half = len(rest) // 2
    growth = np.mean(rest[half:]) - np.mean(rest[:half]) if half else 0.0
    print(f"second half against first, without the curves: {growth:+.0f} MB; lost {lost}")
    if summary is not None:
        print(f"{summary.frames} frames in the file, {summary.dropped} missing")
    print(f"{minutes * 60 * RATE_HZ / took_s:.0f} frames/s")


def main() -> None:
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    run(minutes, None)
    with tempfile.TemporaryDirectory() as folder:
        run(minutes, Path(folder) / "a.h5")


if __name__ == "__main__":
    main()
