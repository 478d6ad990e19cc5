"""Turns a camera's pictures into frames: their times, their numbers, what is against them."""

from __future__ import annotations

from collections import deque

import numpy as np

from thermview.frames import Counts, Frame, FrameFlag, Scale

_SHORTEST_STEP_S = 1e-6
_CLOCKS_APART_S = 2.0
_AHEAD_S = 0.1
_STEPS_KEPT = 15
_STEPS_NEEDED = 5
_GAP_STEPS = 1.6
_SEQUENCE_SPAN = 1 << 32


class Sequencer:
    """Gives pictures times that increase and numbers that jump where frames were lost.

    A camera's driver stamps frames when they are captured, better than the moment of reading.
    Stamps on our own clock are taken as they are; others while they increase and keep within 2 s
    of it. Where the driver numbers its pictures, its numbers tell what was lost; else, with
    stamps, a step beyond 1.6 usual steps (median of the last 15) does.

    Parameters
    ----------
    scale : Scale
        Of every frame.
    zero_s : float, optional
        The moment, on our clock, that times count from; that of the first frame if absent.
    """

    def __init__(self, scale: Scale, zero_s: float | None = None) -> None:
        self._scale = scale
        self.zero_s = zero_s
        self._previous: Frame | None = None
        self._last_good: Counts | None = None
        self._shift_s: float | None = None  # our clock minus the driver's
        self._stamps_good = True
        self._sequence: int | None = None
        self._steps_s: deque[float] = deque(maxlen=_STEPS_KEPT)

    def frame(
        self,
        counts: Counts,
        now_s: float,
        stamp_s: float | None,
        *,
        exact: bool = False,
        sequence: int | None = None,
        damaged: bool = False,
    ) -> Frame:
        """Return the next frame.

        Parameters
        ----------
        counts : ndarray
            The picture; becomes read-only.
        now_s : float
            Seconds by our clock.
        stamp_s : float or None
            The driver's time of capture, s; of any zero unless `exact`, then by our clock.
        sequence : int or None
            The driver's number of the picture.
        damaged : bool
            The picture is not whole.
        """
        moment_s, stamped = self._moment(now_s, stamp_s, exact=exact)
        if self.zero_s is None:
            self.zero_s = moment_s
        time_s = moment_s - self.zero_s
        flags, index = FrameFlag.NONE, 0
        if self._previous is not None:
            if time_s <= self._previous.time_s:
                time_s, stamped = self._previous.time_s + _SHORTEST_STEP_S, False
            step_s = time_s - self._previous.time_s
            lost = self._lost(step_s if stamped else None, sequence)
            index = self._previous.index + 1 + lost
            flags = FrameFlag.GAP_BEFORE if lost else FrameFlag.NONE
            self._steps_s.append(step_s)
        flags |= self._flags(counts, damaged=damaged)
        self._sequence = sequence
        self._previous = Frame(counts, time_s, index, self._scale, flags=flags)
        return self._previous

    def _flags(self, counts: Counts, *, damaged: bool) -> FrameFlag:
        if damaged:
            return FrameFlag.DAMAGED
        repeated = self._last_good is not None and np.array_equal(counts, self._last_good)
        self._last_good = counts
        return FrameFlag.REPEATED if repeated else FrameFlag.NONE

    def _moment(self, now_s: float, stamp_s: float | None, *, exact: bool) -> tuple[float, bool]:
        """Return when the picture was taken, by our clock, and whether the driver said so."""
        if stamp_s is None or stamp_s <= 0:
            return now_s, False
        if exact:
            return (stamp_s, True) if stamp_s < now_s + _AHEAD_S else (now_s, False)
        if self._shift_s is None:
            self._shift_s = now_s - stamp_s
        moment_s = self._shift_s + stamp_s
        last_s = -np.inf
        if self._previous is not None and self.zero_s is not None:
            last_s = self._previous.time_s + self.zero_s
        if self._stamps_good and moment_s > last_s and abs(moment_s - now_s) < _CLOCKS_APART_S:
            return moment_s, True
        self._stamps_good = False
        return now_s, False

    def _lost(self, step_s: float | None, sequence: int | None) -> int:
        if sequence is not None and self._sequence is not None:
            ahead = (sequence - self._sequence) % _SEQUENCE_SPAN
            return ahead - 1 if 0 < ahead < _SEQUENCE_SPAN // 2 else 0
        if step_s is None or len(self._steps_s) < _STEPS_NEEDED:
            return 0
        usual_s = float(np.median(self._steps_s))
        return round(step_s / usual_s) - 1 if step_s > _GAP_STEPS * usual_s else 0
