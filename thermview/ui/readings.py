"""What is read off a region at one moment, and the words for it. No widgets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import robust_slope
from thermview.errors import UsageError
from thermview.frames import Scene
from thermview.regions import Region
from thermview.session.curves import CurveStore
from thermview.ui.display import DASH, Display

RATE_WINDOW_S = 2.0
SURE = 3.0  # standard errors; a slope within them is called steady
MOST_POINTS = 120  # the slope of a fast camera's window needs no more


@dataclass(frozen=True, slots=True)
class Reading:
    """One region at one moment; kelvin, NaN where there is no number.

    `now_k` is the region's own statistic; `rise_k`, `rate_k_s` and `rate_sigma` belong to it.
    """

    now_k: float
    min_k: float
    mean_k: float
    max_k: float
    max_x: float
    max_y: float
    rise_k: float
    rate_k_s: float
    rate_sigma: float
    over_limit: bool
    min_x: float = math.nan
    min_y: float = math.nan


def read_region(curves: CurveStore, region: Region, number: int) -> Reading:
    """Read a region's curves at frame `number`."""

    def value(name: str) -> float:
        return curves.value(region.id, name, number)

    try:
        zero_k = curves.zero(region.id, region.statistic)
        slope, sigma = recent_slope(
            curves.times_s, curves.column(region.id, region.statistic), number
        )
    except UsageError:  # drawn so lately that it is not measured yet
        zero_k = slope = sigma = math.nan
    highest = value("max")
    return Reading(
        now_k=value(region.statistic),
        min_k=value("min"),
        mean_k=value("mean"),
        max_k=highest,
        max_x=value("max_x"),
        max_y=value("max_y"),
        rise_k=value(region.statistic) - zero_k,
        rate_k_s=slope,
        rate_sigma=sigma,
        over_limit=region.limit_k is not None and highest > region.limit_k,
        min_x=value("min_x"),
        min_y=value("min_y"),
    )


def recent_slope(
    times_s: NDArray[np.float64], values: NDArray[np.float32], number: int
) -> tuple[float, float]:
    """Return slope and standard error, K/s, over the seconds up to frame `number`."""
    if not 0 <= number < min(len(times_s), len(values)):
        return math.nan, math.nan
    start = int(np.searchsorted(times_s, times_s[number] - RATE_WINDOW_S))
    step = max(1, (number + 1 - start) // MOST_POINTS)
    window = slice(number - (number - start) // step * step, number + 1, step)
    part = values[window].astype(np.float64)
    known = np.isfinite(part)
    if known.sum() < 5:
        return math.nan, math.nan
    slope, sigma = robust_slope(times_s[window][known], part[known])
    return float(slope), float(sigma)


def is_apparent(region: Region, scene: Scene) -> bool:
    """Tell whether the region's numbers hold for a black body only: no emissivity is stated."""
    return region.emissivity is None and scene.emissivity is None


def arrow(slope: float, sigma: float) -> str:
    """Return ↗, ↘ or → where the slope is surely up, surely down, or within its error."""
    if not math.isfinite(slope):
        return ""
    if abs(slope) <= SURE * sigma:
        return "→"
    return "↗" if slope > 0 else "↘"


def rate_number(slope: float, sigma: float, display: Display) -> str:
    """Return a rate without its unit: ``↗ +0.21``; steady ones have no sign."""
    if not math.isfinite(slope):
        return DASH
    sign = "" if arrow(slope, sigma) == "→" else "+"
    number = f"{display.difference(slope):{sign}.2f}".replace("-", "−").replace("−0.00", "0.00")
    return f"{arrow(slope, sigma)} {number}"


def rate_text(slope: float, sigma: float, display: Display) -> str:
    """Return a rate as people read it: ``↗ +0.21 K/s``."""
    number = rate_number(slope, sigma, display)
    unit = display.difference_symbol
    return number if number == DASH else f"{number} {unit}/s" if unit else f"{number} per s"
