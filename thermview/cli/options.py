"""Options that several commands share, and how results leave the program."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from thermview.paths import writing

if TYPE_CHECKING:
    from collections.abc import Callable

    from thermview.sources import OpenOptions

    Progress = Callable[[int, int], None]


def add_input(parser: argparse.ArgumentParser, name: str = "recording") -> None:
    """Add the input's name and what it takes to read a file that does not explain itself."""
    parser.add_argument(name, metavar=name.upper(), help="a recording or a stack of pictures")
    group = parser.add_argument_group("files that do not say what their numbers mean")
    group.add_argument("--dataset", metavar="PATH", help="the 3-D dataset in an HDF5 file")
    group.add_argument("--scale", type=float, metavar="K", help="kelvin per count")
    group.add_argument("--offset", type=float, metavar="K", help="kelvin at count 0")
    group.add_argument("--celsius", action="store_true", help="the numbers are °C")
    group.add_argument("--kelvin", action="store_true", help="the numbers are K")
    group.add_argument("--rate", type=float, metavar="FPS", help="frames per second")


def open_options(options: argparse.Namespace) -> OpenOptions:
    """Return what the options say on reading a file or a stream."""
    from thermview.sources import OpenOptions

    return OpenOptions(
        dataset=options.dataset,
        scale_k=options.scale,
        offset_k=options.offset,
        celsius=options.celsius,
        kelvin=options.kelvin,
        rate_hz=options.rate,
        profile=getattr(options, "layout", None),
        seed=getattr(options, "seed", None),
        speed=getattr(options, "speed", None),
    )


def period_or_auto(text: str) -> float:
    """Read a period, s; ``auto`` (NaN here) leaves it to the supply's log or the pictures."""
    if text.strip().lower() == "auto":
        return math.nan
    try:
        period_s = float(text)
    except ValueError:
        period_s = math.nan
    if not 0 < period_s < math.inf:
        raise argparse.ArgumentTypeError(f"{text} s is no period; give seconds above 0, or auto")
    return period_s


def add_format(parser: argparse.ArgumentParser, plain: str = "text") -> None:
    """Add the choice between text for people (or CSV) and one JSON document."""
    parser.add_argument(
        "--format", choices=(plain, "json"), default=plain, help=f"default: {plain}"
    )


def add_force(parser: argparse.ArgumentParser) -> None:
    """Add the permission to overwrite."""
    parser.add_argument("--force", action="store_true", help="overwrite what exists")


def add_output(parser: argparse.ArgumentParser) -> None:
    """Add the choice of a file for the result."""
    parser.add_argument("--output", type=Path, metavar="FILE", help="default: standard output")
    add_force(parser)


@contextmanager
def output(options: argparse.Namespace) -> Iterator[TextIO]:
    """Give a stream for the result: standard output, or the file asked for, whole or not at all."""
    if options.output is None:
        yield sys.stdout
        return
    with (
        writing(options.output, force=options.force) as path,
        path.open("w", encoding="utf-8", newline="") as stream,
    ):
        yield stream


def print_json(document: Any, stream: TextIO | None = None) -> None:
    """Print one JSON document; numbers that JSON lacks (NaN) become null."""
    print(json.dumps(_plain(document), indent=1, ensure_ascii=False), file=stream or sys.stdout)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and value - value != 0:  # NaN and the infinities
        return None
    return value


@contextmanager
def progress(words: str) -> Iterator[Progress]:
    """Show progress on standard error while the block runs; nothing where that is no terminal."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
