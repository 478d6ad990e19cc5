"""Recognises a camera's shutter: the same picture, bit by bit, for longer than is ordinary."""

from __future__ import annotations

from collections import deque

from thermview.sources.layouts import Shutter

HUNG_S = 3.0
"""No shutter stays closed so long."""

_RUNS_KEPT = 20
_RUNS_NEEDED = 3
_UNTAUGHT_S = 0.5


class ShutterWatch:
    """Looks at every frame, in order; holds no pictures.

    A slow sensor behind a faster stream repeats every picture as a rule: how often is learnt from
    the last 20 pictures, and a freeze must last more than twice as long as the longest of those
    (and at least `Shutter.shortest_s`; half a second until enough was seen).
    """

    def __init__(self, shutter: Shutter) -> None:
        self._shutter = shutter
        self._ordinary_s: deque[float] = deque(maxlen=_RUNS_KEPT)
        self._since_s: float | None = None
        self._last_s = 0.0
        self._closed = False
        self._told = False

    def look(self, time_s: float, *, repeated: bool) -> bool:
        """Tell whether the shutter holds this frame."""
        if not self._shutter.freezes:
            return False
        if not repeated or self._since_s is None:
            self._ended()
            self._since_s = time_s
        self._last_s = time_s
        self._closed = time_s - self._since_s > self._limit_s()
        return self._closed

    def warning(self) -> str:
        """Return words where the picture stands still for longer than any shutter, once."""
        hung = self._closed and self._since_s is not None and self._last_s - self._since_s > HUNG_S
        if hung and not self._told:
            self._told = True
            return (
                f"the picture has stood still for {HUNG_S:.0f} s, longer than a shutter does: "
                "the camera hangs; unplug it and plug it in again"
            )
        return ""

    def _ended(self) -> None:
        if self._since_s is not None and not self._closed:
            self._ordinary_s.append(self._last_s - self._since_s)
        self._told = False

    def _limit_s(self) -> float:
        if len(self._ordinary_s) < _RUNS_NEEDED:
            return max(_UNTAUGHT_S, self._shutter.shortest_s)
        return max(self._shutter.shortest_s, 2.0 * max(self._ordinary_s))
