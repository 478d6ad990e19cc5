"""Turns a camera's pictures into frames: their times, their numbers, what is against them."""

from __future__ import annotations

from collections import deque

import numpy as np

from thermview.frames import Counts, Frame, FrameFlag, Scale

_SHORTEST_STEP_S = 1e-6
_CLOCKS_APART_S = 2.0
_STEPS_KEPT = 15
_STEPS_NEEDED = 5
_GAP_STEPS = 1.6


class Sequencer:
    """Gives pictures times that increase and numbers that jump where frames were lost.

    A camera's driver stamps frames when they are captured, better than the moment of reading;
    its stamps are used while they increase and keep within 2 s of our clock. Only with them can
    lost frames be told: a step beyond 1.6 usual steps (median of the last 15) is a gap.

    Parameters
    ----------
    scale : Scale
        Of every frame.
    """

    def __init__(self, scale: Scale) -> None:
        self._scale = scale
        self._previous: Frame | None = None
        self._stamp_zero_s: float | None = None  # our time minus the driver's
        self._stamps_good = True
        self._steps_s: deque[float] = deque(maxlen=_STEPS_KEPT)

    def frame(self, counts: Counts, now_s: float, stamp_s: float | None) -> Frame:
        """Return the next frame.

        Parameters
        ----------
        counts : ndarray
            The picture; becomes read-only.
        now_s : float
            Seconds since the start by our clock.
        stamp_s : float or None
            The driver's time of capture, s, of any zero.
        """
        time_s, stamped = self._time(now_s, stamp_s)
        flags = FrameFlag.NONE
        index = 0
        if self._previous is not None:
            step_s = time_s - self._previous.time_s
            lost = self._lost(step_s) if stamped else 0
            index = self._previous.index + 1 + lost
            if lost:
                flags |= FrameFlag.GAP_BEFORE
            self._steps_s.append(step_s)
            if np.array_equal(counts, self._previous.counts):
                flags |= FrameFlag.REPEATED
        self._previous = Frame(counts, time_s, index, self._scale, flags=flags)
        return self._previous

    def _time(self, now_s: float, stamp_s: float | None) -> tuple[float, bool]:
        last_s = self._previous.time_s if self._previous else -np.inf
        if stamp_s is not None and stamp_s > 0 and self._stamps_good:
            if self._stamp_zero_s is None:
                self._stamp_zero_s = now_s - stamp_s
            time_s = self._stamp_zero_s + stamp_s
            if time_s > last_s and abs(time_s - now_s) < _CLOCKS_APART_S:
                return time_s, True
            self._stamps_good = False
        return max(now_s, last_s + _SHORTEST_STEP_S), False

    def _lost(self, step_s: float) -> int:
        if len(self._steps_s) < _STEPS_NEEDED:
            return 0
        usual_s = float(np.median(self._steps_s))
        return round(step_s / usual_s) - 1 if step_s > _GAP_STEPS * usual_s else 0
