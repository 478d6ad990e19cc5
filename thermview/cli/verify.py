"""`thermview verify`: is a recording whole?"""

from __future__ import annotations

import argparse
from pathlib import Path

from thermview.cli.options import add_format, print_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("recording", metavar="REC", type=Path)
    add_format(parser)


def run(options: argparse.Namespace) -> int:
    """Print what is wrong with the recording; return 1 when something is."""
    from thermview.recording.verify import verify

    problems = verify(options.recording)
    if options.format == "json":
        print_json({"recording": str(options.recording), "problems": problems})
    elif problems:
        print(*(f"{options.recording}: {problem}" for problem in problems), sep="\n")
    else:
        print(f"{options.recording}: whole")
    return 1 if problems else 0
