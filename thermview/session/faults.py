"""At which temperatures a fault comes and goes: the marks against the regions' curves.

For warming and cooling tests of intermittent faults. A region whose temperature is much the same
every time the fault appears, while it ranged widely otherwise, is where to look further: a
pointer, not a proof, for parts that warm together look alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermview.frames import Mark, MarkKind
from thermview.units import TemperatureUnit

FAULT_KINDS = (MarkKind.FAULT_APPEARS, MarkKind.FAULT_GONE)

LONGEST_HOLD_S = 2.0
"""Across frames without a value (the shutter's) for up to this long, the curve is taken to run
straight; across longer ones nothing is known."""


@dataclass(frozen=True)
class FaultRow:
    """One region at one kind of mark.

    Attributes
    ----------
    region : str
        Its name.
    kind : MarkKind
        Fault appears, or fault gone.
    temperatures_k : tuple of float
        One for each mark of the kind, in the marks' order, K; NaN where not known.
    range_k : (float, float)
        Coldest and hottest of the region's curve, K.
    """

    region: str
    kind: MarkKind
    temperatures_k: tuple[float, ...]
    range_k: tuple[float, float]

    @property
    def known(self) -> int:
        """Return at how many of the marks the temperature is known."""
        return sum(not math.isnan(value) for value in self.temperatures_k)

    @property
    def low_k(self) -> float:
        """Return the lowest temperature at a mark, K; NaN where none is known."""
        return min((v for v in self.temperatures_k if not math.isnan(v)), default=math.nan)

    @property
    def high_k(self) -> float:
        """Return the highest temperature at a mark, K; NaN where none is known."""
        return max((v for v in self.temperatures_k if not math.isnan(v)), default=math.nan)

    @property
    def narrowness(self) -> float:
        """Return the band at the marks over the band that chance would give.

        Marks strewn over the curve's range without regard to temperature would fill
        (n − 1)/(n + 1) of it on average (range of n even random numbers). About 1: the
        temperature has nothing to do with it. Near 0: it separates. NaN for less than two marks,
        or a curve that did not move.
        """
        low, high = self.range_k
        if self.known < 2 or not high > low:
            return math.nan
        by_chance = (high - low) * (self.known - 1) / (self.known + 1)
        return (self.high_k - self.low_k) / by_chance

    def sentence(self, unit: TemperatureUnit = TemperatureUnit.CELSIUS) -> str:
        """Return the row in words: "fault appears with U7 at 48–51 °C, 4 of 4"."""
        of = f"{self.known} of {len(self.temperatures_k)}"
        if self.known == 0:
            return f"{self.kind.value}: temperature of {self.region} not known, {of}"
        low, high = (f"{unit.from_kelvin(value):.0f}" for value in (self.low_k, self.high_k))
        band = (
            low
            if low == high
            else f"{low}–{high}"
            if not low.startswith("-")
            else (f"{low} to {high}")
        )
        return f"{self.kind.value} with {self.region} at {band} {unit.symbol}, {of}"


def fault_table(
    marks: Iterable[Mark], times_s: ArrayLike, curves_k: Mapping[str, ArrayLike]
) -> tuple[FaultRow, ...]:
    """Tabulate the marks of faults against the regions' temperatures.

    Parameters
    ----------
    marks : iterable of Mark
        Of any kinds; only "fault appears" and "fault gone" count.
    times_s : array_like, shape (frames,)
        Times of the curves' points, increasing.
    curves_k : mapping of name to array_like, shape (frames,)
        The regions' temperatures, K; NaN is a frame without a value.

    Returns
    -------
    tuple of FaultRow
        First for "fault appears", then for "fault gone", the narrowest band first; kinds without
        a mark and regions without a value are left out.
    """
    times = np.asarray(times_s, dtype=np.float64)
    moments = sorted(marks, key=lambda mark: mark.time_s)
    table: list[FaultRow] = []
    for kind in FAULT_KINDS:
        at = np.array([mark.time_s for mark in moments if mark.kind is kind])
        rows = [
            row
            for name, curve in curves_k.items()
            if at.size and (row := _row(name, kind, at, times, curve)) is not None
        ]
        table += sorted(rows, key=lambda row: (math.isnan(row.narrowness), row.narrowness))
    return tuple(table)


def separating(table: Iterable[FaultRow], at_most: float = 0.25) -> FaultRow | None:
    """Return the row whose temperature separates best, or None where none does.

    It takes three marks at least, and a band of `at_most` of what chance would give.
    """
    rows = [row for row in table if row.known >= 3 and row.narrowness <= at_most]
    return min(rows, key=lambda row: row.narrowness, default=None)


def _row(
    name: str, kind: MarkKind, at: NDArray[np.float64], times: NDArray[np.float64], curve: ArrayLike
) -> FaultRow | None:
    values = np.asarray(curve, dtype=np.float64)
    there = ~np.isnan(values)
    if not there.any():
        return None
    times, values = times[there], values[there]
    temperatures = tuple(float(value) for value in _values_at(at, times, values))
    return FaultRow(name, kind, temperatures, (float(values.min()), float(values.max())))


def _values_at(
    at: NDArray[np.float64], times: NDArray[np.float64], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the curve's values at moments, on straight lines between its points."""
    found = np.interp(at, times, values)
    after = np.searchsorted(times, at, side="left")
    right = times[np.minimum(after, len(times) - 1)]
    left = times[np.maximum(after - 1, 0)]
    # inside the curve the two neighbours must be near each other, outside its end near the moment
    apart = np.where(
        (at >= times[0]) & (at <= times[-1]),
        np.where(right == at, 0.0, right - left),
        np.maximum(times[0] - at, at - times[-1]),
    )
    found[apart > LONGEST_HOLD_S] = np.nan
    return found
