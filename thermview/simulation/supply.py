"""A bench supply, and what it feeds: which place of the board gets how much power, and when."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Programme(Protocol):
    """What happens electrically during a story; `places` are a circuit's parts, then tracks."""

    def powers_w(self, time_s: float, places: int) -> Floats:
        """Return the power of every place at a time, W, shape (places,)."""
        ...

    def terminals(self, time_s: float) -> tuple[float, float]:
        """Return voltage and current at the supply's terminals, V and A."""
        ...


@dataclass(frozen=True, slots=True)
class Setting:
    """What the supply is set to from a time on; 0 V is off."""

    time_s: float
    voltage_v: float
    limit_a: float


@dataclass(frozen=True, slots=True)
class BenchSupply:
    """A supply with a voltage set and a current limit, in steps or pulses.

    Attributes
    ----------
    settings : tuple of Setting
        In order of time; off before the first.
    period_s : float or None
        The output is switched on and off with this period from the first setting on.
    duty : float
        Share of the period that it is on.
    """

    settings: tuple[Setting, ...]
    period_s: float | None = None
    duty: float = 0.5

    def set_to(self, time_s: float) -> tuple[float, float]:
        """Return voltage set (0 when off) and current limit at a time."""
        past = [s for s in self.settings if s.time_s <= time_s]
        if not past:
            return 0.0, 0.0
        if self.period_s is not None:
            phase = math.fmod(time_s - self.settings[0].time_s, self.period_s) / self.period_s
            if phase >= self.duty:
                return 0.0, 0.0
        return past[-1].voltage_v, past[-1].limit_a

    def into(self, load_ohm: float, time_s: float) -> tuple[float, float]:
        """Return voltage and current at the terminals with a resistance across them."""
        voltage, limit = self.set_to(time_s)
        current = min(voltage / load_ohm, limit)
        return current * load_ohm, current


@dataclass(frozen=True, slots=True)
class FedRail:
    """A rail fed by the supply through its leads: a short, and other parts that draw.

    Attributes
    ----------
    supply : BenchSupply
    short : int or None
        Place of the short; None: the current ends out of view (in the leads' clips).
    short_ohm, lead_ohm : float
        Of the short, and of both leads together.
    tracks : tuple of (place, ohm)
        In series with the short.
    others : tuple of (place, ohm)
        Parts across the rail beside the short.
    """

    supply: BenchSupply
    short: int | None
    short_ohm: float
    lead_ohm: float = 0.12
    tracks: tuple[tuple[int, float], ...] = ()
    others: tuple[tuple[int, float], ...] = ()

    def _path_ohm(self) -> float:
        return self.short_ohm + sum(ohm for _, ohm in self.tracks)

    def _rail_ohm(self) -> float:
        return 1.0 / (1.0 / self._path_ohm() + sum(1.0 / ohm for _, ohm in self.others))

    def terminals(self, time_s: float) -> tuple[float, float]:
        """Return voltage and current at the supply's terminals."""
        return self.supply.into(self.lead_ohm + self._rail_ohm(), time_s)

    def powers_w(self, time_s: float, places: int) -> Floats:
        """Return the power of every place, W."""
        powers = np.zeros(places)
        _, total_a = self.terminals(time_s)
        rail_v = total_a * self._rail_ohm()
        path_a = rail_v / self._path_ohm()
        if self.short is not None:
            powers[self.short] += path_a**2 * self.short_ohm
        for place, ohm in self.tracks:
            powers[place] += path_a**2 * ohm
        for place, ohm in self.others:
            powers[place] += rail_v**2 / ohm
        return powers


@dataclass(frozen=True, slots=True)
class Draw:
    """A part's power while the board runs: from a time, in turns if `every_s` is given."""

    place: int
    power_w: float
    from_s: float = 0.0
    every_s: float | None = None
    share_on: float = 1.0

    def at(self, since_on_s: float) -> float:
        """Return the power so long after the board was switched on, W."""
        since = since_on_s - self.from_s
        if since < 0:
            return 0.0
        if (
            self.every_s is not None
            and math.fmod(since, self.every_s) > self.share_on * self.every_s
        ):
            return 0.0
        return self.power_w


@dataclass(frozen=True, slots=True)
class RunningBoard:
    """A board powered at its own input; its parts draw what they are meant to, or not.

    Attributes
    ----------
    supply : BenchSupply
    draws : tuple of Draw
    off_board_w : float
        Power that leaves the board (valves, lamps).
    """

    supply: BenchSupply
    draws: tuple[Draw, ...]
    off_board_w: float = 0.0

    def _since_on_s(self, time_s: float) -> float | None:
        voltage, _ = self.supply.set_to(time_s)
        return time_s - self.supply.settings[0].time_s if voltage > 0 else None

    def powers_w(self, time_s: float, places: int) -> Floats:
        """Return the power of every place, W."""
        powers = np.zeros(places)
        since = self._since_on_s(time_s)
        if since is not None:
            for draw in self.draws:
                powers[draw.place] += draw.at(since)
        return powers

    def terminals(self, time_s: float) -> tuple[float, float]:
        """Return voltage and current at the supply's terminals."""
        voltage, limit = self.supply.set_to(time_s)
        since = self._since_on_s(time_s)
        if since is None:
            return 0.0, 0.0
        watts = sum(draw.at(since) for draw in self.draws) + self.off_board_w
        return voltage, min(limit, watts / voltage)
