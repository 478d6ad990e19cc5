"""Sources and recordings that tests steer by hand."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from thermview.errors import SourceEndedError, ThermviewError
from thermview.frames import Frame, Mark, Scale, SourceInfo, SupplyLog, SupplySample

SCALE = Scale(0.01, 0.0)
START = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)


def info_of(
    shape: tuple[int, int] = (8, 10), *, live: bool = True, rate_hz: float | None = 25.0
) -> SourceInfo:
    return SourceInfo("a source", "fake", shape[1], shape[0], SCALE, live, START, rate_hz=rate_hz)


def picture(kelvin: float, shape: tuple[int, int] = (8, 10)) -> NDArray[np.uint16]:
    return np.full(shape, round(kelvin / SCALE.k_per_count), dtype=np.uint16)


def frame_at(number: int, kelvin: float = 300.0, **rest: object) -> Frame:
    return Frame(picture(kelvin), number * 0.04, number, SCALE, **rest)  # type: ignore[arg-type]


class ScriptedSource:
    """Delivers what it is fed: frames, None for a read in vain, errors to raise."""

    def __init__(
        self, script: Iterable[Frame | ThermviewError | None] = (), info: SourceInfo | None = None
    ) -> None:
        self.info = info or info_of()
        self._script = deque(script)
        self._fed = threading.Condition()
        self.closed = False
        self.samples: list[SupplySample] = []

    def feed(self, *items: Frame | ThermviewError | None) -> None:
        with self._fed:
            self._script.extend(items)
            self._fed.notify_all()

    def end(self) -> None:
        self.feed(SourceEndedError("the film is over"))

    def read(self, timeout_s: float) -> Frame | None:
        with self._fed:
            self._fed.wait_for(lambda: self._script or self.closed, timeout_s)
            item = self._script.popleft() if self._script else None
        if isinstance(item, ThermviewError):
            raise item
        return item

    def take_supply(self) -> list[SupplySample]:
        taken, self.samples = self.samples, []
        return taken

    def close(self) -> None:
        with self._fed:
            self.closed = True
            self._fed.notify_all()


class Film:
    """Frames in memory as a footage."""

    def __init__(self, frames: list[Frame], marks: tuple[Mark, ...] = ()) -> None:
        rows, columns = frames[0].shape
        self.info = info_of((rows, columns), live=False)
        self.times_s = np.array([f.time_s for f in frames])
        self.first = 0
        self.supply: SupplyLog | None = None
        self.marks = marks
        self.reads = 0
        self.closed = False
        self._frames = frames

    def __len__(self) -> int:
        return len(self._frames)

    def frame(self, number: int) -> Frame:
        self.reads += 1
        return self._frames[number]

    def close(self) -> None:
        self.closed = True


class FakeClock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def until(condition: Callable[[], bool], timeout_s: float = 60.0) -> None:
    """Wait for another thread to bring something about; fail where it does not."""
    waiting = threading.Event()
    for _ in range(round(timeout_s / 0.002)):
        if condition():
            return
        waiting.wait(0.002)
    raise AssertionError("what was waited for did not come about")
