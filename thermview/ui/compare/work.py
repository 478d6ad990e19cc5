"""A comparison as the window wants it: the verdicts, and the films in step. Outside Qt's thread."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from thermview.analysis.pair.alone import compare_equal_parts, compare_equal_regions
from thermview.analysis.pair.compare import Comparison, compare_boards
from thermview.analysis.pair.equals import consensus, equal_parts, odd_ones, range_of
from thermview.analysis.pair.places import Match, compare_places, pixel_of
from thermview.board import Landmark, parse_landmarks
from thermview.errors import InputError, ThermviewError
from thermview.frames import Footage, SourceInfo
from thermview.session.boards import Board, board_of
from thermview.session.power import power_on
from thermview.session.stretch import Stretch
from thermview.sources import open_footage
from thermview.ui.compare.films import Pictures, alone_in_step, in_step, last_picture
from thermview.ui.compare.question import ALONE, Answer, By, Question, Reference
from thermview.ui.compare.watched import Watched

MOST_FELLOWS = 4
Report = Callable[[str, float], None]


def answer(question: Question, report: Report) -> Answer:
    """Compare; `report` is told how far it is and may raise to give up.

    Raises
    ------
    ThermviewError
        The good recording cannot be read, or the two cannot be compared.
    """
    reference = question.reference
    if question.by in ALONE or reference is None:
        return _alone(question, report)
    report(f"opening {reference.name}", -1.0)
    with opened(reference, question.whole) as good:
        films: tuple[Any, Any] = (
            Watched(good, lambda n, of: report("reading the known-good board", 0.4 * n / of)),
            Watched(
                question.footage, lambda n, of: report("reading this board", 0.4 * (1 + n / of))
            ),
        )
        found = _compared(question, films, _board_of(reference, good, question))
        report("putting the pictures in step", 0.9)
        shown = in_step(found, films)
    seen = [found, *_fellows(question, report)]
    if len(seen) > 1:
        found = replace(found, subjects=tuple(consensus(seen)))
    parts = question.board.parts if question.by is By.PART and question.board else ()
    groups = equal_parts(parts)
    return Answer(
        found,
        question.by,
        places_of(found),
        shown,
        reference,
        range_of(seen, "power_good_w"),
        range_of(seen, "rise_good_k"),
        len(seen),
        tuple(groups),
        {one.name: one.words for one in odd_ones(found, groups)},
    )


def _alone(question: Question, report: Report) -> Answer:
    """Compare equals among themselves, on this board alone."""
    film: Any = Watched(question.footage, lambda n, of: report("reading this board", 0.8 * n / of))
    if question.by is By.EQUAL_REGIONS:
        found = compare_equal_regions(film, question.regions, on_s=question.on_s)
        groups = [tuple(region.name for region in question.regions.regions)]
    elif question.board is None:
        raise InputError(
            "no placement list is known for this board; draw regions on equal parts instead"
        )
    else:
        marks = _marks_of(question.board)
        found = compare_equal_parts(film, question.board.parts, marks, on_s=question.on_s)
        groups = equal_parts(question.board.parts)
    shown = alone_in_step(found, film)
    return Answer(found, question.by, places_of(found), shown, None, equals=tuple(groups))


@contextmanager
def opened(reference: Reference, whole: Footage) -> Iterator[Footage]:
    """Open a known-good recording, or take the stretch of this one; closed at the end."""
    if reference.path is None:
        start_s, end_s = reference.span_s or (-np.inf, np.inf)
        yield Stretch(whole, start_s, end_s)
        return
    footage = open_footage(str(reference.path), reference.options)
    try:
        yield footage
    finally:
        footage.close()


def _board_of(reference: Reference, good: Footage, question: Question) -> Board | None:
    return question.board if reference.path is None else board_of(good, reference.path)


def _fellows(question: Question, report: Report) -> list[Comparison]:
    """Compare with the other good boards of the model too; one that cannot be read is left out."""
    reference = question.reference
    if question.by is not By.PART or question.board is None or reference is None:
        return []  # places and regions are matched with the one picture only
    seen = []
    for place, fellow in enumerate(reference.fellows[:MOST_FELLOWS]):
        try:
            with opened(fellow, question.whole) as good:
                board = _board_of(fellow, good, question)
                if board is None:
                    continue
                tell = partial(_tell, report, f"reading {fellow.name}, good as well", place)
                films = (Watched(good, tell), Watched(question.footage, tell))
                seen.append(_compared(replace(question, reference=fellow), films, board))
        except InputError:
            continue
    return seen


def _tell(report: Report, words: str, place: int, n: int, of: int) -> None:
    report(words, (place + n / of) / MOST_FELLOWS)


def places_of(found: Comparison) -> dict[str, tuple[float, float]]:
    """Return where each subject's middle is in this board's picture, px."""
    return {one.name: pixel_of(found, one.x_mm, one.y_mm) for one in found.subjects}


def _compared(question: Question, films: tuple[Any, Any], good_board: Board | None) -> Comparison:
    good, bad = films
    assert question.reference is not None
    known_s = question.reference.on_s
    good_on_s = known_s if known_s is not None else power_on(good.marks, good.supply)
    on_s = (good_on_s, question.on_s)
    if question.by is not By.PART:
        regions = question.regions if question.by is By.REGION else None
        return compare_places(good, bad, question.matching, regions=regions, on_s=on_s)
    board = question.board or good_board
    if board is None:
        raise InputError(
            "no placement list is known for either board; compare places that warm, or regions"
        )
    marks = landmarks_of(good_board, question.board, question.matching)
    if not question.matching and None in (good_board, question.board):
        _same_size(good.info, bad.info)
    return compare_boards(good, bad, board.parts, marks, on_s=on_s)


def _same_size(one: SourceInfo, other: SourceInfo) -> None:
    if (one.width_px, one.height_px) != (other.width_px, other.height_px):
        raise InputError(
            f"the pictures are {one.width_px}×{one.height_px} and "
            f"{other.width_px}×{other.height_px} pixels, so they are not of one unmoved camera; "
            "click four or more matching points"
        )


def landmarks_of(
    good: Board | None, bad: Board | None, matching: Sequence[Match]
) -> tuple[tuple[Landmark, ...], tuple[Landmark, ...]]:
    """Return both pictures' landmarks; a board that has none gets them through matching points.

    Without matching points the camera did not move: both have the same. One board at least must
    be known.
    """
    marks = [_marks_of(board) for board in (good, bad)]
    if good is not None and bad is not None:
        return marks[0], marks[1]
    known = good if good is not None else bad
    assert known is not None
    if not matching:
        return (marks[0] or marks[1],) * 2
    from_good = good is not None
    through = []
    for pair in matching:
        here, there = (pair[0], pair[1]) if from_good else (pair[1], pair[0])
        x, y = known.view.pixel_to_board(here).tolist()
        through.append(Landmark((x, y), there))
    found = tuple(through)
    return (marks[0], found) if from_good else (found, marks[1])


def _marks_of(board: Board | None) -> tuple[Landmark, ...]:
    return parse_landmarks(board.texts[1]) if board is not None and board.texts else ()


def picture_of(reference: Reference, whole: Footage, board: Board | None) -> tuple[Pictures, bool]:
    """Return the good recording's last picture, K, and whether its parts are known.

    Parameters
    ----------
    whole, board :
        This recording and its board, which another power-up of the same has in common.

    Raises
    ------
    ThermviewError
        It cannot be read.
    """
    with opened(reference, whole) as footage:
        if reference.path is None:
            return last_picture(footage), board is not None
        try:
            known = board_of(footage, reference.path) is not None
        except ThermviewError:
            known = False
        return last_picture(footage), known
