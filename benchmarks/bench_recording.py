"""Recorder throughput and random access at 640x512, beside bare numpy, all in one run.

Run: python benchmarks/bench_recording.py [--frames N] [--folder DIR]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame, Scale, SourceInfo
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer

ROWS, COLUMNS, RATE_HZ = 512, 640, 60.0
SCALE = Scale(0.01)


def pictures(count: int = 16) -> list[NDArray[np.uint16]]:
    """Return a warm spot on a board at 23 °C, with 50 mK of noise, in steps of 0.01 K."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:ROWS, :COLUMNS]
    scene = 29615 + 1500 * np.exp(-((y - 200) ** 2 + (x - 300) ** 2) / 3200)
    return [(scene + rng.normal(0, 5, (ROWS, COLUMNS))).astype(np.uint16) for _ in range(count)]


def timed(work: Callable[[], None]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def record(path: Path, film: list[NDArray[np.uint16]], frames: int) -> list[float]:
    """Record, and return the time of every `take`, s."""
    info = SourceInfo("b", "b", COLUMNS, ROWS, SCALE, True, datetime.now(UTC), RATE_HZ)
    taken = []
    with Writer(path, info, force=True) as writer:
        for n in range(frames):
            frame = Frame(film[n % len(film)], n / RATE_HZ, n, SCALE)
            taken.append(timed(lambda frame=frame: writer.take(frame)))  # type: ignore[misc]
    return taken


def bare_memmap(path: Path, film: list[NDArray[np.uint16]], frames: int) -> None:
    shape = (frames, ROWS, COLUMNS)
    array = np.lib.format.open_memmap(path, mode="w+", dtype=np.uint16, shape=shape)
    for n in range(frames):
        array[n] = film[n % len(film)]
    array.flush()


def bare_files(folder: Path, film: list[NDArray[np.uint16]], frames: int) -> None:
    folder.mkdir()
    for n in range(frames):
        np.save(folder / f"{n}.npy", film[n % len(film)])


def accesses(path: Path, frames: int) -> NDArray[np.float64]:
    """Return the times of 1,000 frames asked for at random, ms."""
    order = np.random.default_rng(2).integers(0, frames, 1000)
    with open_recording(path) as recording:
        times = [timed(lambda n=n: void(recording.frame(int(n)))) for n in order]  # type: ignore[misc]
    return np.array(times) * 1e3


def void(_: object) -> None:
    return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=3000)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    film = pictures()
    frames: int = options.frames
    picture_bytes = film[0].nbytes
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        path = folder / "r.h5"
        take_s = np.zeros(0)
        whole_s = timed(lambda: void(record(path, film, 8)))  # warm up
        start = time.perf_counter()
        take_s = np.array(record(path, film, frames))
        whole_s = time.perf_counter() - start
        stored = path.stat().st_size / frames / picture_bytes
        memmap_s = timed(lambda: bare_memmap(folder / "m.npy", film, min(frames, 1000)))
        files_s = timed(lambda: bare_files(folder / "f", film, min(frames, 1000)))
        ask_ms = accesses(path, frames)
    bare = min(frames, 1000)
    rate, memmap_rate, files_rate = frames / whole_s, bare / memmap_s, bare / files_s
    slow_ms = np.percentile(take_s, 99) * 1e3
    print(f"{frames} frames of {COLUMNS} × {ROWS}, {picture_bytes / 1e3:.0f} kB each")
    print(f"recorder            {rate:7.0f} frames/s = {rate / RATE_HZ:5.1f} × 60 per second")
    print(f"  longest take      {take_s.max() * 1e3:7.1f} ms; 99th % {slow_ms:.1f} ms")
    print(f"  size              {stored:7.2f} of the bare counts")
    print(
        f"bare numpy memmap   {memmap_rate:7.0f} frames/s; recorder {rate / memmap_rate:.2f} × that"
    )
    print(
        f"bare numpy .npy     {files_rate:7.0f} frames/s; recorder {rate / files_rate:.2f} × that"
    )
    print(
        f"frame at random     {np.median(ask_ms):7.2f} ms median, "
        f"{np.percentile(ask_ms, 99):.2f} ms 99th %, {ask_ms.max():.2f} ms longest"
    )


if __name__ == "__main__":
    main()
