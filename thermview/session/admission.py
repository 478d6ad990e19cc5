"""What a source delivers, brought onto the session's axis: one time, one numbering, losses."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace

import numpy as np

from thermview.frames import Frame, FrameFlag
from thermview.session.losses import LossCounter

LATE_STEPS = 1.6
"""A frame that comes after more usual steps than this is late, where none was lost."""

_STEPS_KEPT = 15
_STEPS_NEEDED = 5
_SAME_AXIS_S = 2.0


class Admission:
    """The first step of a live frame. Used by one thread.

    Times increase strictly; a source opened again goes on after the time that passed: by its own
    times where they go on so, else by the frames' arrival. Holes in the source's numbering are
    counted, and the frame behind one says so.
    """

    def __init__(self, losses: LossCounter) -> None:
        self._losses = losses
        self._last: Frame | None = None
        self._last_arrival_s = 0.0
        self._reopened = False
        self._gap = False
        self.shift_s = 0.0
        self._shift_index = 0
        self._steps_s: deque[float] = deque(maxlen=_STEPS_KEPT)

    def reopened(self) -> None:
        """Say that the next frame comes from the source opened anew."""
        self._reopened = self._last is not None
        self._gap = self._reopened

    def gap(self) -> None:
        """Say that a frame before the next was lost on the way."""
        self._gap = True

    def take(self, frame: Frame, arrival_s: float) -> Frame | None:
        """Return the frame as the session knows it, None where it cannot be placed in time."""
        if self._reopened and self._last is not None:
            self._join(self._last, frame, arrival_s)
        if self.shift_s or self._shift_index:
            frame = replace(
                frame, time_s=frame.time_s + self.shift_s, index=frame.index + self._shift_index
            )
        after_s = self._last.time_s if self._last is not None else -math.inf
        follows = after_s < frame.time_s < math.inf  # False for NaN
        self._losses.add(
            received=1,
            damaged=int(FrameFlag.DAMAGED in frame.flags or not follows),
            repeated=int(FrameFlag.REPEATED in frame.flags),
        )
        if not follows:
            return None
        if self._last is not None:
            self._compare(self._last, frame)
        self._reopened = False
        if self._gap:
            frame = replace(frame, flags=frame.flags | FrameFlag.GAP_BEFORE)
        self._gap = False
        self._last, self._last_arrival_s = frame, arrival_s
        return frame

    def _join(self, last: Frame, frame: Frame, arrival_s: float) -> None:
        """Set the shifts that put the first frame after a reopening behind the last one."""
        pause_s = max(arrival_s - self._last_arrival_s, 1e-3)
        own_s = frame.time_s + self.shift_s - last.time_s
        if not (own_s > 0 and abs(own_s - pause_s) < _SAME_AXIS_S):
            self.shift_s = last.time_s + pause_s - frame.time_s
        self._shift_index = last.index + 1 - frame.index

    def _compare(self, last: Frame, frame: Frame) -> None:
        """Count what was lost before this frame; else see whether it is late."""
        lost = frame.index - last.index - 1
        step_s = frame.time_s - last.time_s
        if lost > 0:
            self._losses.add(source_lost=lost)
            self._gap = True
        elif not self._reopened:
            usual_s = float(np.median(self._steps_s)) if self._steps_s else math.inf
            if len(self._steps_s) >= _STEPS_NEEDED and step_s > LATE_STEPS * usual_s:
                self._losses.add(late=1)
            self._steps_s.append(step_s)
