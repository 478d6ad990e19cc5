"""A comparison as the window wants it: the verdicts, and both films in step. Outside Qt's thread.

Both films are shown on the grid of this board's picture, at the same times since power-on, so
that one zoom, one colour scale and one playhead serve both and their difference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.compare import Comparison, compare_boards
from thermview.analysis.pair.places import Match, compare_places, pixel_of
from thermview.board import Landmark, parse_landmarks
from thermview.errors import InputError, ThermviewError
from thermview.frames import Footage, Frame, Mark, SourceInfo, SupplyLog
from thermview.regions import RegionSet
from thermview.session.boards import Board, board_of
from thermview.session.power import power_on
from thermview.sources import OpenOptions, open_footage

Pictures = NDArray[np.float32]
Floats = NDArray[np.float64]

STEPS = 64  # pictures of each film that are kept for looking at
BEFORE_S = 1.0
ZERO_S = 3.0  # up to so long before power the zero is taken from
MOST_ZERO = 24
BESIDE = 1  # frames on each side that a picture is averaged with
MOST_FELLOWS = 4
LONGEST_NAME = 30
BLUR_PX = 0.8  # one standard deviation of a camera's blur, px


class By(Enum):
    """What is compared."""

    PART = "parts"
    REGION = "my regions"
    PLACE = "places that warm"


@dataclass(frozen=True, slots=True)
class Reference:
    """A known-good recording: its file, and what it is called on screen.

    `on_s` is when its power came on, where that is known beside the recording; `fellows` are
    other good boards of the same model, which show how much good boards differ.
    """

    path: Path
    name: str
    options: OpenOptions = field(default_factory=OpenOptions)
    on_s: float | None = None
    fellows: tuple[Reference, ...] = ()

    @property
    def short_name(self) -> str:
        """Return the name, cut where it would take too much of a line."""
        return self.name if len(self.name) <= LONGEST_NAME else f"{self.name[: LONGEST_NAME - 2]} …"


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What is to be compared with what.

    Attributes
    ----------
    reference : Reference
    footage : Footage
        Of this board; stays the caller's.
    board : Board or None
        Of this board's picture.
    on_s : float or None
        When this board's power came on; None: found from the frames.
    by : By
    matching : tuple of Match
        The same places in the good board's picture and in this one's; none where the camera did
        not move.
    regions : RegionSet
        Compared where `by` says so.
    """

    reference: Reference
    footage: Footage
    board: Board | None
    on_s: float | None
    by: By
    matching: tuple[Match, ...] = ()
    regions: RegionSet = field(default_factory=RegionSet)


@dataclass(frozen=True, slots=True, eq=False)
class Films:
    """Rises of both boards in step, K, on the grid of this board's picture.

    Attributes
    ----------
    since_s : ndarray, shape (picture,)
        Seconds after power-on.
    good_k, bad_k : ndarray of float32, shape (picture, row, column)
        The good board's is at this board's supply level; NaN where its camera did not look.
    high_k : float
        End of the colour scale that both share.
    span_k : float
        End of the scale of their difference, on both sides of zero.
    """

    since_s: Floats
    good_k: Pictures
    bad_k: Pictures
    high_k: float
    span_k: float

    def at(self, since_s: float) -> int:
        """Return the number of the pictures nearest to a time after power-on."""
        return int(np.argmin(np.abs(self.since_s - since_s)))

    def difference_k(self, number: int) -> Pictures:
        """Return this board less the good one; what is common to the whole picture taken out."""
        apart: Pictures = self.bad_k[number] - self.good_k[number]
        seen = np.isfinite(apart)
        common = float(np.median(apart[seen])) if seen.any() else 0.0
        return apart - np.float32(common)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """The verdicts, where each subject is in this board's picture, px, and the films.

    `range_w` has the least and the largest power that the good boards of the model show of each
    part, brought to this board's supply level; `goods` says how many good boards these were.
    """

    found: Comparison
    by: By
    places_px: dict[str, tuple[float, float]]
    films: Films
    reference: Reference
    range_w: dict[str, tuple[float, float]] = field(default_factory=dict)
    goods: int = 1


class Watched:
    """Footage whose reading is told, and can be cancelled, frame by frame."""

    def __init__(self, footage: Footage, reading: Callable[[int, int], None]) -> None:
        self._footage = footage
        self._reading = reading

    @property
    def info(self) -> SourceInfo:
        """Return the footage's."""
        return self._footage.info

    @property
    def times_s(self) -> Floats:
        """Return the footage's."""
        return self._footage.times_s

    @property
    def first(self) -> int:
        """Return the footage's."""
        return self._footage.first

    @property
    def supply(self) -> SupplyLog | None:
        """Return the footage's."""
        return self._footage.supply

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the footage's."""
        return self._footage.marks

    def __len__(self) -> int:
        return len(self._footage)

    def frame(self, number: int) -> Frame:
        """Return a frame, after telling which; see `Footage`."""
        self._reading(number - self.first, len(self) - self.first)
        return self._footage.frame(number)

    def close(self) -> None:
        """Do nothing: the footage is its owner's."""


def answer(question: Question, report: Callable[[str, float], None]) -> Answer:
    """Compare; `report` is told how far it is and may raise to give up.

    Raises
    ------
    ThermviewError
        The good recording cannot be read, or the two cannot be compared.
    """
    reference = question.reference
    report(f"opening {reference.name}", -1.0)
    with closing(open_footage(str(reference.path), reference.options)) as good:
        films: tuple[Any, Any] = (
            Watched(good, lambda n, of: report("reading the known-good board", 0.4 * n / of)),
            Watched(
                question.footage, lambda n, of: report("reading this board", 0.4 * (1 + n / of))
            ),
        )
        found = _compared(question, films, board_of(good, reference.path))
        report("putting the pictures in step", 0.9)
        shown = in_step(found, films)
    seen = [found, *_fellows(question, report)]
    places = places_of(found)
    return Answer(found, question.by, places, shown, reference, range_of(seen), len(seen))


def _fellows(question: Question, report: Callable[[str, float], None]) -> list[Comparison]:
    """Compare with the other good boards of the model too; one that cannot be read is left out."""
    if question.by is not By.PART or question.board is None:
        return []  # places and regions are matched with the one picture only
    seen = []
    for place, fellow in enumerate(question.reference.fellows[:MOST_FELLOWS]):
        try:
            with closing(open_footage(str(fellow.path), fellow.options)) as good:
                board = board_of(good, fellow.path)
                if board is None:
                    continue
                tell = partial(_tell, report, f"reading {fellow.name}, good as well", place)
                films = (Watched(good, tell), Watched(question.footage, tell))
                seen.append(_compared(replace(question, reference=fellow), films, board))
        except InputError:
            continue
    return seen


def _tell(report: Callable[[str, float], None], words: str, place: int, n: int, of: int) -> None:
    report(words, (place + n / of) / MOST_FELLOWS)


def range_of(seen: Sequence[Comparison]) -> dict[str, tuple[float, float]]:
    """Return the least and the largest power of each part on the good boards, W."""
    if len(seen) < 2:
        return {}
    powers: dict[str, list[float]] = {}
    for found in seen:
        for one in found.subjects:
            if np.isfinite(one.power_good_w):
                powers.setdefault(one.name, []).append(one.power_good_w)
    return {name: (min(all_w), max(all_w)) for name, all_w in powers.items()}


def places_of(found: Comparison) -> dict[str, tuple[float, float]]:
    """Return where each subject's middle is in this board's picture, px."""
    return {one.name: pixel_of(found, one.x_mm, one.y_mm) for one in found.subjects}


def _compared(question: Question, films: tuple[Any, Any], good_board: Board | None) -> Comparison:
    good, bad = films
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


# ---- the films ---------------------------------------------------------------------------------


def in_step(found: Comparison, films: tuple[Any, Any]) -> Films:
    """Return both films at the same times since power-on, on the grid of this board's picture."""
    good, bad = films
    since_s = np.linspace(-BEFORE_S, found.until_s, STEPS)
    bad_k = rises_at(bad, found.on_s[1], since_s)
    own_k = rises_at(good, found.on_s[0], since_s)
    good_k = np.empty_like(bad_k)
    views = [aligned.view for aligned in found.aligned]
    to_good = views[0].matrix @ np.linalg.inv(views[1].matrix)
    finer = views[1].mm_per_px / views[0].mm_per_px
    for picture, out in zip(own_k, good_k, strict=True):
        out[:] = brought(picture, to_good, finer, (bad_k.shape[1], bad_k.shape[2]))
    good_k *= np.float32(found.level)
    shown = Films(since_s, good_k, bad_k, 1.0, 1.0)
    late = np.stack([good_k[-1], bad_k[-1]])
    high_k = max(float(np.nanpercentile(late, 99.7)), 0.5)
    apart = shown.difference_k(STEPS - 1)
    seen = np.abs(apart[np.isfinite(apart)])
    span_k = max(float(np.percentile(seen, 99.7)) if seen.size else 0.0, 0.2)
    return replace(shown, high_k=high_k, span_k=span_k)


def rises_at(footage: Any, on_s: float, since_s: Floats) -> Pictures:
    """Return rises over the time before power, K, float32, at times since power-on."""
    times_s = footage.times_s[footage.first :]
    zero = _mean(footage, _quiet(times_s, on_s) + footage.first)
    out = np.empty((len(since_s), *zero.shape), np.float32)
    for place, since in enumerate(since_s):
        nearest = int(np.argmin(np.abs(times_s - on_s - since)))
        around = np.arange(max(0, nearest - BESIDE), min(len(times_s), nearest + BESIDE + 1))
        out[place] = _mean(footage, around + footage.first) - zero
    return out


def _quiet(times_s: Floats, on_s: float) -> NDArray[np.intp]:
    """Return the numbers of the frames before power, the first where there are none."""
    quiet = np.flatnonzero((times_s < on_s) & (times_s > on_s - ZERO_S))
    if len(quiet) == 0:
        return np.zeros(1, dtype=np.intp)
    return quiet[:: max(1, len(quiet) // MOST_ZERO)]


def _mean(footage: Any, numbers: NDArray[np.intp]) -> Pictures:
    """Return the mean of frames, K; those held by the shutter count only where all are."""
    frames = [footage.frame(int(n)) for n in numbers]
    frames = [f for f in frames if not f.held] or frames
    total = np.zeros(frames[0].shape, np.float32)
    for frame in frames:
        total += frame.counts.astype(np.float32) * np.float32(frame.scale.k_per_count)
    # what is added to every count drops out of a rise
    total /= np.float32(len(frames))
    return total


def brought(picture: Pictures, there: Floats, finer: float, shape: tuple[int, int]) -> Pictures:
    """Return a picture on another grid, NaN beside it.

    Parameters
    ----------
    there : ndarray, shape (3, 3)
        From pixels of the new grid to those of the picture.
    finer : float
        How many of the picture's pixels make one of the new grid's; a finer picture is blurred.
    shape : (rows, columns)
        Of the new grid.
    """
    more = (BLUR_PX * finer) ** 2 - BLUR_PX**2
    soft = cv2.GaussianBlur(picture, (0, 0), more**0.5) if more > 0.01 else picture
    half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    out: Pictures = cv2.warpPerspective(
        soft,
        np.linalg.inv(half) @ there @ half,
        (shape[1], shape[0]),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    ).astype(np.float32, copy=False)
    return out


def last_picture(footage: Footage) -> Pictures:
    """Return the last frame that shows the scene, K, for clicking matching points on it."""
    for number in range(len(footage) - 1, max(footage.first, len(footage) - 50) - 1, -1):
        frame = footage.frame(number)
        if not frame.held:
            return frame.kelvin().astype(np.float32)
    raise InputError("no frame of this recording shows the scene")


def picture_of(reference: Reference) -> tuple[Pictures, bool]:
    """Return the good recording's last picture, K, and whether its parts are known.

    Raises
    ------
    ThermviewError
        It cannot be read.
    """
    with closing(open_footage(str(reference.path), reference.options)) as footage:
        try:
            known = board_of(footage, reference.path) is not None
        except ThermviewError:
            known = False
        return last_picture(footage), known
