"""Cost of a frame through the whole pipeline, beside a bare numpy script and one memory copy.

python benchmarks/bench_pipeline.py
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame, Scale, Scene, SourceInfo
from thermview.radiometry import object_temperature, setting_for
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer
from thermview.regions import Ellipse, Polygon, Rectangle, Region, RegionSet, Shape, pixel_mask
from thermview.session.intake import Intake
from thermview.session.ledger import Ledger
from thermview.session.pipeline import Plan
from thermview.session.session import Session

SHAPE = (512, 640)
SCALE = Scale(0.01)
ROUNDS, FRAMES = 7, 40


def info_of(shape: tuple[int, int]) -> SourceInfo:
    start = datetime(2024, 1, 1, tzinfo=UTC)
    return SourceInfo("bench", "bench", shape[1], shape[0], SCALE, True, start, rate_hz=60.0)


def pictures(count: int, shape: tuple[int, int]) -> list[NDArray[np.uint16]]:
    rng = np.random.default_rng(0)
    return [rng.integers(29000, 33000, shape, dtype=np.uint16) for _ in range(count)]


def twenty_regions(shape: tuple[int, int]) -> RegionSet:
    """Parts of a board: rectangles, ellipses and polygons of some hundred pixels."""
    regions = []
    for number in range(20):
        row, column = divmod(number, 5)
        x, y = 0.03 + column * 0.19, 0.05 + row * 0.23
        left, top, width, height = (
            x * shape[1], y * shape[0], 0.08 * shape[1], 0.08 * shape[0],
        )  # fmt: skip
        corners = ((left, top), (left + width, top + height / 3), (left, top + height))
        kinds: tuple[Shape, ...] = (
            Rectangle(left, top, width, height),
            Ellipse(left + width / 2, top + height / 2, width / 2, height / 2),
            Polygon(corners),
        )
        regions.append(Region(f"R{number}", kinds[number % 3]))
    return RegionSet(tuple(regions))


Place = tuple[NDArray[np.bool_], NDArray[np.intp], NDArray[np.intp]]


def places_of(regions: RegionSet) -> list[Place]:
    """Return each region's mask, and the rows and columns of its pixels; made once."""
    masks = [pixel_mask(r.shape, SHAPE) for r in regions.regions]
    return [(mask, np.nonzero(mask)[0], np.nonzero(mask)[1]) for mask in masks]


def object_table(scene: Scene) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return apparent and object temperatures, K, between which a script interpolates."""
    setting = setting_for(None, None, scene)
    assert setting is not None
    apparent_k = np.linspace(250.0, 400.0, 1501)
    return apparent_k, object_temperature(apparent_k, setting)


def bare_script(
    places: list[Place],
    counts: NDArray[np.uint16],
    table: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> list[float]:
    """What a user would write for the same numbers: least, mean, most, and where."""
    kelvin = counts * SCALE.k_per_count + SCALE.offset_k
    row: list[float] = []
    for mask, rows, columns in places:
        inside = kelvin[mask] if table is None else np.interp(kelvin[mask], *table)
        low, high = inside.argmin(), inside.argmax()
        row += [inside[low], inside.mean(), inside[high]]
        row += [columns[high] + 0.5, rows[high] + 0.5, columns[low] + 0.5, rows[low] + 0.5]
    return row


def milliseconds(work: Callable[[int], object]) -> float:
    """Return the median over the rounds of the time a frame takes, ms."""
    rounds = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for number in range(FRAMES):
            work(number)
        rounds.append((time.perf_counter() - start) / FRAMES * 1e3)
    return statistics.median(rounds)


def pipeline_of(regions: RegionSet, scene: Scene) -> tuple[Ledger, Intake]:
    ledger = Ledger(info_of(SHAPE))
    ledger.curves.set_columns(Plan(ledger.info, scene, regions).keys())
    return ledger, Intake(ledger, history_bytes=50 * 10**6)


def whole_pipeline(regions: RegionSet, scene: Scene) -> float:
    """Time a frame from the queue's end: history, curves, measuring, triggers, mailbox; ms."""
    counts = pictures(FRAMES, SHAPE)
    _, intake = pipeline_of(regions, scene)
    seen = 0

    def work(number: int) -> None:
        nonlocal seen
        intake.take_frame(Frame(counts[number], seen / 60, seen, SCALE), resumed=False)
        seen += 1

    return milliseconds(work)


def agreement_k(regions: RegionSet) -> float:
    """Return the largest difference between both ways' numbers."""
    counts = pictures(1, SHAPE)[0]
    ledger, intake = pipeline_of(regions, Scene())
    intake.take_frame(Frame(counts, 0.0, 0, SCALE), resumed=False)
    curves = ledger.curves
    names = ("min", "mean", "max", "max_x", "max_y", "min_x", "min_y")
    ours = [curves.value(r.id, name, 0) for r in regions.regions for name in names]
    bare = bare_script(places_of(regions), counts)
    return float(np.max(np.abs(np.subtract(ours, bare))))


def measuring_a_recording(frames: int, shape: tuple[int, int]) -> tuple[float, float]:
    """Return seconds to measure a recording throughout: all at first, then a changed region."""
    regions = twenty_regions(shape)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.h5"
        warm = [p // 100 + 29000 for p in pictures(16, shape)]
        with Writer(path, info_of(shape)) as writer:
            for number in range(frames):
                writer.take(Frame(warm[number % 16], number / 25, number, SCALE))
        session = Session.replay(open_recording(path))
        session.set_regions(regions)
        start = time.perf_counter()
        session.start()
        session.wait_measured()
        first_s = time.perf_counter() - start
        moved = Region("R0", Rectangle(5, 5, 30, 30), id=regions.regions[0].id)
        start = time.perf_counter()
        session.set_regions(RegionSet((moved, *regions.regions[1:])))
        session.wait_measured()
        again_s = time.perf_counter() - start
        session.close()
    return first_s, again_s


def main() -> None:
    regions = twenty_regions(SHAPE)
    places = places_of(regions)
    counts = pictures(FRAMES, SHAPE)
    room = np.empty_like(counts[0])
    print(f"per frame, {SHAPE[1]} x {SHAPE[0]}, {len(places)} regions, median of {ROUNDS} rounds")
    copy_ms = milliseconds(lambda number: np.copyto(room, counts[number]))
    bare_ms = milliseconds(lambda number: bare_script(places, counts[number]))
    painted = Scene(emissivity=0.92)
    table = object_table(painted)
    bare_object_ms = milliseconds(lambda number: bare_script(places, counts[number], table))
    ours_ms = whole_pipeline(regions, Scene())
    object_ms = whole_pipeline(regions, painted)
    print(f"  one memory copy of the frame          {copy_ms:8.3f} ms")
    for what, bare, ours in (
        ("apparent temperature", bare_ms, ours_ms),
        ("with an emissivity", bare_object_ms, object_ms),
    ):
        print(
            f"  {what:20s}  bare numpy script {bare:7.3f} ms, whole pipeline {ours:7.3f} ms: "
            f"{bare / ours:.1f} x faster, {ours / copy_ms:.1f} x a copy"
        )
    print(f"  largest difference of the numbers     {agreement_k(regions):8.1e} (K or px)")
    first_s, again_s = measuring_a_recording(3000, (192, 256))
    print("measuring a recording of 3000 frames of 256 x 192, 20 regions, in the background")
    print(f"  all regions {first_s:.2f} s, one moved region again {again_s:.2f} s")


if __name__ == "__main__":
    main()
