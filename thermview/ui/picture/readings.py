"""The numbers that stand on the picture, of the frame that is shown."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from thermview.frames import Frame
from thermview.radiometry import Reading as Worth
from thermview.regions import Region, RegionPixels, Spot, Statistic, measure
from thermview.session.measure import converter, repair_for
from thermview.session.worth import Judge
from thermview.ui.display import DASH, Display, View
from thermview.ui.worth_words import NOT_READABLE, doubt_text, number_text, worth_text

CORRECTED = "ε"
"""Stands by a number that is corrected with the region's own emissivity."""

ZeroOf = Callable[[str, Statistic], float]
"""A region's zero, K, that its rises count from, by id and statistic; NaN where not known."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One region's number as it stands on the picture.

    `doubt` is its standard uncertainty; `limit_text` says which limit is exceeded; each is empty
    where there is none.
    """

    name: str
    value: str
    doubt: str = ""
    corrected: bool = False
    limit_text: str = ""


@dataclass(frozen=True, slots=True)
class Extreme:
    """The hottest or the coldest pixel: its centre, px, and its number in words."""

    x: float
    y: float
    text: str


def read_region(
    region: Region, frame: Frame, judge: Judge, display: Display, zero_of: ZeroOf
) -> Reading:
    """Return what stands at a region; a dash while the frame is held or the region out of view."""
    corrected = region.emissivity is not None and not frame.scale.relative
    if frame.held:
        return Reading(region.name, DASH, corrected=corrected)
    kelvin, place = _measured(region, frame, judge)
    if not math.isfinite(kelvin):
        return Reading(region.name, DASH, corrected=corrected)
    exceeded = region.limit_k is not None and kelvin > region.limit_k
    limit = f"over {display.temperature_text(region.limit_k)}" if exceeded else ""  # type: ignore[arg-type]
    rise = display.view is View.RISE
    if rise:
        zero_k = zero_of(region.id, region.statistic)
        worth = judge.rise(region, region.statistic, kelvin, zero_k, place=place)
    else:
        worth = judge.temperature(region, region.statistic, kelvin, place=place)
    value, doubt = number_text(worth, display, rise=rise), doubt_text(worth, display, rise=rise)
    return Reading(region.name, value, doubt, corrected, limit)


def _measured(
    region: Region, frame: Frame, judge: Judge
) -> tuple[float, tuple[float, float] | None]:
    """Return the region's number, K, and its pixel where it is one pixel's."""
    pixels = RegionPixels.of(region.shape, frame.shape)
    repair = repair_for(judge.profile, frame.shape)
    counts = frame.counts if repair is None else repair.repair(frame.counts)
    convert = None
    if not frame.scale.relative:
        convert = converter(frame.scale, judge.setting(region), judge.profile)
    stats = measure(counts, pixels, frame.scale, convert)
    places = {"max": (stats.max_x, stats.max_y), "min": (stats.min_x, stats.min_y)}
    value: float = getattr(stats, f"{region.statistic}_k")
    return value, places.get(region.statistic)


def extremes(frame: Frame, display: Display, judge: Judge) -> tuple[Extreme, ...]:
    """Return the hottest and the coldest pixel of what is shown; none where none has a value.

    Single odd pixels are passed over by a 3 x 3 median, as in the automatic level; the number is
    the found pixel's own.
    """
    rise = display.view is View.RISE
    values = display.rise_k(frame) if rise else frame.counts
    if values.dtype == np.float32:
        lacking = np.isnan(values)
        if lacking.all():
            return ()
        if lacking.any():
            values = np.where(lacking, np.median(values[~lacking]), values).astype(np.float32)
    calm = cv2.medianBlur(values, 3) if min(values.shape) >= 3 else values
    _, _, cold, hot = cv2.minMaxLoc(calm)
    return tuple(
        Extreme(
            column + 0.5, row + 0.5, level_at(frame, display, judge, row=int(row), column=column)
        )
        for column, row in (hot, cold)
    )


def level_at(frame: Frame, display: Display, judge: Judge, *, row: int, column: int) -> str:
    """Return the number at one pixel in the present view's quantity, in words."""
    now, rise = pixel_worth(frame, display, judge, row=row, column=column)
    if display.view is View.RISE and rise is not None:
        return worth_text(rise, display, rise=True)
    return worth_text(now, display)


def pixel_worth(
    frame: Frame, display: Display, judge: Judge, *, row: int, column: int
) -> tuple[Worth, Worth | None]:
    """Return what one pixel's temperature is worth, and its rise where there is a baseline."""
    kelvin = kelvin_at(frame, display, row, column)
    at = (column + 0.5, row + 0.5)
    here = Region("pixel", Spot(*at), id="pixel")
    now = judge.temperature(here, "max", kelvin, place=at)
    if display.baseline_k is None:
        return now, None
    zero_k = float(display.baseline_k[row, column])
    return now, judge.rise(here, "max", kelvin, zero_k, place=at)


def kelvin_at(frame: Frame, display: Display, row: int, column: int) -> float:
    """Return the temperature, K, at one pixel (counts of a relative source)."""
    return float(display.kelvin_of(frame.counts[row : row + 1, column], frame.scale)[0])


def pixel_text(frame: Frame, display: Display, judge: Judge, *, row: int, column: int) -> str:
    """Return the cursor's read-out: place, temperature, and the rise where there is a baseline."""
    now, rise = pixel_worth(frame, display, judge, row=row, column=column)
    parts = [f"x {column}  y {row}", worth_text(now, display)]
    if display.relative:
        parts[1] = f"brightness {parts[1]}"
    elif not now.readable and parts[1] == NOT_READABLE:
        parts[1] = f"{NOT_READABLE}: {now.reason}"
    if rise is not None and rise.readable:
        parts.append(worth_text(rise, display, rise=True))
    return "   ".join(parts)
