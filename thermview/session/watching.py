"""Leading measured frames past the trigger rules, the same way live and in replay."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Protocol

from thermview.analysis.trend import RateMeter
from thermview.frames import Frame
from thermview.session.curves import RATE_WINDOW_S, CurveStore
from thermview.session.pipeline import PICTURE_ID, Plan
from thermview.session.triggers import DepartureState, Fired, Quantity, TriggerRule, TriggerState

OnFired = Callable[[Fired, Frame | None], None]


class Machine(Protocol):
    """Watches for one rule."""

    @property
    def needs_frames(self) -> bool:
        """Tell whether rows are not enough."""
        ...

    def take(self, number: int, frame: Frame | None) -> Fired | None:
        """Look at frame `number`, whose row is measured."""
        ...


class ValueMachine:
    """Watches a number of a region, or of the whole picture."""

    needs_frames = False

    def __init__(self, rule: TriggerRule, region_id: str, curves: CurveStore) -> None:
        self._rule = rule
        self._region_id = region_id
        self._curves = curves
        self._state = TriggerState(rule)
        self._rate = RateMeter(RATE_WINDOW_S)

    def take(self, number: int, frame: Frame | None) -> Fired | None:
        """Look at a row."""
        time_s = self._curves.time_s(number)
        return self._state.step(time_s, self._value(number, time_s))

    def _value(self, number: int, time_s: float) -> float:
        statistic = self._rule.statistic
        value = self._curves.value(self._region_id, statistic, number)
        match self._rule.quantity:
            case Quantity.RISE:  # a zero says nothing of the time before it
                baseline = self._curves.baseline
                if baseline is None or time_s <= baseline[1]:
                    return math.nan
                return value - self._curves.zero(self._region_id, statistic)
            case Quantity.RATE:
                return self._rate.push(time_s, value)
            case _:
                return value


class DepartureMachine:
    """Watches the picture for a place that leaves its own trend."""

    needs_frames = True

    def __init__(self, rule: TriggerRule) -> None:
        self._state = DepartureState(rule)
        self.found: dict[int, Fired] = {}

    def take(self, number: int, frame: Frame | None) -> Fired | None:
        """Look at a frame; one that cannot be had says nothing."""
        fired = self._state.step(frame) if frame is not None else None
        if fired is not None:
            self.found[number] = fired
        return fired


class KnownDepartures:
    """What a `DepartureMachine` found in the same frames before: regions do not change it."""

    needs_frames = False

    def __init__(self, found: dict[int, Fired]) -> None:
        self.found = found

    def take(self, number: int, frame: Frame | None) -> Fired | None:
        """Tell what was found in a frame."""
        return self.found.get(number)


MachineKey = tuple[TriggerRule, object]
"""A rule and what it is about: a region drawn anew is watched anew."""


class TriggerWatch:
    """The machines of all rules; the triggers' step of the pipeline.

    Parameters
    ----------
    machines : dict
        By rule and what it is about.
    on_fired : callable
        Takes what fired and the frame it fired in (None where the rows were enough).
    """

    def __init__(self, machines: dict[MachineKey, Machine], on_fired: OnFired) -> None:
        self.machines = machines
        self._on_fired = on_fired
        self.needs_frames = any(machine.needs_frames for machine in machines.values())

    def take(self, number: int, frame: Frame | None) -> None:
        """Lead a measured frame past the rules."""
        for machine in self.machines.values():
            fired = machine.take(number, frame)
            if fired is not None:
                self._on_fired(fired, frame)


def build_machines(
    plan: Plan, curves: CurveStore, known: dict[MachineKey, Machine]
) -> dict[MachineKey, Machine]:
    """Return the machines of a plan's rules; those `known` under the same key go on.

    A rule about a region that is not there has none.
    """
    keys = plan.keys()
    machines: dict[MachineKey, Machine] = {}
    for rule in plan.rules:
        if rule.quantity is Quantity.DEPARTURE:
            machines[rule, None] = known.get((rule, None)) or DepartureMachine(rule)
            continue
        region_id = _watched_id(rule, plan)
        if region_id is not None:
            key = (rule, (region_id, keys[region_id]))
            machines[key] = known.get(key) or ValueMachine(rule, region_id, curves)
    return machines


def departures_of(machines: Iterable[tuple[MachineKey, Machine]]) -> dict[MachineKey, Machine]:
    """Return what the departure machines found, to be told again after another pass."""
    return {
        key: KnownDepartures(machine.found)
        for key, machine in machines
        if isinstance(machine, DepartureMachine | KnownDepartures)
    }


def _watched_id(rule: TriggerRule, plan: Plan) -> str | None:
    if rule.region is None:
        return PICTURE_ID
    return next((r.id for r in plan.regions.regions if r.name == rule.region), None)
