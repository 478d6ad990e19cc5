"""Plays a recording as if it were live, frame by frame at its own times."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from thermview.errors import SourceEndedError, UsageError
from thermview.frames import Footage, Frame, SourceInfo, SupplySample


class FootagePlayer:
    """A `FrameSource` and `SupplyFeed` that gives a footage's frames when they are due.

    Parameters
    ----------
    footage : Footage
        Closed with the player.
    speed : float
        1 for the recorded pace, 2 for twice as fast.
    clock, sleep : callable
        Seconds, and a wait of so many seconds; `sleep` may return early when `close` is called.
    """

    def __init__(
        self,
        footage: Footage,
        speed: float = 1.0,
        *,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] | None = None,
    ) -> None:
        if not (np.isfinite(speed) and speed > 0):
            raise UsageError(f"the speed is {speed}; it must be above 0")
        self._footage = footage
        self._times_s = footage.times_s
        self._speed = speed
        self._clock = clock
        self._closed = threading.Event()
        self._sleep = sleep or self._closed.wait
        self._next = footage.first
        self._begun_at: float | None = None
        self._supply_next = 0
        self._info = replace(footage.info, live=True)

    @property
    def info(self) -> SourceInfo:
        """Return the footage's description, as a live source."""
        return self._info

    @property
    def placement_csv(self) -> str | None:
        """Return the placement list that the footage carries, None where there is none."""
        return getattr(self._footage, "placement_csv", None)

    @property
    def landmarks_json(self) -> str | None:
        """Return the landmarks that the footage carries, None where there are none."""
        return getattr(self._footage, "landmarks_json", None)

    def read(self, timeout_s: float) -> Frame | None:
        """Return the next frame when it is due, or None when that is later than `timeout_s`.

        Raises
        ------
        SourceEndedError
            After the last frame, or once closed.
        InputError
            The frame cannot be read; the next call goes on to the one after it.
        """
        if self._closed.is_set():
            raise SourceEndedError("the source is closed")
        number = self._next
        if number >= len(self._times_s):
            raise SourceEndedError(f"{self._info.name} has ended after {number} frames")
        wait_s = self._due_at(number) - self._clock()
        if wait_s > 0:
            self._sleep(min(wait_s, timeout_s))
            if self._closed.is_set() or wait_s > timeout_s:
                return None
        self._next = number + 1
        return self._footage.frame(number)

    def take_supply(self) -> list[SupplySample]:
        """Return the supply's readings up to the last frame given, since the last call."""
        log = self._footage.supply
        if log is None or self._next == self._footage.first:
            return []
        now_s = self._times_s[self._next - 1]
        stop = int(np.searchsorted(log.time_s, now_s, side="right"))
        rows = range(self._supply_next, stop)
        self._supply_next = max(stop, self._supply_next)
        return [
            SupplySample(float(log.time_s[i]), float(log.voltage_v[i]), float(log.current_a[i]))
            for i in rows
        ]

    def close(self) -> None:
        """Stop a waiting `read` and let go of the footage."""
        self._closed.set()
        self._footage.close()

    def _due_at(self, number: int) -> float:
        if self._begun_at is None:
            self._begun_at = self._clock()
        passed_s = float(self._times_s[number] - self._times_s[self._footage.first])
        return self._begun_at + passed_s / self._speed
