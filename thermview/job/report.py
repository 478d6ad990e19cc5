"""The record of the work: what was looked at, with which settings, and what each number is worth.

Gathered here once, for the window and the command; `report_pages` writes it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Footage, Frame, Mark
from thermview.job.pictures import (
    draw_frame,
    draw_regions,
    draw_shiny,
    new_figure,
    picture_size,
)
from thermview.radiometry import Reading
from thermview.radiometry.touch import touch_caution
from thermview.regions import Region, RegionSet, Statistic
from thermview.session.batch import measure_footage, measuring_notes
from thermview.session.following import Poses
from thermview.session.kept_readings import unreadable
from thermview.session.measure import STATISTICS
from thermview.session.power import quiet_interval
from thermview.session.remarks import mirrors, surface_remarks
from thermview.session.worth import NO_VALUE, NO_ZERO, Judge
from thermview.units import TemperatureUnit, decimals_of

SUFFIXES = (".html", ".pdf")
CURVES_PX = (1100, 480)
HEADS = ("region", "emissivity", "highest", "mean", "rise", "remarks")

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that a report says; pictures as figures without a display.

    Attributes
    ----------
    title : str
    facts : tuple of (name, words)
        What was looked at, and how.
    rows : tuple of tuple of str
        A line per region, in the order of `HEADS`.
    remarks : tuple of str
        What must be known to use the numbers; cautions first.
    picture, curves : Figure
        The frame with its regions; their curves, where there are regions.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    remarks: tuple[str, ...]
    picture: Figure
    curves: Figure | None


def check_name(path: Path) -> None:
    """Refuse a name that says no format of a report.

    Raises
    ------
    UsageError
        As said.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise UsageError(f"{path}: a report is written as {' or '.join(SUFFIXES)}; choose one")


def report_of(
    footage: Footage,
    regions: RegionSet,
    judge: Judge,
    *,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    number: int | None = None,
    baseline_s: tuple[float, float] | None = None,
    marks: Iterable[Mark] | None = None,
    poses: Poses | None = None,
    told: Callable[[int, int], None] = lambda done, total: None,
) -> Report:
    """Measure a recording and gather its report.

    Parameters
    ----------
    footage, regions : Footage, RegionSet
        What was looked at, and where.
    judge : Judge
        What numbers are worth; its scene and camera are what temperatures are computed with.
    unit : TemperatureUnit
        Of the temperatures.
    number : int, optional
        The frame whose readings are listed; the last living one unless given.
    baseline_s : (start, end), optional
        The zero of rises, s; the quiet time before the power unless given.
    marks : iterable of Mark, optional
        In place of the recording's own.
    poses : Poses, optional
        Where the board is, when the regions follow it.
    told : callable
        Called with (done, total) frames.

    Raises
    ------
    UsageError
        There is no such frame.
    """
    film = _measured(footage, regions, judge, poses, told)
    shown = film.shown(number)
    zero_s = baseline_s or quiet_interval(footage)
    frame = footage.frame(shown)
    lines = [
        _line(region, judge, film.numbers(place, shown, zero_s), unit)
        for place, region in enumerate(regions.regions)
    ]
    told_marks = footage.marks if marks is None else tuple(marks)
    info = footage.info
    title = info.title or info.name
    kind = " (simulated)" if info.simulated and "simulated" not in title else ""
    return Report(
        title=f"{title}{kind}",
        facts=_facts(footage, frame, judge, zero_s, told_marks),
        rows=tuple(lines),
        remarks=(
            *surface_remarks(regions.regions, judge),
            *measuring_notes(footage, regions, judge.scene, judge.profile),
        ),
        picture=_picture(frame, regions, judge, unit, {r[0]: r[2] for r in lines}),
        curves=_curves(film, regions, unit, judge, zero_s) if regions.regions else None,
    )


# ---- measuring -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Film:
    """All frames' numbers: `table` is (frame, region, statistic), K, NaN where held."""

    first: int
    times_s: Numbers
    held: NDArray[np.bool_]
    table: Numbers
    around_k: Numbers

    def shown(self, number: int | None) -> int:
        """Return the frame to list, checked; the last living one for None."""
        last = self.first + len(self.times_s) - 1
        if number is None:
            living = np.flatnonzero(~self.held)
            return self.first + int(living[-1]) if living.size else last
        if not self.first <= number <= last:
            raise UsageError(f"there is no frame {number}; it has {self.first} to {last}")
        return number

    def numbers(self, place: int, shown: int, zero_s: tuple[float, float]) -> _Numbers:
        """Return one region's numbers in a frame, and at the zero."""
        row = shown - self.first
        quiet = (self.times_s >= zero_s[0]) & (self.times_s <= zero_s[1]) & ~self.held
        before = self.table[quiet, place]
        zero = np.full(len(STATISTICS), np.nan) if not len(before) else before.mean(axis=0)
        now = dict(zip(STATISTICS, self.table[row, place].tolist(), strict=True))
        return _Numbers(
            now, dict(zip(STATISTICS, zero.tolist(), strict=True)), float(self.around_k[row, place])
        )


@dataclass(frozen=True, slots=True)
class _Numbers:
    now: dict[str, float]
    zero: dict[str, float]
    around_k: float


def _measured(
    footage: Footage,
    regions: RegionSet,
    judge: Judge,
    poses: Poses | None,
    told: Callable[[int, int], None],
) -> _Film:
    frames = []
    for frame in measure_footage(footage, regions, judge.scene, judge.profile, judge, poses=poses):
        frames.append(frame)
        told(len(frames), len(footage) - footage.first)
    count = len(regions.regions)
    return _Film(
        footage.first,
        np.array([frame.time_s for frame in frames]),
        np.array([frame.held for frame in frames], dtype=np.bool_),
        np.array([frame.table for frame in frames]).reshape(len(frames), count, len(STATISTICS)),
        np.array([frame.around_k for frame in frames]).reshape(len(frames), count),
    )


# ---- words ---------------------------------------------------------------------------------


def _line(region: Region, judge: Judge, at: _Numbers, unit: TemperatureUnit) -> tuple[str, ...]:
    """Return a region's line, in the order of `HEADS`."""
    in_view = math.isfinite(at.now["max_x"])
    readings = {name: _read(region, name, judge, at, in_view) for name in ("max", "mean")}
    if in_view:
        rise = judge.rise(
            region, region.statistic, at.now[region.statistic], at.zero[region.statistic]
        )
    else:
        rise = unreadable(NO_VALUE)
    highest, mean = readings["max"], readings["mean"]
    apparent = judge.setting(region) is None and not judge.scale.relative
    label = " apparent" if apparent and not judge.scale.relative else ""
    caution = "" if judge.scale.relative else touch_caution(highest, shiny=mirrors(region, judge))
    remarks = [caution] if in_view and caution else []
    if highest.readable and not highest.linear:
        remarks.append("lopsided: the interval counts, not ± the number")
    return (
        region.name,
        emissivity_words(region, judge),
        number_words(highest, unit, judge) + (label if highest.readable else ""),
        number_words(mean, unit, judge) + (label if mean.readable else ""),
        number_words(rise, unit, judge, rise=True),
        " ".join(remarks),
    )


def _read(region: Region, name: Statistic, judge: Judge, at: _Numbers, in_view: bool) -> Reading:
    if not in_view:
        return unreadable(NO_VALUE)
    place = (at.now["max_x"], at.now["max_y"]) if name == "max" else None
    return judge.temperature(region, name, at.now[name], place=place, around_k=at.around_k)


def emissivity_words(region: Region, judge: Judge) -> str:
    """Return which emissivity a region is read with, how well it is known, and from where."""
    if region.emissivity is None:
        scene = judge.scene.emissivity
        return "none stated" if scene is None else f"{scene:g} (the scene's)"
    u = "" if region.emissivity_u is None else f" ± {region.emissivity_u:.2g}"
    origin = f" ({region.emissivity_from})" if region.emissivity_from else ""
    return f"{region.emissivity:g}{u}{origin}"


def number_words(
    reading: Reading, unit: TemperatureUnit, judge: Judge, *, rise: bool = False
) -> str:
    """Return a number with its standard uncertainty and 95 % interval, or why there is none."""
    if not reading.readable:
        if reading.reason == NO_VALUE:
            return "out of view"
        return "–" if reading.reason == NO_ZERO else f"not readable: {reading.reason}"
    if judge.scale.relative:
        return f"{reading.value_k:.1f} counts"
    u = reading.u_k * unit.per_kelvin
    decimals = decimals_of(u, rise=rise)

    def shown(kelvin: float) -> str:
        value = kelvin * unit.per_kelvin if rise else unit.from_kelvin(kelvin)
        return f"{value:{'+' if rise else ''}.{decimals}f}"

    symbol = unit.difference_symbol if rise else unit.symbol
    ends = f"{shown(reading.low_k)} … {shown(reading.high_k)}"
    return f"{shown(reading.value_k)} ± {u:.{decimals}f} {symbol} (95 %: {ends})"


def _facts(
    footage: Footage,
    frame: Frame,
    judge: Judge,
    zero_s: tuple[float, float],
    marks: Iterable[Mark],
) -> tuple[tuple[str, str], ...]:
    info, scene = footage.info, judge.scene
    noise = judge.noise_k()
    mirrored = (
        "23 °C assumed" if scene.reflected_k is None else f"{scene.reflected_k - 273.15:g} °C"
    )
    facts = {
        "recorded": info.start_time.isoformat(sep=" ", timespec="seconds"),
        "input": info.camera or info.name,
        "frames": f"{len(footage)} of {info.width_px} × {info.height_px} px",
        "readings of": f"frame {frame.index}, {frame.time_s:.2f} s",
        "zero of rises": f"{zero_s[0]:.2f} … {zero_s[1]:.2f} s",
        "mirrored": mirrored,
        "noise of a pixel": "not known" if noise is None else f"{noise * 1e3:.0f} mK",
        "not readable": f"beyond a standard uncertainty of {judge.limit_k:g} K",
        "marks": "; ".join(f"{m.time_s:.2f} s {m.kind.value} {m.text}".strip() for m in marks),
    }
    if judge.shiny is not None and judge.shiny.known:
        facts["shiny places"] = judge.shiny.how
    return tuple((name, words) for name, words in facts.items() if words)


# ---- pictures ------------------------------------------------------------------------------


def _picture(
    frame: Frame, regions: RegionSet, judge: Judge, unit: TemperatureUnit, words: dict[str, str]
) -> Figure:
    figure = new_figure(*picture_size(frame))
    axes = figure.subplots()
    draw_frame(axes, frame, unit=unit, title=f"{frame.time_s:.2f} s")
    short = {r.id: words[r.name].split(" (")[0].split(":")[0] for r in regions.regions}
    draw_regions(axes, regions, short)
    draw_shiny(axes, judge.shiny)
    return figure


def _curves(
    film: _Film,
    regions: RegionSet,
    unit: TemperatureUnit,
    judge: Judge,
    zero_s: tuple[float, float],
) -> Figure:
    """Draw each region's own statistic over time; what is not readable is not drawn."""
    figure = new_figure(*CURVES_PX)
    axes = figure.subplots()
    for place, region in enumerate(regions.regions):
        kelvin = film.table[:, place, STATISTICS.index(region.statistic)].copy()
        kelvin[film.held] = np.nan
        known = kelvin[np.isfinite(kelvin)]
        last = float(known[-1]) if known.size else math.nan
        if not judge.temperature(region, region.statistic, last).readable:
            axes.plot([], [], label=f"{region.name}: not readable")
            continue
        shown = (
            kelvin if judge.scale.relative else ((kelvin - unit.to_kelvin(0.0)) * unit.per_kelvin)
        )
        axes.plot(film.times_s, shown, linewidth=1.0, label=f"{region.name} ({region.statistic})")
    axes.axvspan(*zero_s, color="0.9", linewidth=0, label="zero")
    axes.set_xlabel("time, s")
    axes.set_ylabel("counts" if judge.scale.relative else f"temperature, {unit.symbol}")
    axes.legend(fontsize=8, loc="upper left")
    return figure
