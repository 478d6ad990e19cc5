"""When the power came on, and the quiet time before it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage, Mark, MarkKind, SupplyLog

FIRST_S = 1.0  # without any sign of power the first second counts as quiet
LEAST_QUIET_S = 0.2
MOST_QUIET_S = 3.0  # more frames than these hardly lower the zero's noise
SUPPLY_ON = 0.05  # of the supply's highest voltage


def is_on(supply: SupplyLog) -> NDArray[np.bool_]:
    """Return at which readings a supply is on, by its voltage."""
    on: NDArray[np.bool_] = supply.voltage_v > SUPPLY_ON * float(np.nanmax(supply.voltage_v))
    return on


def power_on(marks: Iterable[Mark], supply: SupplyLog | None) -> float | None:
    """Return when the power came on, s: the first such mark, else the supply log's first rise.

    Returns
    -------
    float or None
        None where neither tells, or where the log begins with the power on.
    """
    marked = [mark.time_s for mark in marks if mark.kind is MarkKind.POWER_ON]
    if marked:
        return min(marked)
    if supply is None or len(supply) == 0:
        return None
    on = is_on(supply)
    if on.all() or not on.any():
        return None
    return float(supply.time_s[int(np.argmax(on))])


def powered_until(footage: Footage) -> float:
    """Return when the power went off for good, s; the last frame's time where it did not."""
    last_s = float(footage.times_s[-1])
    supply = footage.supply
    if supply is None or len(supply) == 0 or not np.nanmax(supply.voltage_v) > 0:
        return last_s
    on = np.flatnonzero(is_on(supply))
    return min(last_s, float(supply.time_s[on[-1]]))


def quiet_interval(footage: Footage) -> tuple[float, float]:
    """Return (start, end), s, of the time before power that serves as the zero of rises.

    Without a sign of power, or with less than a moment before it, the first second is taken.
    """
    times_s = footage.times_s
    start_s = float(times_s[footage.first])
    on_s = power_on(footage.marks, footage.supply)
    if on_s is None or on_s - start_s < LEAST_QUIET_S:
        return start_s, min(start_s + FIRST_S, float(times_s[-1]))
    end_s = float(times_s[max(0, int(np.searchsorted(times_s, on_s)) - 1)])
    return max(start_s, end_s - MOST_QUIET_S), end_s
