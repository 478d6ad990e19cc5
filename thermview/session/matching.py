"""Matching points: places known on the board and in the picture, and how well they agree."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from thermview.board import (
    BoardView,
    Landmark,
    LandmarkCheck,
    Part,
    check_landmarks,
    side_seen,
)
from thermview.errors import InputError

ENOUGH = 4
POOR_MM = 0.5  # scatter that a hand with a loupe stays below; common practice, no source
POOR_PX = 1.0
SAME_MM = 0.02  # two places nearer than this are one
MM_PER_PX = 0.5  # taken for a picture's pixel where nothing tells; common practice, no source

Pixel = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Point:
    """One matching point.

    Attributes
    ----------
    board_mm : (float, float)
        On the board, mm, y up.
    pixel : (float, float)
        In the picture, pixels, y down.
    name : str
        What it is, such as ``U3`` or ``12.5, 40 mm``.
    side : str
        ``top`` or ``bottom`` where it belongs to a part, else empty.
    """

    board_mm: tuple[float, float]
    pixel: tuple[float, float]
    name: str
    side: str = ""

    def landmark(self) -> Landmark:
        """Return it without its name."""
        return Landmark(self.board_mm, self.pixel)


class Grade(Enum):
    """What the points together are worth."""

    FEW = "few"
    GOOD = "good"
    POOR = "poor"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Fit:
    """The view that the points give, how far each lies from it, and what to do about it.

    Attributes
    ----------
    grade : Grade
    words : str
        For the user.
    view : BoardView or None
        None where there is none to be used.
    misfits_mm : tuple of float
        Distance of each point from its place, mm on the board; NaN without a view, and of points
        that agree by making.
    worst : int or None
        Number of the point that disagrees with the others most, where there are five or more.
    """

    grade: Grade
    words: str
    view: BoardView | None = None
    misfits_mm: tuple[float, ...] = ()
    worst: int | None = None


def judge(
    points: Sequence[Point], remain_mm: float | None = None, *, told_mm: float | None = None
) -> Fit:
    """Fit the board's plane to the points and say what the fit is worth.

    `remain_mm` is the view's uncertainty where the points were moved onto the picture's own edges:
    they agree by making then. With `told_mm`, the plane is another picture, of so many mm a pixel,
    and the words count in its pixels.
    """
    unknown = (math.nan,) * len(points)
    if len(points) < ENOUGH:
        left = ENOUGH - len(points)
        words = f"{len(points)} of {ENOUGH} points; {left} more, far apart"
        return Fit(Grade.FEW, words, misfits_mm=unknown)
    if trouble := _twice(points):
        return Fit(Grade.REFUSED, trouble, misfits_mm=unknown)
    try:
        check = check_landmarks([point.landmark() for point in points])
    except InputError as error:
        return Fit(Grade.REFUSED, _points_for_landmarks(str(error)), misfits_mm=unknown)
    each = tuple(check.residual_mm.tolist())
    if trouble := _mirrored(points, check.view):
        return Fit(Grade.REFUSED, trouble, misfits_mm=each)
    return _graded(points, check, remain_mm, told_mm)


def judge_pairs(
    pairs: Sequence[tuple[Pixel, Pixel]], what: str, mm_per_px: float | None = None
) -> Fit:
    """Say how well places in one picture agree with the same places in another.

    Parameters
    ----------
    pairs : sequence of ((x, y), (x, y))
        Pixels in the first picture, and in the second, which stands for the board's plane.
    what : str
        The first picture in words, where it lies mirrored on the second.
    mm_per_px : float, optional
        Of the second picture; unknown, lengths are told in its pixels.
    """
    scale = MM_PER_PX if mm_per_px is None else mm_per_px
    points = [
        Point((there[0] * scale, -there[1] * scale), here, f"point {number}")
        for number, (here, there) in enumerate(pairs, 1)
    ]
    fit = judge(points, told_mm=scale if mm_per_px is None else None)
    if fit.view is not None and side_seen(fit.view) == "bottom":
        words = f"{what} lies mirrored: two points are swapped, or it shows the other side"
        return Fit(Grade.REFUSED, words, None, fit.misfits_mm)
    return fit


def _graded(
    points: Sequence[Point], check: LandmarkCheck, remain_mm: float | None, told_mm: float | None
) -> Fit:
    def told(length_mm: float, digits: int) -> str:
        if told_mm is None:
            return f"{length_mm:.{digits}f} mm"
        return f"{length_mm / told_mm:.1f} pixels"

    view, off_mm = check.view, check.residual_mm
    each = tuple(off_mm.tolist())
    below = ", seen from below" if side_seen(view) == "bottom" else ""
    if remain_mm is not None:
        words = f"the points follow the parts' own edges{below}; ± {remain_mm:.2f} mm remain"
        return Fit(Grade.GOOD, words, view, (math.nan,) * len(points))
    if len(points) == ENOUGH:
        words = f"four points always fit{below}; a fifth tells whether they are right"
        return Fit(Grade.GOOD, words, view, each)
    spread_mm = scatter_mm(off_mm)
    if not check.suspects and spread_mm <= max(POOR_MM, POOR_PX * view.mm_per_px):
        words = f"the points agree within {told(spread_mm, 2)}{below}"
        return Fit(Grade.GOOD, words, view, each, check.worst)
    suspects = check.suspects or tuple(k for k in (check.worst,) if k is not None)
    names = " or ".join(f"{points[k].name} by {told(check.off_mm[k], 1)}" for k in suspects)
    words = f"the other points disagree with {names}{below}; look there first"
    return Fit(Grade.POOR, words, view, each, check.worst)


def scatter_mm(misfits: NDArray[np.float64]) -> float:
    """Return the points' scatter along one axis, mm: a homography takes 8 of their 2 n numbers."""
    free = 2 * len(misfits) - 8
    return float(np.sqrt(np.sum(misfits**2) / free)) if free > 0 else 0.0


def _twice(points: Sequence[Point]) -> str:
    for number, point in enumerate(points):
        for other in points[:number]:
            if math.dist(point.board_mm, other.board_mm) < SAME_MM:
                return f"{point.name} stands for one place twice; remove one of the two points"
            if math.dist(point.pixel, other.pixel) < SAME_MM:
                return f"{other.name} and {point.name} lie at one place in the picture; drag one"
    return ""


def _mirrored(points: Sequence[Point], view: BoardView) -> str:
    sides = {point.side for point in points if point.side}
    if not sides or side_seen(view) in sides:
        return ""
    return (
        f"the points show the board mirrored, but their parts are on the {sides.pop()}: two points "
        "are swapped, or the picture shows the other side"
    )


def _points_for_landmarks(words: str) -> str:
    return words.replace("the landmarks", "the points").replace("landmarks", "points")


def named(landmarks: Iterable[Landmark], parts: Sequence[Part]) -> tuple[Point, ...]:
    """Return landmarks as points, named by the part whose middle they are."""
    points = []
    for mark in landmarks:
        part = next(
            (p for p in parts if math.dist((p.x_mm, p.y_mm), mark.board_mm) < SAME_MM), None
        )
        if part is None:
            points.append(Point(mark.board_mm, mark.pixel, place_name(*mark.board_mm)))
        else:
            points.append(Point(mark.board_mm, mark.pixel, part.designator, part.side))
    return tuple(points)


def place_name(x_mm: float, y_mm: float) -> str:
    """Return a place on the board in words."""
    return f"{round(x_mm, 1):g}, {round(y_mm, 1):g} mm".replace("-", "−")
