"""The thread that writes a recording: never in the way of the frames, never silent about losses."""

from __future__ import annotations

import queue
import threading
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from thermview.errors import InputError, ThermviewError
from thermview.frames import Frame, Mark, SupplySample
from thermview.radiometry.shiny import ShinyMap
from thermview.session.ledger import Ledger
from thermview.session.states import EventKind

QUEUE_BYTES = 128 * 2**20
"""Pictures waiting for the disk: three seconds of 640x512 at 60 per second."""


class FrameWriter(Protocol):
    """What the recorder needs of `recording.Writer`."""

    def take(self, frame: Frame) -> None: ...  # noqa: D102
    def take_supply(self, samples: Iterable[SupplySample]) -> None: ...  # noqa: D102
    def add_mark(self, mark: Mark) -> None: ...  # noqa: D102
    def set_marks(self, marks: Iterable[Mark]) -> None: ...  # noqa: D102
    def frame(self, number: int) -> Frame: ...  # noqa: D102
    def set_shiny(self, shiny: ShinyMap | None) -> None: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class RecordingStatus:
    """How a recording stands: file, frames in it, its length (s), frames it missed, trouble."""

    path: Path
    frames: int
    seconds: float
    dropped: int
    trouble: str = ""


RecordingSummary = RecordingStatus
"""What a stopped recording amounted to."""


@dataclass(frozen=True, slots=True)
class _Numbered:
    number: int
    frame: Frame


Samples = tuple[SupplySample, ...]


@dataclass(frozen=True, slots=True)
class ShinyNote:
    """Which places are shiny, as known now; None: nothing is known any more."""

    shiny: ShinyMap | None


Item = _Numbered | Samples | Mark | ShinyNote


class Recorder:
    """Writes frames to one file on a thread of its own; also an `Archive` of what it wrote.

    Parameters
    ----------
    writer : FrameWriter
        Open, and closed by the recorder.
    path : Path
        Where it writes, for the status.
    ledger : Ledger
        Told of every frame that missed the file, and of trouble.
    before : iterable of (number, Frame)
        Frames from before the start, written first.
    """

    def __init__(
        self,
        writer: FrameWriter,
        path: Path,
        ledger: Ledger,
        before: Iterable[tuple[int, Frame]] = (),
    ) -> None:
        info = ledger.info
        self._writer = writer
        self._path = path
        self._ledger = ledger
        self._patient = not info.live
        self._before = [_Numbered(number, frame) for number, frame in before]
        frames = max(4, QUEUE_BYTES // (2 * info.width_px * info.height_px))
        self._room = threading.BoundedSemaphore(frames)
        self._queue: queue.SimpleQueue[Item | None] = queue.SimpleQueue()
        self._numbers: list[int] = []
        self._span_s: tuple[float, float] = (0.0, 0.0)
        self._marks: tuple[Mark, ...] = ()
        self._dropped = 0
        self._trouble = ""
        self._thread = threading.Thread(target=self._run, name="thermview recorder", daemon=True)

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def offer(self, number: int, frame: Frame) -> None:
        """Take the session's frame `number`; dropped and counted where the disk is too slow."""
        if self._room.acquire(blocking=self._patient):
            self._queue.put(_Numbered(number, frame))
        else:
            self._drop()

    def note(self, item: Samples | Mark | ShinyNote) -> None:
        """Take what comes beside the frames; it is small and never dropped for want of room."""
        self._queue.put(item)

    def stop(self, marks: Iterable[Mark]) -> RecordingSummary:
        """Write what waits, put the marks as they stand now, close the file. Once."""
        self._marks = tuple(marks)
        self._queue.put(None)
        self._thread.join()
        return self.status()

    def status(self) -> RecordingStatus:
        """Return how the recording stands."""
        start_s, end_s = self._span_s
        return RecordingStatus(
            self._path, len(self._numbers), end_s - start_s, self._dropped, self._trouble
        )

    def span(self) -> tuple[int, int]:
        """Return the session's numbers in the file: the first, and one behind the last."""
        if not self._numbers:
            return (0, 0)
        return self._numbers[0], self._numbers[-1] + 1

    def place(self, number: int) -> int:
        """Return where in the file the session's frame `number` is.

        Raises
        ------
        InputError
            The frame did not reach the file.
        """
        place = bisect_left(self._numbers, number)
        if place < len(self._numbers) and self._numbers[place] == number:
            return place
        raise InputError(f"frame {number} is not in {self._path}: it did not reach the file")

    def frame(self, number: int) -> Frame:
        """Return the session's frame `number` from the file."""
        return self._writer.frame(self.place(number))

    def _run(self) -> None:
        for item in self._before:
            self._write(item)
        self._before.clear()
        while (waiting := self._queue.get()) is not None:
            self._write(waiting)
            if isinstance(waiting, _Numbered):
                self._room.release()
        try:
            if not self._trouble:
                self._writer.set_marks(m for m in self._marks if m.time_s >= self._span_s[0])
            self._writer.close()
        except (ThermviewError, OSError) as error:
            self._fail(error)

    def _write(self, item: Item) -> None:
        written = False
        if not self._trouble:
            try:
                self._hand_over(item)
                written = True
            except InputError as error:  # this one does not fit; the recording goes on
                self._ledger.tell(EventKind.WARNING, str(error))
            except (ThermviewError, OSError) as error:
                self._fail(error)
        if not written and isinstance(item, _Numbered):
            self._drop()

    def _hand_over(self, item: Item) -> None:
        match item:
            case Mark():
                self._writer.add_mark(item)
            case ShinyNote(shiny):
                self._writer.set_shiny(shiny)
            case _Numbered(number, frame):
                self._writer.take(frame)
                start_s = self._span_s[0] if self._numbers else frame.time_s
                self._numbers.append(number)
                self._span_s = (start_s, frame.time_s)
            case _:
                self._writer.take_supply(item)

    def _drop(self) -> None:
        self._dropped += 1
        self._ledger.losses.add(writer_dropped=1)

    def _fail(self, error: Exception) -> None:
        self._trouble = str(error) or type(error).__name__
        self._ledger.tell(EventKind.WARNING, self._trouble)
