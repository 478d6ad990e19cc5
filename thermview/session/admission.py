"""What a source delivers, brought onto the session's axis: one time, one numbering, losses."""

from __future__ import annotations

import math
from dataclasses import replace

from thermview.frames import Frame, FrameFlag
from thermview.session.losses import LossCounter


class Admission:
    """The first step of a live frame. Used by one thread.

    Times increase strictly; a source opened again goes on after the time that passed. Holes in
    the source's numbering are counted, and the frame behind one says so.
    """

    def __init__(self, losses: LossCounter) -> None:
        self._losses = losses
        self._last: Frame | None = None
        self._last_arrival_s = 0.0
        self._reopened = False
        self._gap = False
        self.shift_s = 0.0
        self._shift_index = 0

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
            pause_s = max(arrival_s - self._last_arrival_s, 1e-3)
            self.shift_s = self._last.time_s + pause_s - frame.time_s
            self._shift_index = self._last.index + 1 - frame.index
        self._reopened = False
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
            lost = frame.index - self._last.index - 1
            if lost > 0:
                self._losses.add(source_lost=lost)
                self._gap = True
        if self._gap:
            frame = replace(frame, flags=frame.flags | FrameFlag.GAP_BEFORE)
        self._gap = False
        self._last, self._last_arrival_s = frame, arrival_s
        return frame
