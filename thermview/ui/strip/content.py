"""What the strip draws, gathered from the desk once per redraw. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from thermview.analysis.decimate import usual_step_s
from thermview.errors import UsageError
from thermview.frames import Mark, SupplyLog
from thermview.ui.display import View
from thermview.ui.region_worth import difference_doubts, difference_worth
from thermview.ui.theme import tokens
from thermview.ui.worth_words import bare_text

if TYPE_CHECKING:
    from thermview.regions import Difference, Region
    from thermview.session.session import Session
    from thermview.ui.desk import Desk

Span = tuple[float, float]
"""From … to, s."""

_SEEN_POINTS = 150  # a finding's curve is averaged to about so many independent ones
_NEWEST = 64  # samples among which the newest number is looked for
_STEP_SAMPLE = 2000  # frames that tell the usual step; a gap is many times longer


class Lane(Enum):
    """Which lane of the chart a curve belongs to."""

    MAIN = "main"
    DIFFERENCE = "difference"
    VOLTAGE = "voltage"
    CURRENT = "current"

    @property
    def is_supply(self) -> bool:
        """Tell whether its curves have the supply's own times."""
        return self in (Lane.VOLTAGE, Lane.CURRENT)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One curve over the frames' or the supply's times; NaN where there is no number.

    Attributes
    ----------
    lane : Lane
        Where it is drawn, and so its unit: K, V or A.
    id, name : str
        Of the region or difference.
    values : ndarray of float32, shape (frames,)
    colour : str
        ``#rrggbb``, the same as on the picture.
    slot : int
        Number of the colour, which also chooses the sign at the curve.
    selected : bool
    limit_k : float or None
        The region's own limit, as a temperature.
    corrected : bool
        An emissivity of its own: its height is not quite the picture's colour.
    readable : bool
        Its newest number may be shown as one; else only its shape is told.
    worth : str
        Its newest number with its uncertainty, where both are told.
    doubts : ndarray of float32 or None, shape (frames,)
        Its standard uncertainty, drawn as a band.
    """

    lane: Lane
    id: str
    name: str
    values: NDArray[np.float32]
    colour: str
    slot: int = 0
    selected: bool = False
    limit_k: float | None = None
    corrected: bool = False
    readable: bool = True
    worth: str = ""
    doubts: NDArray[np.float32] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Content:
    """Everything on the strip but the playhead."""

    times_s: NDArray[np.float64]
    curves: tuple[Curve, ...] = ()
    supply: SupplyLog | None = None
    marks: tuple[Mark, ...] = ()
    held_s: tuple[Span, ...] = ()
    gaps_s: tuple[Span, ...] = ()
    baseline_s: Span | None = None
    progress: tuple[int, int] = (0, 0)
    longest_step_s: float = np.inf

    @property
    def measuring(self) -> bool:
        """Tell whether frames are still being measured in the background."""
        return self.progress[0] < self.progress[1]

    @property
    def lanes(self) -> frozenset[Lane]:
        """Return the lanes that hold curves."""
        return frozenset(curve.lane for curve in self.curves)

    def times_of(self, curve: Curve) -> NDArray[np.float64]:
        """Return the times of a curve's values, s."""
        return self.supply.time_s if curve.lane.is_supply and self.supply else self.times_s

    def value_at(self, curve: Curve, time_s: float) -> float:
        """Return a curve's value at the last sample not after `time_s`; NaN before the first."""
        number = int(np.searchsorted(self.times_of(curve), time_s + 1e-9, side="right")) - 1
        return float(curve.values[number]) if 0 <= number < len(curve.values) else float("nan")


EMPTY = Content(np.zeros(0))


def gather(desk: Desk) -> Content:
    """Return what is to be drawn now."""
    session = desk.session
    if session is None:
        return EMPTY
    times_s = session.curves.times_s
    step_s = usual_step_s(times_s[-_STEP_SAMPLE:])
    longest_step_s = 4.0 * step_s if step_s > 0 else np.inf
    supply = session.supply if session.supply is not None and len(session.supply) else None
    curves = _region_curves(desk, session, len(times_s))
    curves += _difference_curves(desk, session, len(times_s))
    curves += _finding_curves(desk, times_s)
    curves += _supply_curves(supply)
    return Content(
        times_s=times_s,
        curves=tuple(curves),
        supply=supply,
        marks=tuple(sorted(session.marks, key=lambda m: m.time_s)),
        held_s=held_spans(times_s, session.curves.held),
        gaps_s=gap_spans(times_s, longest_step_s),
        baseline_s=session.baseline,
        progress=session.progress(),
        longest_step_s=longest_step_s,
    )


def _region_curves(desk: Desk, session: Session, count: int) -> list[Curve]:
    rises = desk.display.view is View.RISE
    scale = session.info.scale
    result = []
    for region in desk.document.current.regions:
        try:
            if rises:
                values = session.curves.rise(region.id, desk.statistic)
            else:
                values = session.curves.column(region.id, desk.statistic)
        except UsageError:  # drawn a moment ago: the session has not taken it up yet
            continue
        if scale.relative:  # counts: to the axis' own scale
            values = values * np.float32(scale.k_per_count)
            values += np.float32(0.0 if rises else scale.offset_k)
        result.append(
            Curve(
                lane=Lane.MAIN,
                id=region.id,
                name=region.name,
                values=_fitted(values, count),
                colour=desk.colour(region.id),
                slot=desk.colour_slot(region.id),
                selected=region.id in desk.selected,
                limit_k=None if rises else region.limit_k,
                corrected=region.emissivity is not None,
                readable=_is_readable(desk, session, region),
            )
        )
    return result


def _is_readable(desk: Desk, session: Session, region: Region) -> bool:
    """Tell whether the region's newest number is worth showing; not yet measured counts as such."""
    column = session.curves.column(region.id, desk.statistic)
    newest = _newest(column)
    if newest is None:
        return True
    value_k = float(column[newest])
    return desk.optics.judge().temperature(region, desk.statistic, value_k).readable


def _difference_curves(desk: Desk, session: Session, count: int) -> list[Curve]:
    result = []
    for difference in desk.document.current.differences:
        try:
            values = session.curves.difference(difference.id, desk.statistic)
            doubts = difference_doubts(desk, difference)
        except UsageError:
            continue
        result.append(
            Curve(
                lane=Lane.DIFFERENCE,
                id=difference.id,
                name=difference.name,
                values=_fitted(values, count),
                colour=desk.colour(difference.id),
                slot=desk.colour_slot(difference.id),
                selected=difference.id in desk.selected,
                worth=_difference_words(desk, difference, values),
                doubts=None if doubts is None else _fitted(doubts.astype(np.float32), count),
            )
        )
    return result


def _difference_words(desk: Desk, difference: Difference, values: NDArray[np.floating]) -> str:
    """Return a difference's newest number with its standard uncertainty."""
    newest = _newest(values)
    if newest is None:
        return ""
    return bare_text(difference_worth(desk, difference, newest), desk.display, rise=True)


def _newest(values: NDArray[np.floating]) -> int | None:
    """Return which of the newest samples is the last with a number, None where none is."""
    known = np.flatnonzero(np.isfinite(values[-_NEWEST:]))
    return max(len(values) - _NEWEST, 0) + int(known[-1]) if known.size else None


def _finding_curves(desk: Desk, times_s: NDArray[np.float64]) -> list[Curve]:
    """Return the chosen finding's rise over its surroundings, and the heat fitted to it."""
    located, suspect = desk.findings.located, desk.findings.suspect
    if located is None or suspect is None:
        return []
    at_s = located.times_s
    width = max(len(at_s) // _SEEN_POINTS, 1)
    seen = uniform_filter1d(suspect.curve_k, width, mode="nearest")
    theme = tokens()
    return [
        Curve(
            Lane.DIFFERENCE,
            "",
            name,
            np.interp(times_s, at_s, values, np.nan, np.nan).astype(np.float32),
            colour,
        )
        for name, values, colour in (
            (f"{suspect.part} seen", seen, theme.text_dim),
            ("as heat", suspect.fitted_k, theme.accent),
        )
    ]


def _supply_curves(supply: SupplyLog | None) -> list[Curve]:
    if supply is None:
        return []
    theme = tokens()
    volts, amperes = supply.voltage_v.astype(np.float32), supply.current_a.astype(np.float32)
    return [
        Curve(Lane.VOLTAGE, "", "voltage", volts, theme.supply_voltage),
        Curve(Lane.CURRENT, "", "current", amperes, theme.supply_current),
    ]


def _fitted(values: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """Cut or lengthen to the times: frames may have come in between the two look-ups."""
    if len(values) >= count:
        return values[:count]
    longer = np.full(count, np.nan, dtype=np.float32)
    longer[: len(values)] = values
    return longer


def held_spans(times_s: NDArray[np.float64], held: NDArray[np.bool_]) -> tuple[Span, ...]:
    """Return the stretches in which the picture stood still, each to the next living frame."""
    held = held[: len(times_s)]
    if not held.any():
        return ()
    turns = np.flatnonzero(np.diff(held.astype(np.int8), prepend=0, append=0))
    starts, stops = turns[::2], turns[1::2]
    ends_s = times_s[np.minimum(stops, len(times_s) - 1)]
    return tuple(zip(times_s[starts].tolist(), ends_s.tolist(), strict=True))


def gap_spans(times_s: NDArray[np.float64], longest_step_s: float) -> tuple[Span, ...]:
    """Return the stretches without frames."""
    before = np.flatnonzero(np.diff(times_s) > longest_step_s)
    return tuple(zip(times_s[before].tolist(), times_s[before + 1].tolist(), strict=True))
