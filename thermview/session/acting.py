"""What a live trigger does when it fires."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from thermview.errors import ThermviewError
from thermview.frames import Frame, Mark
from thermview.session.ledger import Ledger
from thermview.session.states import EventKind, SessionEvent
from thermview.session.triggers import Action, Fired


@dataclass(frozen=True, slots=True)
class RecordingPlace:
    """Where a trigger's recording goes, how many seconds before it are kept, over which file."""

    next_path: Callable[[], Path]
    pre_trigger_s: float = 0.0
    force: bool = False


class Recordings(Protocol):
    """What can be told to record."""

    def record_for_trigger(self, place: RecordingPlace) -> None:
        """Begin, unless a recording runs."""
        ...

    def stop_for_trigger(self) -> None:
        """Stop without waiting for the disk."""
        ...

    def note_mark(self, mark: Mark) -> None:
        """Write a mark into the recording, where one runs."""
        ...


class Actions:
    """Carries out the actions, on the pipeline's thread; tone and still are left to the events."""

    def __init__(self, ledger: Ledger, recordings: Recordings) -> None:
        self._ledger = ledger
        self._recordings = recordings
        self.place: RecordingPlace | None = None

    def fired(self, fired: Fired, frame: Frame | None) -> None:
        """Act."""
        mark, actions = fired.mark(), fired.rule.actions
        self._tell(EventKind.TRIGGER, fired, mark)
        if Action.START_RECORDING in actions:
            self._start(mark)
        if Action.MARK in actions:
            self._ledger.marks.add_found(mark)
            self._recordings.note_mark(mark)
        if Action.STILL in actions:
            self._tell(EventKind.STILL, fired, frame)
        if Action.TONE in actions:
            self._tell(EventKind.TONE, fired, mark)
        if Action.STOP_RECORDING in actions:
            self._recordings.stop_for_trigger()

    def _tell(self, kind: EventKind, fired: Fired, data: object) -> None:
        self._ledger.events.add(SessionEvent(kind, fired.fired_s, fired.mark().text, data))

    def _start(self, mark: Mark) -> None:
        if self.place is None:
            self._ledger.tell(
                EventKind.WARNING, f"{mark.text}: no place is set for a trigger's recording"
            )
            return
        try:
            self._recordings.record_for_trigger(self.place)
        except ThermviewError as error:
            self._ledger.tell(EventKind.WARNING, f"{mark.text}: {error}")
