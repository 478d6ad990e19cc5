"""`thermview compare`: part by part, or place by place, against a known-good board."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermview.cli.options import (
    add_format,
    add_input,
    add_output,
    output,
    print_json,
)
from thermview.errors import UsageError

if TYPE_CHECKING:
    from typing import TextIO

    from thermview.analysis.pair.compare import Comparison
    from thermview.analysis.pair.readings import Compared
    from thermview.analysis.pair.verdict import Limits
    from thermview.cli.comparing import Outcome

THAN = {"board": "on the good board", "shelf": "on the good boards", "equals": "its equals"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser, "good")
    parser.add_argument(
        "bad",
        metavar="BAD",
        nargs="?",
        help="the board under repair, filmed alike; with --shelf or --equals it stands alone",
    )
    alone = parser.add_mutually_exclusive_group()
    alone.add_argument(
        "--shelf", metavar="MODEL", help="against this model's known-good boards on the shelf"
    )
    alone.add_argument(
        "--equals", action="store_true", help="equal parts among themselves, without a good board"
    )
    for name in ("good", "bad"):
        parser.add_argument(
            f"--power-on-{name}", type=float, metavar="S", help="when its power came on, s"
        )
    parser.add_argument("--parts", type=Path, metavar="P.csv", help="placement list of both boards")
    for name in ("good", "bad"):
        parser.add_argument(
            f"--landmarks-{name}", type=Path, metavar="L.json", help=f"where the {name} board lies"
        )
    parser.add_argument(
        "--matching", type=Path, metavar="M.json", help="points alike in both pictures, no list"
    )
    parser.add_argument(
        "--regions", type=Path, metavar="R.json", help="compare these, drawn on BAD's picture"
    )
    parser.add_argument(
        "--tolerance",
        default="0.6,1.6",
        metavar="LOW,HIGH",
        help="colder below and hotter above these shares of the good board's (default: 0.6,1.6)",
    )
    parser.add_argument("--plot", type=Path, metavar="OUT.png", help="a picture of the comparison")
    add_format(parser)
    add_output(parser)


def run(options: argparse.Namespace) -> int:
    """Compare and print the verdicts."""
    from thermview.cli.comparing import comparison_for

    limits = _limits(options.tolerance)
    _check_files(options)
    outcome = comparison_for(options, limits)
    if options.plot is not None:
        _plot(outcome.found, options)
    with output(options) as stream:
        if options.format == "json":
            print_json(as_document(outcome), stream)
        else:
            print_words(outcome, stream)
    return 0


def _limits(text: str) -> Limits:
    from thermview.analysis.pair.verdict import Limits

    try:
        low, high = (float(word) for word in text.split(","))
    except ValueError:
        raise UsageError(f"--tolerance is {text!r}; give two shares such as 0.6,1.6") from None
    if not (0 <= low < 1 < high and math.isfinite(high)):
        raise UsageError(f"--tolerance is {text}; the first must be in 0…1, the second above 1")
    return Limits(low, high)


def _check_files(options: argparse.Namespace) -> None:
    alone = options.shelf is not None or options.equals
    if alone:
        _check_alone(options)
    elif options.bad is None:
        raise UsageError(
            "one recording is given; give GOOD and BAD, or --shelf MODEL or --equals with BAD alone"
        )
    board = [options.parts, options.landmarks_bad]
    board += [] if alone else [options.landmarks_good]
    if any(board) and not all(board):
        raise UsageError("--parts, --landmarks-good and --landmarks-bad belong together; give all")
    if any(board) and (options.matching or options.regions):
        raise UsageError("give either --parts with landmarks, or --matching and --regions")


def _check_alone(options: argparse.Namespace) -> None:
    """Refuse what speaks of one known-good recording; the one given is the board under repair."""
    which = "--equals" if options.equals else "--shelf"
    if options.bad is not None:
        raise UsageError(f"with {which} give the board under repair alone, not two recordings")
    for name in ("power_on_good", "landmarks_good", "matching"):
        if getattr(options, name) is not None:
            raise UsageError(f"--{name.replace('_', '-')} says nothing with {which}; leave it out")
    if options.regions is not None and not options.equals:
        raise UsageError("the shelf's boards are compared by parts; leave --regions out")
    options.good, options.bad = None, options.good


def as_document(outcome: Outcome) -> dict[str, Any]:
    """Return the comparison in the contract's form."""
    from thermview.analysis.pair.places import pixel_of

    found, odd = outcome.found, outcome.odd
    listed = []
    for one in found.ranked():
        x, y = pixel_of(found, one.x_mm, one.y_mm)
        where = {"x_px": round(x, 2), "y_px": round(y, 2)}
        spread = outcome.range_w.get(one.name)
        more = {"goods_W": [round(limit, 5) for limit in spread]} if spread else {}
        listed.append({"part": one.name, **_numbers(one), **more, **where})
    return {
        "parts": listed,
        "power_on_good_s": round(found.on_s[0], 3),
        "power_on_bad_s": round(found.on_s[1], 3),
        "compared_until_s": round(found.until_s, 2),
        "level": round(found.level, 4),
        "by": "part" if outcome.parts else "place",
        "against": outcome.against,
        "goods": list(outcome.goods),
        "odd_among_equals": [
            {
                "part": one.name,
                "verdict": one.verdict,
                "power_W": round(one.power_w, 5),
                "equals_W": round(one.equals_w, 5),
                "equals": list(one.equals),
            }
            for one in odd
        ],
        "notes": list(found.notes),
    }


def _numbers(one: Compared) -> dict[str, Any]:
    return {
        "rise_good_K": round(one.rise_good_k, 3),
        "rise_bad_K": round(one.rise_bad_k, 3),
        "power_good_W": round(one.power_good_w, 5),
        "power_bad_W": round(one.power_bad_w, 5),
        "sigma_W": round(one.sigma_w, 5),
        "scale_doubt": round(one.scale_doubt, 3),
        "verdict": one.verdict,
    }


def print_words(outcome: Outcome, stream: TextIO) -> None:
    """Print the accused, then how the others fare, for people."""
    found, odd = outcome.found, outcome.odd
    if len(outcome.goods) > 1:
        print(f"against {len(outcome.goods)} known-good boards of the model", file=stream)
    for note in found.notes:
        print(note, file=stream)
    accused = [one for one in found.ranked() if one.verdict in ("colder", "hotter")]
    for one in accused:
        good, bad = 1e3 * one.power_good_w, 1e3 * one.power_bad_w
        print(
            f"{one.name:>8}  {one.verdict:7} {bad:7.1f} mW instead of {good:.1f} "
            f"(± {1e3 * one.sigma_w:.1f}), rise {one.rise_bad_k:.1f} K instead of "
            f"{one.rise_good_k:.1f} K",
            file=stream,
        )
    if not accused:
        print(f"no part is colder or hotter than {THAN[outcome.against]}", file=stream)
    for verdict in ("alike", "unreadable", "out of view"):
        names = [one.name for one in found.subjects if one.verdict == verdict]
        if names and verdict == "alike":
            print(f"{len(names)} alike", file=stream)
        elif names:
            print(f"{verdict}: {', '.join(names)}", file=stream)
    for unlike in odd:
        print(f"on this board {unlike.words}", file=stream)


def _plot(found: Comparison, options: argparse.Namespace) -> None:
    from thermview.job.comparing import draw_comparison
    from thermview.job.pictures import new_figure, save
    from thermview.paths import writing

    with writing(options.plot, force=options.force) as path:
        figure = new_figure(1300, 1000)
        draw_comparison(figure, found)
        save(figure, path)
