"""What `thermview compare` is asked: against one good board, a shelf of them, or among equals."""

from __future__ import annotations

import argparse
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from thermview.analysis.pair.alone import compare_equal_parts, compare_equal_regions
from thermview.analysis.pair.compare import Comparison, compare_boards
from thermview.analysis.pair.equals import (
    Odd,
    Range,
    consensus,
    equal_parts,
    odd_ones,
    range_of,
)
from thermview.analysis.pair.places import compare_places, load_matching
from thermview.analysis.pair.verdict import Limits
from thermview.board import (
    Landmark,
    Part,
    load_landmarks,
    load_placement,
    parse_landmarks,
    parse_placement,
)
from thermview.cli.options import open_options, progress
from thermview.errors import InputError, UsageError
from thermview.frames import Footage
from thermview.job.shelf import Entry, Shelf
from thermview.regions import load_regions
from thermview.session.boards import board_of
from thermview.session.power import power_on
from thermview.sources import open_footage

MOST_GOODS = 5
"""So many of a model's newest recordings are read; more tell little of the spread."""

Known = tuple[tuple[Part, ...], tuple[Landmark, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """A comparison and what it is by.

    Attributes
    ----------
    found : Comparison
    parts : tuple of Part
        None where it is by place.
    odd : list of Odd
        Parts of the board under repair that do otherwise than their equals there.
    against : str
        ``board``, ``shelf`` or ``equals``.
    goods : tuple of str
        The known-good boards, by their titles or files.
    range_w : dict
        Least and largest power of each part on several good boards, W.
    """

    found: Comparison
    parts: tuple[Part, ...]
    odd: list[Odd]
    against: str
    goods: tuple[str, ...] = ()
    range_w: Range = field(default_factory=dict)


def comparison_for(options: argparse.Namespace, limits: Limits) -> Outcome:
    """Compare as the command's options ask.

    Raises
    ------
    ThermviewError
        Something cannot be read or compared.
    """
    with closing(open_footage(options.bad, open_options(options))) as bad:
        if options.equals:
            return _among_equals(bad, options, limits)
        if options.shelf is not None:
            return _against_shelf(bad, options, limits)
        with closing(open_footage(options.good, open_options(options))) as good:
            return _against_one(good, bad, options, limits)


def _among_equals(bad: Footage, options: argparse.Namespace, limits: Limits) -> Outcome:
    on_s = _power_on(bad, options.power_on_bad, "bad")
    if options.regions is not None:
        regions = load_regions(options.regions)
        with progress("comparing") as told:
            found = compare_equal_regions(bad, regions, on_s=on_s, limits=limits, progress=told)
        return Outcome(found, (), [], "equals")
    parts, marks = _known(bad, options)
    with progress("comparing") as told:
        found = compare_equal_parts(bad, parts, marks, on_s=on_s, limits=limits, progress=told)
    return Outcome(found, parts, [], "equals")


def _against_shelf(bad: Footage, options: argparse.Namespace, limits: Limits) -> Outcome:
    """Compare with the model's good boards one by one; their spread joins the uncertainty."""
    shelf = Shelf()
    entries = _entries(shelf, options.shelf)
    parts, marks = _known(bad, options)
    on_s = _power_on(bad, options.power_on_bad, "bad")
    seen: list[Comparison] = []
    goods: list[str] = []
    unread = ""
    for entry in entries:
        path = shelf.recording(entry)
        try:
            with closing(open_footage(str(path))) as good:
                board = board_of(good, path)
                if board is None or not board.texts:
                    raise InputError(f"{entry.id} on the shelf has no placement list and landmarks")
                known_s = entry.power_on_s
                good_on_s = known_s if known_s is not None else power_on(good.marks, good.supply)
                both = (parse_landmarks(board.texts[1]), marks)
                with progress(f"comparing with {entry.title or entry.id}") as told:
                    seen.append(
                        compare_boards(
                            good, bad, parts, both, on_s=(good_on_s, on_s), limits=limits,
                            progress=told,
                        )
                    )  # fmt: skip
            goods.append(entry.title or entry.id)
        except InputError as error:
            unread = str(error)
    if not seen:
        raise InputError(f"none of the shelf's {options.shelf} can be compared with: {unread}")
    found = seen[0]
    if len(seen) > 1:
        found = replace(found, subjects=tuple(consensus(seen)))
    odd = odd_ones(found, equal_parts(parts), limits)
    return Outcome(found, parts, odd, "shelf", tuple(goods), range_of(seen, "power_good_w"))


def _entries(shelf: Shelf, model: str) -> list[Entry]:
    entries = shelf.entries(model)
    if not entries:
        models = ", ".join(shelf.models()) or "nothing yet"
        raise UsageError(f"the shelf has no board of the model {model!r}; it has {models}")
    return sorted(entries, key=lambda entry: entry.added, reverse=True)[:MOST_GOODS]


def _known(bad: Footage, options: argparse.Namespace) -> Known:
    """Return the parts and landmarks of the board under repair: given, else stored with it."""
    if options.parts is not None:
        return load_placement(options.parts), load_landmarks(options.landmarks_bad)
    board = board_of(bad, Path(options.bad))
    if board is None or not board.texts:
        more = ", or --regions on equal parts" if options.equals else ""
        raise UsageError(
            f"{options.bad} has no placement list and landmarks; give --parts with "
            f"--landmarks-bad{more}"
        )
    return parse_placement(board.texts[0]), parse_landmarks(board.texts[1])


def _against_one(
    good: Footage, bad: Footage, options: argparse.Namespace, limits: Limits
) -> Outcome:
    given = (options.power_on_good, options.power_on_bad)
    on_s = (_power_on(good, given[0], "good"), _power_on(bad, given[1], "bad"))
    by_place = bool(options.matching or options.regions)
    board = None
    if options.parts is not None:
        marks = (load_landmarks(options.landmarks_good), load_landmarks(options.landmarks_bad))
        board = (load_placement(options.parts), marks)
    elif not by_place:
        board = _stored(good, bad, options)
    names = (Path(options.good).name,)
    if board is None:
        matching = load_matching(options.matching) if options.matching else ()
        regions = load_regions(options.regions) if options.regions else None
        found = compare_places(good, bad, matching, regions=regions, on_s=on_s, limits=limits)
        return Outcome(found, (), [], "board", names)
    parts, both = board
    with progress("comparing") as told:
        found = compare_boards(good, bad, parts, both, on_s=on_s, limits=limits, progress=told)
    return Outcome(found, parts, odd_ones(found, equal_parts(parts), limits), "board", names)


def _power_on(footage: Footage, given_s: float | None, name: str) -> float | None:
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
