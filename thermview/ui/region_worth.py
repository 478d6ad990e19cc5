"""What a region's numbers on screen are worth, and what must be said beside them. No widgets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame
from thermview.radiometry import Reading as Worth
from thermview.radiometry import conversion
from thermview.radiometry.emissivity import LACQUER_NOTE
from thermview.radiometry.touch import touch_caution
from thermview.regions import Difference, Region, RegionPixels, Statistic
from thermview.session.kept_readings import unreadable
from thermview.session.remarks import is_lacquered, mirrors
from thermview.session.surroundings import around, ring
from thermview.session.worth import NO_CORRECTION, NO_VALUE, Judge
from thermview.ui.desk import Desk
from thermview.ui.readings import Reading

SMALL_PX = 4.0
"""A part of fewer pixels may read low, where nobody has measured the camera's spread."""


@dataclass(frozen=True, slots=True)
class RegionWorth:
    """One region's numbers at the shown moment, judged; `notes` for people, gravest first."""

    now: Worth
    rise: Worth
    lowest: Worth
    mean: Worth
    highest: Worth
    notes: tuple[str, ...]


def worth_of(desk: Desk, region: Region, plain: Reading) -> RegionWorth:
    """Judge what was read off a region in the shown frame."""
    judge, frame = desk.optics.judge(), desk.shown
    around_k, around_rise_k = _surround(desk, judge, region)
    numbers: dict[Statistic, tuple[float, tuple[float, float] | None]] = {
        "min": (plain.min_k, (plain.min_x, plain.min_y)),
        "mean": (plain.mean_k, None),
        "max": (plain.max_k, (plain.max_x, plain.max_y)),
    }
    lacking = frame is None or not math.isfinite(plain.now_k)
    if lacking and not _unsolvable(judge, region, frame):
        nothing = unreadable(NO_VALUE)
        return RegionWorth(nothing, nothing, nothing, nothing, nothing, ())
    judged = {
        name: judge.temperature(region, name, value_k, place=place, around_k=around_k)
        for name, (value_k, place) in numbers.items()
    }
    statistic = region.statistic
    rise = judge.rise(
        region,
        statistic,
        plain.now_k,
        plain.now_k - plain.rise_k,
        place=numbers[statistic][1],
        around_k=around_rise_k,
    )
    now = judged[statistic]
    notes = _notes(judge, region, now, rise, judged["max"])
    return RegionWorth(now, rise, judged["min"], judged["mean"], judged["max"], notes)


def difference_worth(desk: Desk, item: Difference, number: int) -> Worth:
    """Return what a difference of two regions is worth at frame `number`."""
    assert desk.session is not None
    curves = desk.session.curves
    first, second = _ends(desk, item)
    statistic = desk.statistic
    first_k, second_k = (curves.value(r.id, statistic, number) for r in (first, second))
    if not (math.isfinite(first_k) and math.isfinite(second_k)):
        return unreadable(NO_VALUE)
    return desk.optics.judge().difference(first, second, statistic, first_k, second_k)


def difference_doubts(desk: Desk, item: Difference) -> NDArray[np.float64] | None:
    """Return a difference's standard uncertainty in every frame, K; None where there is none."""
    if desk.session is None or desk.session.info.scale.relative:
        return None
    curves, regions = desk.session.curves, _ends(desk, item)
    first_k, second_k = (curves.column(region.id, desk.statistic) for region in regions)
    both = min(len(first_k), len(second_k))  # a frame may have come in between
    return desk.optics.judge().difference_doubts(
        regions, desk.statistic, (first_k[:both], second_k[:both])
    )


def _ends(desk: Desk, item: Difference) -> tuple[Region, Region]:
    regions = desk.document.current
    return regions.by_id(item.minuend_id), regions.by_id(item.subtrahend_id)


def _notes(
    judge: Judge, region: Region, now: Worth, rise: Worth, highest: Worth
) -> tuple[str, ...]:
    if judge.scale.relative:
        return ()
    notes = []
    if not now.readable:
        notes.append(f"not readable: {now.reason}")
    elif not rise.readable and rise.reason.startswith(("too small", "uncertain")):
        notes.append(f"rise not readable: {rise.reason}")
    caution = touch_caution(highest, shiny=mirrors(region, judge))
    if caution:
        notes.append(caution)
    notes.append(_size_note(judge, region))
    if is_lacquered(region):
        notes.append(LACQUER_NOTE)
    if not now.linear and now.readable:
        notes.append("the uncertainty is lopsided: the interval counts, not ± the number")
    return tuple(note for note in notes if note)


def _size_note(judge: Judge, region: Region) -> str:
    kept = judge.recovery(region, region.statistic)
    body = judge.body_px(region)
    if kept is not None and not kept.too_small and kept.share < NO_CORRECTION:
        return f"corrected for its size: the camera sees {kept.share:.0%} of its rise"
    if kept is None and body is not None and min(body) < SMALL_PX:
        return "small: may read low; measure the camera's spread to correct it"
    return ""


def _surround(desk: Desk, judge: Judge, region: Region) -> tuple[float, float]:
    """Return temperature and rise of the board around a small part, K; NaN where of no use."""
    frame, body = desk.shown, judge.body_px(region)
    if frame is None or body is None or judge.recovery(region, "max") is None:
        return math.nan, math.nan
    places = ring(region.shape, body, frame.shape)
    convert = conversion(frame.scale, judge.setting(region), judge.profile)
    now_k = around(convert(frame.counts.ravel()[places]))
    baseline = desk.session.baseline_image() if desk.session is not None else None
    if baseline is None:
        return now_k, math.nan
    plain = conversion(type(frame.scale)(1.0), judge.setting(region), judge.profile)
    return now_k, now_k - around(plain(baseline.ravel()[places]))


def _unsolvable(judge: Judge, region: Region, frame: Frame | None) -> bool:
    """Tell whether the camera gives a value and no object could look like it."""
    setting = judge.setting(region)
    if frame is None or frame.held or setting is None:
        return False
    pixels = RegionPixels.of(region.shape, frame.shape)
    counts = frame.counts.ravel()[pixels.indices]
    if not counts.size or not np.isfinite(counts).all():
        return False
    kelvin = conversion(frame.scale, setting, judge.profile)(counts)
    return bool(np.isnan(kelvin).all())
