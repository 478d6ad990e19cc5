"""`thermview report`: the record of the work as a page."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from thermview.cli.options import add_force, add_input, open_options, progress
from thermview.errors import UsageError
from thermview.units import TemperatureUnit

if TYPE_CHECKING:
    from thermview.regions import RegionSet


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser, "job")
    parser.add_argument(
        "out", type=Path, metavar="OUT", help=".html: one file, pictures in it; .pdf: for printing"
    )
    parser.add_argument(
        "--regions",
        type=Path,
        metavar="R.json",
        help="what was measured; else NAME.regions.json beside the recording",
    )
    parser.add_argument(
        "--frame", type=int, metavar="N", help="whose readings; default: the last living frame"
    )
    parser.add_argument(
        "--limit", type=float, metavar="K", help="beyond this a number is not readable (default: 5)"
    )
    parser.add_argument("--unit", default="C", metavar="C|K|F", help="default: C")
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Measure the recording and write the page."""
    from thermview.job.report import check_name, report_of
    from thermview.job.report_pages import write_pages
    from thermview.paths import writing
    from thermview.session.judging import judge_of
    from thermview.sources import open_footage

    out: Path = options.out
    check_name(out)
    unit, regions = TemperatureUnit.parse(options.unit), _regions(options)
    if options.limit is not None and not options.limit > 0:
        raise UsageError(f"--limit is {options.limit:g} K; it must be above 0")
    footage = open_footage(options.job, open_options(options))
    try:
        judge = judge_of(footage, Path(options.job))
        if options.limit is not None:
            judge = replace(judge, limit_k=options.limit)
        with writing(out, force=options.force) as path, progress("measuring") as told:
            report = report_of(footage, regions, judge, unit=unit, number=options.frame, told=told)
            write_pages(report, path)
    finally:
        footage.close()
    print(out)
    return 0


def _regions(options: argparse.Namespace) -> RegionSet:
    from thermview.regions import RegionSet, load_regions

    beside = Path(options.job).with_suffix(".regions.json")
    file = options.regions or (beside if beside.is_file() else None)
    return RegionSet() if file is None else load_regions(file)
