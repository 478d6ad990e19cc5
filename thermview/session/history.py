"""Frames of a live session that can still be had: the newest in memory, more in the recording."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.frames import Frame, Mark, SourceInfo, SupplyLog
from thermview.session.ledger import Ledger


class Archive(Protocol):
    """Frames kept in a file, by the session's numbers."""

    def span(self) -> tuple[int, int]:
        """Return the first number and the one behind the last; equal when empty."""
        ...

    def frame(self, number: int) -> Frame:
        """Return a frame in the span; InputError where it did not reach the file."""
        ...


class History:
    """A `Footage` of a session that is still growing.

    Keeps the newest `max_bytes` of pictures, at least two; older ones come from the recording
    being written (or the last one written), as long as it reaches up to those in memory.
    """

    def __init__(
        self, ledger: Ledger, max_bytes: int, supply: Callable[[], SupplyLog | None]
    ) -> None:
        self.info: SourceInfo = ledger.info
        self._ledger = ledger
        self._supply = supply
        self._max_bytes = max_bytes
        self._ring: deque[Frame] = deque()
        self._bytes = 0
        self._count = 0
        self._archive: Archive | None = None
        self._lock = threading.Lock()

    def append(self, frame: Frame) -> None:
        """Take the next frame; the curves have its row already."""
        with self._lock:
            self._ring.append(frame)
            self._count += 1
            self._bytes += frame.counts.nbytes
            while self._bytes > self._max_bytes and len(self._ring) > 2:
                self._bytes -= self._ring.popleft().counts.nbytes

    def attach(self, archive: Archive | None) -> None:
        """Say where frames that left the memory are."""
        with self._lock:
            self._archive = archive

    def since(self, time_s: float) -> list[tuple[int, Frame]]:
        """Return the frames in memory from a time on, with their numbers."""
        with self._lock:
            start = self._count - len(self._ring)
            return [(start + i, f) for i, f in enumerate(self._ring) if f.time_s >= time_s]

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the frames' times, s, shape (len,)."""
        return self._ledger.curves.times_s[: self._count]

    @property
    def first(self) -> int:
        """Return the oldest frame that can be had."""
        with self._lock:
            oldest, archive = self._count - len(self._ring), self._archive
        if archive is not None:
            start, stop = archive.span()
            if start < oldest <= stop:
                return start
        return oldest

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's log so far."""
        return self._supply()

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the session's marks."""
        return self._ledger.marks.all

    def __len__(self) -> int:
        return self._count

    def frame(self, number: int) -> Frame:
        """Return a frame (see `Footage`)."""
        with self._lock:
            oldest, archive = self._count - len(self._ring), self._archive
            if oldest <= number < self._count:
                return self._ring[number - oldest]
        if archive is not None:
            start, stop = archive.span()
            if start <= number < stop:
                return archive.frame(number)
        if 0 <= number < self._count:
            raise InputError(f"frame {number} is no longer held; the oldest is {self.first}")
        raise IndexError(f"frame {number} of {self._count}")

    def close(self) -> None:
        """Let go of the pictures."""
        with self._lock:
            self._ring.clear()
            self._bytes = 0
            self._archive = None
