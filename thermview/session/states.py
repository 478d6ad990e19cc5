"""What state a session is in, and what it tells the window."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from enum import Enum


class SessionState(Enum):
    """How the frames are coming."""

    IDLE = "idle"
    RUNNING = "running"
    STALLED = "stalled"
    RECONNECTING = "reconnecting"
    ENDED = "ended"
    FAILED = "failed"


SILENT = frozenset({SessionState.STALLED, SessionState.RECONNECTING, SessionState.FAILED})
"""States in which frames should come and do not."""


class EventKind(Enum):
    """What a session event is about."""

    STATE = "state"
    """The state changed; `data` is the new `SessionState`."""
    TRIGGER = "trigger"
    """A trigger marked a frame; `data` is the `Mark`."""
    TONE = "tone"
    """A trigger asks for a tone."""
    STILL = "still"
    """A trigger took a still picture; `data` is the `Frame`."""
    RECORDING = "recording"
    """Recording started (`data` a `RecordingStatus`) or stopped (a `RecordingSummary`)."""
    WARNING = "warning"
    """Something the user should know; nothing stopped."""


@dataclass(frozen=True, slots=True, eq=False)
class SessionEvent:
    """Something that happened: its kind, when (s on the session's axis), words, and the thing."""

    kind: EventKind
    time_s: float
    text: str = ""
    data: object = None


class EventBox:
    """Events from any thread, taken by one reader; the oldest are let go when nobody reads."""

    def __init__(self, capacity: int = 256) -> None:
        self._events: deque[SessionEvent] = deque(maxlen=capacity)
        self._lock = threading.Lock()

    def add(self, event: SessionEvent) -> None:
        """Put an event behind the others."""
        with self._lock:
            self._events.append(event)

    def take(self) -> list[SessionEvent]:
        """Return the events since the last call, oldest first."""
        with self._lock:
            events = list(self._events)
            self._events.clear()
        return events
