"""`thermview curve`: temperatures of regions over time."""

from __future__ import annotations

import argparse
import csv
import io
from dataclasses import replace
from pathlib import Path

from thermview.cli.options import (
    add_format,
    add_input,
    add_output,
    open_options,
    output,
    print_json,
    progress,
)
from thermview.errors import UsageError
from thermview.units import TemperatureUnit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser)
    parser.add_argument(
        "--regions", required=True, type=Path, metavar="R.json", help="what to measure"
    )
    parser.add_argument(
        "--uncertainty",
        action="store_true",
        help="adds NAME_min_u_K, NAME_mean_u_K, NAME_max_u_K: standard uncertainties in K; what "
        "is not readable is nan, and a comment line says why",
    )
    parser.add_argument(
        "--limit",
        type=float,
        metavar="K",
        help="with --uncertainty: beyond this a number is not readable (default: 5)",
    )
    parser.add_argument(
        "--stabilise",
        action="store_true",
        help="the regions follow the board from the first frame on while the camera moves; nan "
        "where the board is lost",
    )
    parser.add_argument("--unit", default="C", metavar="C|K|F", help="default: C")
    add_format(parser, "csv")
    add_output(parser)


def run(options: argparse.Namespace) -> int:
    """Measure every frame and write a line for each."""
    from thermview.regions import load_regions
    from thermview.session.curve_table import write_curve_table
    from thermview.session.following import Poses
    from thermview.session.judging import judge_of
    from thermview.sources import open_footage

    unit = TemperatureUnit.parse(options.unit)
    regions = load_regions(options.regions)
    footage = open_footage(options.recording, open_options(options))
    judge = judge_of(footage, Path(options.recording)) if options.uncertainty else None
    if judge is not None and options.limit is not None:
        judge = replace(judge, limit_k=_limit(options.limit))
    try:
        with progress("measuring") as told, output(options) as stream:
            table = stream if options.format == "csv" else io.StringIO()
            poses = None
            if options.stabilise and len(footage):
                poses = Poses(footage, footage.first)
            lines = write_curve_table(footage, regions, table, unit=unit, judge=judge, poses=poses)
            for done in lines:
                told(done, len(footage))
            if isinstance(table, io.StringIO):
                print_json(_as_document(table.getvalue()), stream)
    finally:
        footage.close()
    return 0


def _limit(limit_k: float) -> float:
    if not limit_k > 0:  # also true of NaN
        raise UsageError(f"--limit is {limit_k:g} K; it must be above 0")
    return limit_k


def _as_document(table: str) -> dict[str, object]:
    """Return the CSV as notes and columns of numbers."""
    lines = table.splitlines()
    notes = [line.removeprefix("# ") for line in lines if line.startswith("#")]
    header, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    columns = zip(*([float(cell) for cell in row] for row in rows), strict=True)
    return {"notes": notes, "columns": dict(zip(header, map(list, columns), strict=False))}
