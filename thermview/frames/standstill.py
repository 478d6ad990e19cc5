"""Pictures that repeat: a slow sensor behind a faster stream, or a closed shutter."""

from __future__ import annotations

from collections import deque

SHORTEST_S = 0.15
"""A picture that stands still for less is an ordinary repetition."""
_RUNS_KEPT = 20
_RUNS_NEEDED = 3
_UNTAUGHT_S = 0.5


class Standstill:
    """Tells a shutter by how long the picture stands still; looks at every frame, in order.

    A slow sensor behind a faster stream repeats every picture as a rule: how often is learnt from
    the last 20 pictures, and a shutter must last more than twice as long as the longest of those
    (and at least `shortest_s`; half a second until enough was seen).

    Parameters
    ----------
    shortest_s : float

    Attributes
    ----------
    closed : bool
        The last frame was held by a shutter.
    lasted_s : float
        How long the last frame's picture has stood still.
    """

    def __init__(self, shortest_s: float = SHORTEST_S) -> None:
        self._shortest_s = shortest_s
        self._ordinary_s: deque[float] = deque(maxlen=_RUNS_KEPT)
        self._since_s: float | None = None
        self.closed = False
        self.lasted_s = 0.0

    def look(self, time_s: float, *, repeated: bool) -> bool:
        """Tell whether a shutter holds this frame."""
        if not repeated or self._since_s is None:
            if self._since_s is not None and not self.closed:
                self._ordinary_s.append(self.lasted_s)
            self._since_s = time_s
        self.lasted_s = time_s - self._since_s
        self.closed = self.lasted_s > self._limit_s()
        return self.closed

    def _limit_s(self) -> float:
        if len(self._ordinary_s) < _RUNS_NEEDED:
            return max(_UNTAUGHT_S, self._shortest_s)
        return max(self._shortest_s, 2.0 * max(self._ordinary_s))
