"""Triggers in replay: found anew in every pass over the recording, in the frames' order."""

from __future__ import annotations

from collections.abc import Callable

from thermview.frames import Frame, Mark
from thermview.session.ledger import Ledger
from thermview.session.pipeline import Plan
from thermview.session.triggers import Action, Fired
from thermview.session.watching import (
    Machine,
    MachineKey,
    TriggerWatch,
    build_machines,
    departures_of,
)


class ReplayTriggers:
    """Makes the watch of each pass, and puts what it finds among the marks. One thread.

    Past frames only get marks: nothing is recorded, sounded or taken anew.
    """

    def __init__(self, ledger: Ledger, plan: Callable[[], Plan]) -> None:
        self._ledger = ledger
        self._plan = plan
        self._departures: dict[MachineKey, Machine] = {}
        self._watch: TriggerWatch | None = None
        self._marks: list[Mark] = []

    def begin(self) -> TriggerWatch | None:
        """Return the watch of a pass from the first frame on; None without rules."""
        self._marks = []
        machines = build_machines(self._plan(), self._ledger.curves, self._departures)
        self._watch = TriggerWatch(machines, self._fired) if machines else None
        return self._watch

    def finish(self) -> None:
        """Say that the pass went through."""
        self._ledger.marks.replace_found(self._marks, float("inf"))
        if self._watch is not None:
            self._departures = departures_of(self._watch.machines.items())

    def _fired(self, fired: Fired, frame: Frame | None) -> None:
        if Action.MARK in fired.rule.actions:
            self._marks.append(fired.mark())
            self._ledger.marks.replace_found(self._marks, fired.fired_s)
