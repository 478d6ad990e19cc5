"""The zero of the rises: an interval of time, its mean picture, and whether the board was still."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage
from thermview.regions import RegionSet
from thermview.session.curves import CurveStore
from thermview.session.rates import trailing_slopes

STILL_K_PER_S = 0.02
"""A board that changes faster is not still: a minute later its rises are a kelvin off. Common
practice, no source."""

TREND_S = 5.0
"""How far back the trend before a zero is looked at."""


def mean_image(footage: Footage, start_s: float, end_s: float) -> NDArray[np.float32] | None:
    """Return the mean apparent temperature, K, of the frames in an interval, shape (row, column).

    Held frames are left out; None where no frame remains. With a relative scale, counts.
    """
    low, high = np.searchsorted(footage.times_s, (start_s, end_s))
    total: NDArray[np.float64] | None = None
    used = 0
    scale = footage.info.scale
    for number in range(max(int(low), footage.first), min(int(high) + 1, len(footage))):
        frame = footage.frame(number)
        if frame.held or not start_s <= frame.time_s <= end_s:
            continue
        total = frame.counts.astype(np.float64) if total is None else total + frame.counts
        used += 1
        scale = frame.scale
    if total is None:
        return None
    mean = total / used
    return (mean if scale.relative else scale.kelvin(mean)).astype(np.float32)


def unrest(store: CurveStore, regions: RegionSet, end_s: float) -> str | None:
    """Return a warning where a region warms or cools in the seconds before a zero, else None."""
    worst_k_per_s, worst_name = 0.0, ""
    times = store.times_s
    low, high = np.searchsorted(times, (end_s - TREND_S, end_s), side="right")
    for region in regions.regions:
        part = store.column(region.id, "mean")[low:high]
        known = ~np.isnan(part)
        span_s = float(np.ptp(times[low:high][known])) if known.sum() > 4 else 0.0
        if span_s <= 0:
            continue
        slope = float(trailing_slopes(times[low:high], part, span_s * 0.9)[known][-1])
        if abs(slope) > abs(worst_k_per_s):
            worst_k_per_s, worst_name = slope, region.name
    if abs(worst_k_per_s) < STILL_K_PER_S:
        return None
    verb = "warms" if worst_k_per_s > 0 else "cools"
    return (
        f"the board is not still: {worst_name} {verb} by {abs(worst_k_per_s) * 60:.1f} K a minute, "
        "and rises will contain that; wait, then zero again"
    )
