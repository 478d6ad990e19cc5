"""The regions' curves as a CSV table, in the contract's columns."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import TextIO

from thermview.frames import Footage, Scene
from thermview.regions import RegionSet
from thermview.session.batch import measure_footage, measuring_notes
from thermview.units import TemperatureUnit

COLUMNS = ("min", "mean", "max")


def write_curve_table(
    footage: Footage,
    regions: RegionSet,
    stream: TextIO,
    *,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    scene: Scene | None = None,
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
        that say what was assumed.
    unit : TemperatureUnit
        Of the temperatures; a source of brightness only gives counts.
    scene : Scene, optional
        In place of the recording's own.
    """
    relative = footage.info.scale.relative
    suffix = "counts" if relative else unit.value
    for note in measuring_notes(footage, regions, scene):
        print(f"# {' '.join(note.split())}", file=stream)
    writer = csv.writer(stream, lineterminator="\n")
    heads = [f"{r.name}_{column}_{suffix}" for r in regions.regions for column in COLUMNS]
    writer.writerow(["time_s", "frame", *heads])
    for done, frame in enumerate(measure_footage(footage, regions, scene), 1):
        kelvin = frame.table[:, : len(COLUMNS)].ravel().tolist()
        shown = kelvin if relative else [unit.from_kelvin(value) for value in kelvin]
        cells = [f"{value:.4f}" for value in shown]
        writer.writerow([f"{frame.time_s:.6f}", frame.number, *cells])
        yield done
