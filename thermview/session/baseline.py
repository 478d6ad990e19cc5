"""The zero of the rises: an interval of time, its mean picture, and whether the board was still."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import Slope, is_settled, robust_slope
from thermview.errors import ThermviewError
from thermview.frames import Footage, Frame
from thermview.regions import RegionSet
from thermview.session.curves import CurveStore

TREND_S = 5.0
"""How far back the trend before a zero is looked at."""

TREND_FRAMES = 16
"""Frames looked at for the trend of the whole picture, where there is no region."""


def mean_image(footage: Footage, start_s: float, end_s: float) -> NDArray[np.float32] | None:
    """Return the mean apparent temperature, K, of the frames in an interval, shape (row, column).

    Held frames are left out; None where no frame remains. With a relative scale, counts.
    """
    total: NDArray[np.float64] | None = None
    used = 0
    scale = footage.info.scale
    for frame in _whole_frames(footage, _between(footage, start_s, end_s)):
        total = frame.counts.astype(np.float64) if total is None else total + frame.counts
        scale = frame.scale
        used += 1
    if total is None:
        return None
    mean = total / used
    return (mean if scale.relative else scale.kelvin(mean)).astype(np.float32)


def unrest(footage: Footage, curves: CurveStore, regions: RegionSet, end_s: float) -> str | None:
    """Return a warning where the board warms or cools in the seconds before a zero, else None.

    The regions' means are looked at, or the whole picture's where there is no region.
    """
    numbers = _between(footage, end_s - TREND_S, end_s)
    slopes = [(r.name, _slope(curves, r.id, numbers)) for r in regions.regions]
    slopes = slopes or [("the picture", _picture_slope(footage, numbers))]
    moving = [(name, slope) for name, slope in slopes if not is_settled(slope)]
    if not moving:
        return None
    name, slope = max(moving, key=lambda each: abs(each[1].per_s))
    verb = "warms" if slope.per_s > 0 else "cools"
    return (
        f"the board is not still: {name} {verb} by {abs(slope.per_s) * 60:.1f} K a minute, "
        "and the rises will contain that; wait, then zero again"
    )


def _between(footage: Footage, start_s: float, end_s: float) -> range:
    times = footage.times_s
    low = int(np.searchsorted(times, start_s, side="left"))
    high = int(np.searchsorted(times, end_s, side="right"))
    return range(max(low, footage.first), max(high, low))


def _whole_frames(footage: Footage, numbers: range) -> Iterator[Frame]:
    """Give the frames that show the scene; one that cannot be had is left out."""
    for number in numbers:
        with suppress(ThermviewError, IndexError):
            frame = footage.frame(number)
            if not frame.held:
                yield frame


def _slope(curves: CurveStore, region_id: str, numbers: range) -> Slope:
    part = slice(numbers.start, numbers.stop)
    return robust_slope(curves.times_s[part], curves.column(region_id, "mean")[part])


def _picture_slope(footage: Footage, numbers: range) -> Slope:
    every = max(1, len(numbers) // TREND_FRAMES)
    whole = list(_whole_frames(footage, numbers[::every]))
    means = [f.scale.kelvin_of(float(np.nanmean(f.counts))) for f in whole]
    return robust_slope([f.time_s for f in whole], means)
