"""The regions' curves as a CSV table, in the contract's columns."""

from __future__ import annotations

import csv
import math
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from shutil import copyfileobj
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage, Scene
from thermview.radiometry import CameraProfile
from thermview.radiometry.coverage import COVERAGE_FACTOR, MANY_FREEDOMS, coverage_factor
from thermview.regions import Region, RegionSet, Statistic
from thermview.session.batch import MeasuredFrame, measure_footage, measuring_notes
from thermview.session.following import Poses
from thermview.session.measure import STATISTICS
from thermview.session.remarks import surface_remarks
from thermview.session.worth import Judge
from thermview.units import TemperatureUnit

COLUMNS: tuple[Statistic, ...] = ("min", "mean", "max")
_PLACES = {"min": ("min_x", "min_y"), "max": ("max_x", "max_y")}
_TOGETHER = 64  # frames judged at once: the arithmetic is on arrays
_SPOOL_BYTES = 1 << 26


@dataclass(slots=True)
class _Told:
    """What there is to say of a region's cells: why some lack, the least degrees of freedom."""

    reasons: Counter[str] = field(default_factory=Counter)
    freedom: float = math.inf


def write_curve_table(
    footage: Footage,
    regions: RegionSet,
    stream: TextIO,
    *,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    scene: Scene | None = None,
    profile: CameraProfile | None = None,
    judge: Judge | None = None,
    poses: Poses | None = None,
) -> Iterator[int]:
    """Measure every frame and write a line for each; give the number of frames done after each.

    Parameters
    ----------
    footage : Footage
        The recording.
    regions : RegionSet
        What to measure.
    stream : text file
        Takes `time_s,frame` and `NAME_min_C,NAME_mean_C,NAME_max_C` per region, after comments
        that say what was assumed. With a judge, `NAME_min_u_K,NAME_mean_u_K,NAME_max_u_K` follow:
        standard uncertainties; what is not readable is `nan`, and a comment says why.
    unit : TemperatureUnit
        Of the temperatures; a source of brightness only gives counts.
    scene, profile : Scene, CameraProfile, optional
        In place of the recording's own.
    judge : Judge, optional
        Decides what each number is worth.
    poses : Poses, optional
        Where the board is: the regions go along with it.
    """
    relative = footage.info.scale.relative
    notes = measuring_notes(footage, regions, scene, profile)
    notes += surface_remarks(regions.regions, judge)
    if poses is not None:
        notes.append(
            f"regions follow the board, placed in frame {poses.anchor}; nan where it is lost"
        )
    frames = measure_footage(footage, regions, scene, profile, judge, poses=poses)
    if judge is None or relative:
        if judge is not None:
            notes.append("no uncertainty: brightness has none in kelvin")
        _write_notes(notes, stream)
        writer = _begin(regions, stream, "counts" if relative else unit.value, sure=False)
        for done, frame in enumerate(frames, 1):
            kelvin = frame.table[:, : len(COLUMNS)].ravel().tolist()
            shown = kelvin if relative else [unit.from_kelvin(value) for value in kelvin]
            writer.writerow(_line(frame, [f"{value:.4f}" for value in shown]))
            yield done
        return
    # why some cells lack stands above them, and is known only when all are done
    with tempfile.SpooledTemporaryFile(_SPOOL_BYTES, "w+", encoding="utf-8", newline="") as spool:
        writer = _begin(regions, spool, unit.value, sure=True)
        told: dict[str, _Told] = {}
        done = 0
        while part := list(islice(frames, _TOGETHER)):
            writer.writerows(_judged_lines(part, regions, judge, unit, told))
            done += len(part)
            yield done
        _write_notes([*notes, *_why(told, done, judge)], stream)
        spool.seek(0)
        copyfileobj(spool, stream)


def _write_notes(notes: list[str], stream: TextIO) -> None:
    for note in notes:
        print(f"# {' '.join(note.split())}", file=stream)


def _begin(regions: RegionSet, stream: Any, suffix: str, *, sure: bool) -> Any:
    """Write the header; return the writer of the lines below."""
    writer = csv.writer(stream, lineterminator="\n")
    heads = []
    for region in regions.regions:
        heads += [f"{region.name}_{column}_{suffix}" for column in COLUMNS]
        if sure:
            heads += [f"{region.name}_{column}_u_K" for column in COLUMNS]
    writer.writerow(["time_s", "frame", *heads])
    return writer


def _line(frame: MeasuredFrame, cells: list[str]) -> list[object]:
    return [f"{frame.time_s:.6f}", frame.number, *cells]


def _judged_lines(
    frames: list[MeasuredFrame],
    regions: RegionSet,
    judge: Judge,
    unit: TemperatureUnit,
    told: dict[str, _Told],
) -> list[list[object]]:
    """Return lines with uncertainties; note in `told` what could not be read, and why."""
    tables = np.stack([frame.table for frame in frames])
    around_k = np.stack([frame.around_k for frame in frames])
    cells: list[list[str]] = [[] for _ in frames]
    for position, region in enumerate(regions.regions):
        values, doubts = [], []
        for statistic in COLUMNS:
            value_k, u_k = _judged(
                tables[:, position],
                around_k[:, position],
                region,
                statistic,
                judge=judge,
                told=told.setdefault(region.name, _Told()),
            )
            values.append([f"{unit.from_kelvin(value):.4f}" for value in value_k.tolist()])
            doubts.append([f"{u:.4f}" for u in u_k.tolist()])
        for number, row in enumerate(zip(*values, *doubts, strict=True)):
            cells[number] += row
    return [_line(frame, row) for frame, row in zip(frames, cells, strict=True)]


def _judged(
    table: NDArray[np.float64],
    around_k: NDArray[np.float64],
    region: Region,
    statistic: Statistic,
    *,
    judge: Judge,
    told: _Told,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values and standard uncertainties, K, of one region's statistic, a frame each."""
    columns = {name: table[:, number] for number, name in enumerate(STATISTICS)}
    places = [columns[name] for name in _PLACES.get(statistic, ())]
    value_k, u_k = np.full((2, len(table)), np.nan)
    for row, now_k in enumerate(columns[statistic].tolist()):
        place = (float(places[0][row]), float(places[1][row])) if places else None
        reading = judge.temperature(
            region, statistic, now_k, place=place, around_k=float(around_k[row])
        )
        if reading.readable:
            value_k[row], u_k[row] = reading.value_k, reading.u_k
            told.freedom = min(told.freedom, reading.freedom)
        elif np.isfinite(columns["max_x"][row]):  # else out of view: nan by the contract
            vague = reading.reason.startswith("uncertain by")  # by another amount in each frame
            why = f"uncertain, mostly {reading.dominant}" if vague else reading.reason
            told.reasons[why] += 1
    return value_k, u_k


def _why(told: dict[str, _Told], frames: int, judge: Judge) -> list[str]:
    notes = [
        "_u_K columns: standard uncertainty (coverage about 68 %), K; beyond "
        f"{judge.limit_k:g} K a cell is not readable and nan"
    ]
    if judge.shiny is not None and judge.shiny.known:
        notes.append(f"shiny places: {judge.shiny.how}")
    few = {name: one.freedom for name, one in told.items() if one.freedom < MANY_FREEDOMS}
    if few:
        least = min(few.values())
        notes.append(
            f"a 95 % interval reaches {COVERAGE_FACTOR:.2f} standard uncertainties to each side, "
            f"up to {float(coverage_factor(least)):.2f} where few readings tell the uncertainty "
            f"(effective degrees of freedom, at the least: "
            + ", ".join(f"{name} {freedom:.0f}" for name, freedom in few.items())
            + ")"
        )
    for name, counts in ((name, one.reasons) for name, one in told.items() if one.reasons):
        words = "; ".join(
            f"{reason} ({number} of {frames * len(COLUMNS)} cells)"
            for reason, number in counts.most_common(3)
        )
        notes.append(f"not readable: {name}: {words}")
    return notes
