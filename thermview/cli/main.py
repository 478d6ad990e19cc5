"""`thermview`: the window, or one of the commands; the one place where errors become exit codes."""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

from thermview import __version__
from thermview.cautions import BOARDS_HURT
from thermview.errors import ThermviewError

COMMANDS = {
    "demo": "the worked example: a board with a fault, found",
    "inputs": "what can be opened: cameras found, and the simulated boards",
    "record": "record from a camera or a simulated board",
    "info": "what is in a recording",
    "verify": "is a recording whole?",
    "repair": "save what can be read of a damaged recording",
    "curve": "temperatures of regions over time, as CSV",
    "locate": "which parts dissipate, how much, how sure",
    "pulse": "amplitude and phase images for a pulsed supply",
    "compare": "part by part, or place by place, against a known-good board",
    "export": "a frame or all frames, in open formats",
    "report": "the record of the work: picture, readings, curves, as a page",
}
"""Name and purpose of each command; each is a module of this package with that name."""
SELDOM = 50_000
"""New objects until Python looks for cyclic garbage: loading makes hundreds of thousands, and
none of them is."""


class Parser(argparse.ArgumentParser):
    """A parser whose errors look like every other error of the program."""

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with 2."""
        self.exit(2, f"thermview: error: {message}; see {self.prog} -h\n")


def command_parser() -> Parser:
    """Return the parser of all commands; only the modules' options are loaded, nothing heavy."""
    parser = Parser(
        prog="thermview",
        description="Thermal video of boards: which part dissipates, how much, how sure.",
        epilog="thermview [FILE or INPUT] opens the window.\n\n" + BOARDS_HURT.replace(". ", ".\n"),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"thermview {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, purpose in COMMANDS.items():
        sub = commands.add_parser(name, help=purpose, description=purpose[0].upper() + purpose[1:])
        module = importlib.import_module(f"thermview.cli.{name}")
        module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    return parser


def window_parser() -> Parser:
    """Return the parser for opening the window."""
    parser = Parser(prog="thermview", add_help=False)
    parser.add_argument("address", nargs="?", metavar="FILE or INPUT")
    parser.add_argument("--theme", choices=("dark", "light"))
    return parser


def run(arguments: Sequence[str]) -> int:
    """Run a command or the window; return the exit code."""
    first = arguments[0] if arguments else ""
    if first in COMMANDS or first in ("-h", "--help", "--version"):
        options = command_parser().parse_args(arguments)
        return int(options.run(options))
    options = window_parser().parse_args(arguments)
    from thermview.ui.app import run as run_window

    return run_window(options.address, theme=options.theme)


def _try_files_ahead(arguments: Sequence[str]) -> None:
    """Let recordings be tried out (see `recording.probe`) while the rest of the program loads."""
    words = arguments[1:] if arguments and arguments[0] in COMMANDS else ()
    paths = [Path(word) for word in words if word.endswith(".h5") and Path(word).is_file()]
    if not paths:
        return
    from thermview.recording.probe import probe  # here: two threads must not import one package

    def try_out(path: Path) -> None:
        with suppress(ThermviewError):  # met again, and told, where the file is opened
            probe(path)

    for path in paths:
        threading.Thread(target=try_out, args=(path,), daemon=True).start()


def main() -> NoReturn:
    """Be the program: run, turn an error into one line, leave with its exit code."""
    gc.set_threshold(SELDOM)
    _try_files_ahead(sys.argv[1:])
    try:
        code = run(sys.argv[1:])
        sys.stdout.flush()
    except ThermviewError as error:
        print(f"thermview: error: {' '.join(str(error).split())}", file=sys.stderr)
        code = error.exit_code
    except KeyboardInterrupt:
        print("thermview: stopped", file=sys.stderr)
        code = 130
    except BrokenPipeError:
        # The reader of a pipe left (such as `head`): not an error, and nothing more to say to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    sys.exit(code)
