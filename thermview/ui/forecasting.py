"""Where the selected region will end and when, in words; nothing where it cannot be known yet."""

from __future__ import annotations

import numpy as np

from thermview.analysis.warmup import LEAST_S, Forecast, forecast
from thermview.errors import UsageError
from thermview.frames import MarkKind, SupplyLog
from thermview.regions import Region
from thermview.session.session import Session
from thermview.ui.desk import Desk
from thermview.ui.display import Display

SAME_POWER = 0.08  # of the supply's highest: smaller changes are its own regulation
STANDARD = 1.96  # a 95 % interval's half in standard uncertainties
SETTLED_S = 5.0


def steady_since(session: Session, now_s: float) -> float | None:
    """Return since when the power has been what it is now, s; None where nothing tells."""
    told = [m.time_s for m in session.marks if m.kind in (MarkKind.POWER_ON, MarkKind.POWER_OFF)]
    told = [time_s for time_s in told if time_s <= now_s]
    changed = _last_change(session.supply, now_s)
    if changed is not None:
        return max([changed, *told])
    if told:
        return max(told)
    return session.baseline[1] if session.baseline is not None else None


def _last_change(supply: SupplyLog | None, now_s: float) -> float | None:
    if supply is None or len(supply) < 2:
        return None
    known = supply.time_s <= now_s
    watts = (supply.voltage_v * supply.current_a)[known]
    if not watts.size or not np.nanmax(watts) > 0:
        return None
    other = np.abs(watts - np.median(watts[-5:])) > SAME_POWER * np.nanmax(watts)
    return float(supply.time_s[known][np.flatnonzero(other)[-1]]) if other.any() else None


def region_forecast(desk: Desk, region: Region) -> Forecast | None:
    """Return where a region's curve ends, from what was seen up to the shown moment."""
    session = desk.session
    if session is None or desk.shown is None or session.info.scale.relative:
        return None
    times_s = session.curves.times_s
    since_s = steady_since(session, desk.now_s)
    if since_s is None:
        return None
    try:
        values = session.curves.column(region.id, region.statistic)
    except UsageError:  # drawn so lately that it has no curve yet
        return None
    last = min(desk.shown_number + 1, len(values), len(times_s))
    first = int(np.searchsorted(times_s[:last], since_s, side="right"))
    return forecast(times_s[first:last], values[first:last])


def waiting_words(session: Session, now_s: float) -> str:
    """Return from when on the end of a region that moves can be told; nothing once it can."""
    since_s = steady_since(session, now_s)
    if since_s is None or not 0.0 < now_s - since_s < LEAST_S:
        return ""
    return f"its end can be told in {length_words(since_s + LEAST_S - now_s)} at the earliest"


def forecast_words(found: Forecast, now_s: float, display: Display) -> tuple[str, str]:
    """Return what is told of a forecast, and how it is known."""
    left_s = found.settled_s - now_s
    end = display.temperature(found.end_k)
    sigma = display.difference(found.half_k / STANDARD)
    digits = 0 if sigma >= 1.95 else 1
    when = "nearly there" if left_s < SETTLED_S else f"in {length_words(left_s)}"
    low, high = (display.temperature(k) for k in (found.low_k, found.high_k))
    tip = (
        f"settling with a time constant of {length_words(found.tau_s)} on the whole, "
        f"power unchanged; on simulated boards 80 of 100 such curves ended between {low:.1f} "
        f"and {high:.1f} {display.symbol} (the camera's own accuracy not counted); by then a "
        "twentieth of the change is left"
    )
    words = f"ends at {end:.{digits}f} ± {max(sigma, 0.1):.{digits}f} {display.symbol}, {when}"
    return words, tip


def length_words(seconds: float) -> str:
    """Return a length of time in round figures: ``40 s``, ``4 min``."""
    if seconds < 90:
        return f"{max(5, round(seconds / 5) * 5)} s"
    minutes = seconds / 60
    return f"{minutes:.1f} min" if minutes < 3 else f"{minutes:.0f} min"
