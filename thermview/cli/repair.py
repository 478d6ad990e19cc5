"""`thermview repair`: save what can be read of a damaged recording."""

from __future__ import annotations

import argparse
from pathlib import Path

from thermview.cli.options import add_force, add_format, print_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("recording", metavar="REC", type=Path)
    parser.add_argument("out", metavar="OUT", type=Path)
    add_format(parser)
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Copy every readable frame and all that comes with them into a new recording."""
    from dataclasses import asdict

    from thermview.recording.repair import repair

    summary = repair(options.recording, options.out, force=options.force)
    if options.format == "json":
        print_json(asdict(summary))
    else:
        print(summary)
    return 0
