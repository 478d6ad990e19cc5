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
    open_options,
    output,
    print_json,
    progress,
)
from thermview.errors import InputError, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import TextIO

    from thermview.analysis.pair.compare import Comparison
    from thermview.analysis.pair.equals import Odd
    from thermview.analysis.pair.readings import Compared
    from thermview.analysis.pair.verdict import Limits
    from thermview.board import Landmark, Part
    from thermview.frames import Footage


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser, "good")
    parser.add_argument("bad", metavar="BAD", help="the board under repair, filmed alike")
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
    from thermview.analysis.pair.equals import equal_parts, odd_ones
    from thermview.sources import open_footage

    limits = _limits(options.tolerance)
    _check_files(options)
    good = open_footage(options.good, open_options(options))
    try:
        bad = open_footage(options.bad, open_options(options))
        try:
            found, parts = _compare(good, bad, options, limits)
            odd = odd_ones(found, equal_parts(parts), limits)
        finally:
            bad.close()
    finally:
        good.close()
    if options.plot is not None:
        _plot(found, options)
    with output(options) as stream:
        if options.format == "json":
            print_json(as_document(found, odd, by_part=bool(parts)), stream)
        else:
            print_words(found, odd, stream)
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
    board = [options.parts, options.landmarks_good, options.landmarks_bad]
    if any(board) and not all(board):
        raise UsageError("--parts, --landmarks-good and --landmarks-bad belong together; give all")
    if any(board) and (options.matching or options.regions):
        raise UsageError("give either --parts with landmarks, or --matching and --regions")


def _compare(
    good: Footage, bad: Footage, options: argparse.Namespace, limits: Limits
) -> tuple[Comparison, tuple[Part, ...]]:
    """Return the comparison, and the parts that it is by; none where it is by place."""
    from thermview.analysis.pair.compare import compare_boards
    from thermview.analysis.pair.places import compare_places, load_matching
    from thermview.board import load_landmarks, load_placement
    from thermview.regions import load_regions

    given = (options.power_on_good, options.power_on_bad)
    on_s = (_power_on(good, given[0], "good"), _power_on(bad, given[1], "bad"))
    by_place = bool(options.matching or options.regions)
    board = None
    if options.parts is not None:
        marks = (load_landmarks(options.landmarks_good), load_landmarks(options.landmarks_bad))
        board = (load_placement(options.parts), marks)
    elif not by_place:
        board = _stored(good, bad, options)
    if board is None:
        matching = load_matching(options.matching) if options.matching else ()
        regions = load_regions(options.regions) if options.regions else None
        found = compare_places(good, bad, matching, regions=regions, on_s=on_s, limits=limits)
        return found, ()
    parts, marks = board
    with progress("comparing") as told:
        found = compare_boards(good, bad, parts, marks, on_s=on_s, limits=limits, progress=told)
    return found, parts


def _power_on(footage: Footage, given_s: float | None, name: str) -> float | None:
    from thermview.session.power import power_on

    if given_s is None:
        return power_on(footage.marks, footage.supply)
    first_s, last_s = float(footage.times_s[0]), float(footage.times_s[-1])
    if not first_s - 3600 <= given_s < last_s:
        raise UsageError(
            f"--power-on-{name} is {given_s:g} s; the recording lasts from {first_s:g} to "
            f"{last_s:g} s"
        )
    return given_s


def _stored(
    good: Footage, bad: Footage, options: argparse.Namespace
) -> tuple[tuple[Part, ...], tuple[tuple[Landmark, ...], tuple[Landmark, ...]]] | None:
    """Return what the recordings carry, or what lies beside them; None where both have none."""
    from thermview.board import parse_landmarks, parse_placement
    from thermview.session.boards import board_of

    good_board = board_of(good, Path(options.good))
    bad_board = board_of(bad, Path(options.bad))
    if good_board is None and bad_board is None:
        return None
    if good_board is None or bad_board is None or not (good_board.texts and bad_board.texts):
        which = "good" if good_board is None else "bad"
        raise UsageError(
            f"the {which} board's recording has no placement list and landmarks, the other has; "
            "give --parts with --landmarks-good and --landmarks-bad, or --matching"
        )
    marks = (parse_landmarks(good_board.texts[1]), parse_landmarks(bad_board.texts[1]))
    parts = parse_placement(bad_board.texts[0])
    if not {p.designator for p in parts} & {p.designator for p in good_board.parts}:
        raise InputError("the two recordings' placement lists have no part in common")
    return parts, marks


def as_document(found: Comparison, odd: Sequence[Odd], *, by_part: bool) -> dict[str, Any]:
    """Return the comparison in the contract's form."""
    from thermview.analysis.pair.places import pixel_of

    listed = []
    for one in found.ranked():
        x, y = pixel_of(found, one.x_mm, one.y_mm)
        where = {"x_px": round(x, 2), "y_px": round(y, 2)}
        listed.append({"part": one.name, **_numbers(one), **where})
    return {
        "parts": listed,
        "power_on_good_s": round(found.on_s[0], 3),
        "power_on_bad_s": round(found.on_s[1], 3),
        "compared_until_s": round(found.until_s, 2),
        "level": round(found.level, 4),
        "by": "part" if by_part else "place",
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
        "verdict": one.verdict,
    }


def print_words(found: Comparison, odd: Sequence[Odd], stream: TextIO) -> None:
    """Print the accused, then how the others fare, for people."""
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
        print("no part is colder or hotter than on the good board", file=stream)
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
