"""`thermview export`: a frame or all frames in open formats."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from thermview.cli.options import add_force, add_input, open_options, progress
from thermview.errors import UsageError
from thermview.units import TemperatureUnit

if TYPE_CHECKING:
    from thermview.frames import Footage
    from thermview.regions import RegionSet


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser)
    parser.add_argument(
        "out",
        type=Path,
        metavar="OUT",
        help=".png: a picture with its scale; .tiff: counts in 16 bits; .csv: a frame's "
        "temperatures; .npz: counts, times, scale; .mp4: a film",
    )
    parser.add_argument(
        "--frame",
        type=int,
        metavar="N",
        help="which frame, from 0, negative from the end; .png and .csv take the last, the others "
        "all frames, unless this is given",
    )
    parser.add_argument(
        "--regions", type=Path, metavar="R.json", help="drawn in pictures and films"
    )
    parser.add_argument("--unit", default="C", metavar="C|K|F", help="default: C")
    parser.add_argument("--raw", action="store_true", help=".png: the bare counts as 16-bit grey")
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Write what was asked for."""
    from thermview.job.films import export_all
    from thermview.paths import writing
    from thermview.regions import RegionSet, load_regions
    from thermview.sources import open_footage

    unit = TemperatureUnit.parse(options.unit)
    regions = load_regions(options.regions) if options.regions else RegionSet()
    footage = open_footage(options.recording, open_options(options))
    out: Path = options.out
    try:
        one = options.frame is not None or out.suffix.lower() in (".png", ".csv")
        if one:
            _export_one(footage, regions, unit, options)
        else:
            with writing(out, force=options.force) as path, progress("writing") as told:
                export_all(footage, path, regions=regions, unit=unit, told=told)
    finally:
        footage.close()
    print(out)
    return 0


def _export_one(
    footage: Footage, regions: RegionSet, unit: TemperatureUnit, options: argparse.Namespace
) -> None:
    from thermview.job.pictures import save_frame
    from thermview.paths import writing
    from thermview.session.export import export_frame

    frame = footage.frame(_number(options.frame, footage))
    out: Path = options.out
    if out.suffix.lower() == ".png" and not options.raw:
        with writing(out, force=options.force) as path:
            save_frame(path, footage, frame, regions, unit)
    else:
        export_frame(frame, out, force=options.force, unit=unit)


def _number(asked: int | None, footage: Footage) -> int:
    number = -1 if asked is None else asked
    count = len(footage)
    if not -count <= number < count:
        raise UsageError(
            f"there is no frame {number}; the recording has {count} (0 to {count - 1}, "
            f"or -{count} to -1 from the end)"
        )
    return number % count
