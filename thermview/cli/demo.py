"""`thermview demo`: the worked example, in the window or as a report."""

from __future__ import annotations

import argparse
from pathlib import Path

from thermview.cli.options import add_force

STORY = "short"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument(
        "--headless", type=Path, metavar="DIR", help="no window: write report and pictures there"
    )
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Show the worked example, or write its report."""
    if options.headless is None:
        from thermview.ui.app import run as run_window

        return run_window(f"simulated:{STORY}")
    from thermview.job.demo_report import write_demo_report
    from thermview.paths import sample_recordings

    recording = sample_recordings() / f"{STORY}.h5"
    report = write_demo_report(recording, options.headless, force=options.force)
    print(report.words)
    print(f"report: {report.path}")
    for picture in report.pictures:
        print(f"picture: {picture}")
    return 0
