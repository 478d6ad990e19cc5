"""A stretch of footage, thinned by averaging, so that its analysis is bounded in memory."""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.prepare import alike
from thermview.frames import Footage, FootageOver, Frame, Mark, SupplyLog

MOST_BYTES = 72 * 2**20
"""Of pictures in single precision; the analysis holds a few times as much."""
FEWEST, MOST = 60, 400
LOOKED_AT, USUAL_SHARE = 40, 0.1
"""Where more than this share of the pictures in so many frames come again, that says nothing."""


class Stretch(FootageOver):
    """Footage between two moments; each of its frames is the mean of equally many.

    A group in which the picture was held, by the shutter or because it stood still, is held as a
    whole: what comes after it may have another offset. Of a slow sensor behind a faster stream,
    which repeats its pictures as a rule, each is taken once.

    Parameters
    ----------
    footage : Footage
        Stays open and the caller's.
    start_s, end_s : float
        Of the stretch.
    """

    def __init__(self, footage: Footage, start_s: float, end_s: float) -> None:
        times_s = footage.times_s
        low, high = np.searchsorted(times_s, (start_s, end_s + 1e-9))
        numbers = np.arange(max(int(low), footage.first), int(high))
        super().__init__(footage)
        self._start_s, self._end_s = start_s, end_s
        room = MOST_BYTES // (4 * footage.info.width_px * footage.info.height_px)
        group = -(-len(numbers) // int(np.clip(room, FEWEST, MOST))) or 1
        whole = len(numbers) // group * group
        self._numbers: NDArray[Any] = numbers[:whole].reshape(-1, group)
        self._times_s: NDArray[np.float64] = times_s[self._numbers].mean(axis=1)

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the mean time of each group of frames, s."""
        return self._times_s

    @property
    def first(self) -> int:
        """Return 0."""
        return 0

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's log in the stretch, with one reading before it."""
        log = self._footage.supply
        if log is None or not len(log):
            return None
        low, high = np.searchsorted(log.time_s, (self._start_s, self._end_s))
        cut = slice(max(int(low) - 1, 0), int(high) + 1)
        return SupplyLog(log.time_s[cut], log.voltage_v[cut], log.current_a[cut])

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the marks in the stretch."""
        return tuple(m for m in self._footage.marks if self._start_s <= m.time_s <= self._end_s)

    def __len__(self) -> int:
        return len(self.times_s)

    def frame(self, number: int) -> Frame:
        """Return the mean of a group of frames; see `Footage`."""
        frames = [self._footage.frame(int(n)) for n in self._numbers[number]]
        time_s = float(self.times_s[number])
        first = frames[0]
        held = any(frame.held for frame in frames)
        if len(frames) > 1 and not held:
            pairs = pairwise(frames)
            fresh = [first, *(b for a, b in pairs if not alike(b, a.counts))]
            held = len(fresh) < len(frames) and not self._repeats
            frames = fresh
        if len(frames) == 1 or held:
            return Frame(first.counts, time_s, number, first.scale, held)
        total = np.zeros(first.shape, np.float32)
        for frame in frames:
            total += frame.counts
        total *= np.float32(1.0 / len(frames))
        return Frame(total, time_s, number, first.scale)

    @cached_property
    def _repeats(self) -> bool:
        """Tell whether the camera shows pictures more than once as a rule."""
        frames = [self._footage.frame(int(n)) for n in self._numbers.ravel()[:LOOKED_AT]]
        again = [alike(b, a.counts) for a, b in pairwise(frames)]
        runs = sum(now and not before for before, now in pairwise([False, *again]))
        return runs > USUAL_SHARE * (len(frames) - sum(again))
