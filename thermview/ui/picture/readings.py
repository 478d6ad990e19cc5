"""The numbers that stand on the picture, of the frame that is shown."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from thermview.frames import Frame, Scene
from thermview.radiometry import conversion, setting_for
from thermview.regions import Region, RegionPixels, Statistic, measure
from thermview.ui.display import DASH, Display, View

CORRECTED = "ε"
"""Stands by a number that is corrected with the region's own emissivity."""

ZeroOf = Callable[[str, Statistic], float]
"""A region's zero, K, that its rises count from, by id and statistic; NaN where not known."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One region's number as it stands on the picture.

    `limit_text` says which limit is exceeded and is empty where none is.
    """

    name: str
    value: str
    corrected: bool = False
    limit_text: str = ""


@dataclass(frozen=True, slots=True)
class Extreme:
    """The hottest or the coldest pixel: its centre, px, and its number in words."""

    x: float
    y: float
    text: str


def read_region(
    region: Region, frame: Frame, scene: Scene, display: Display, zero_of: ZeroOf
) -> Reading:
    """Return what stands at a region; a dash while the frame is held or the region out of view."""
    corrected = region.emissivity is not None and not frame.scale.relative
    if frame.held:
        return Reading(region.name, DASH, corrected)
    kelvin = _measured_k(region, frame, scene)
    exceeded = region.limit_k is not None and kelvin > region.limit_k
    limit = f"over {display.temperature_text(region.limit_k)}" if exceeded else ""  # type: ignore[arg-type]
    if display.view is View.RISE:
        value = display.difference_text(kelvin - zero_of(region.id, region.statistic))
    else:
        value = display.temperature_text(kelvin)
    return Reading(region.name, value, corrected, limit)


def _measured_k(region: Region, frame: Frame, scene: Scene) -> float:
    pixels = RegionPixels.of(region.shape, frame.shape)
    setting = None
    if not frame.scale.relative:
        setting = setting_for(region.emissivity, region.reflected_k, scene)
    convert = None if setting is None else conversion(frame.scale, setting)
    stats = measure(frame.counts, pixels, frame.scale, convert)
    value: float = getattr(stats, f"{region.statistic}_k")
    return value


def extremes(frame: Frame, display: Display) -> tuple[Extreme, ...]:
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
    return _extreme(hot[0], hot[1], frame, display), _extreme(cold[0], cold[1], frame, display)


def _extreme(column: int, row: int, frame: Frame, display: Display) -> Extreme:
    return Extreme(column + 0.5, row + 0.5, level_at(frame, display, row, column))


def level_at(frame: Frame, display: Display, row: int, column: int) -> str:
    """Return the number at one pixel in the present view's quantity, in words."""
    kelvin = kelvin_at(frame, display, row, column)
    if display.view is View.RISE and display.baseline_k is not None:
        return display.difference_text(kelvin - float(display.baseline_k[row, column]))
    return display.temperature_text(kelvin)


def kelvin_at(frame: Frame, display: Display, row: int, column: int) -> float:
    """Return the temperature, K, at one pixel (counts of a relative source)."""
    return float(display.kelvin_of(frame.counts[row : row + 1, column], frame.scale)[0])


def pixel_text(frame: Frame, display: Display, row: int, column: int) -> str:
    """Return the cursor's read-out: place, temperature, and the rise where there is a baseline."""
    kelvin = kelvin_at(frame, display, row, column)
    parts = [f"x {column}  y {row}", display.temperature_text(kelvin)]
    if display.relative:
        parts[1] = f"brightness {parts[1]}"
    if display.baseline_k is not None:
        rise_k = kelvin - float(display.baseline_k[row, column])
        if math.isfinite(rise_k):
            parts.append(display.difference_text(rise_k))
    return "   ".join(parts)
