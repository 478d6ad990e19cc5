"""Which parts and places of a board model are meant to be warm: remembered in the user's folder."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Place
from thermview.board import outlines_seen
from thermview.errors import UsageError
from thermview.paths import made, save_text, user_data
from thermview.session.boards import Board

NEAR_MM, NEAR_PX = 3.0, 6.0
"""Heat so near to a place, or within its own radius, is that place's."""
MARGIN_MM = 15.0
"""A board goes so far beyond the middles of its outermost parts."""


@dataclass(frozen=True, slots=True)
class WarmPlace:
    """Where there is no listed part: mm on the board, or pixels where no board is known."""

    x: float
    y: float
    on_board: bool

    @classmethod
    def of(cls, place: Place) -> WarmPlace:
        """Return where heat was found."""
        if place.x_mm is None or place.y_mm is None:
            return cls(round(place.x_px, 1), round(place.y_px, 1), on_board=False)
        return cls(round(place.x_mm, 1), round(place.y_mm, 1), on_board=True)

    def is_at(self, place: Place) -> bool:
        """Tell whether found heat is this place's."""
        if not self.on_board:
            return math.dist((self.x, self.y), (place.x_px, place.y_px)) <= NEAR_PX
        if place.x_mm is None or place.y_mm is None:
            return False
        away_mm = math.dist((self.x, self.y), (place.x_mm, place.y_mm))
        return away_mm <= max(NEAR_MM, place.radius_mm)

    def __str__(self) -> str:
        return f"{self.x:g}, {self.y:g} {'mm' if self.on_board else 'px'}"


Warm = str | WarmPlace
"""A part's designator, or a place."""


def seen_at(x_px: float, y_px: float, board: Board | None, name: str = "") -> Warm:
    """Return what a pixel shows: the part of that name, else the one whose outline has it, else
    the place.
    """
    if board is None:
        return WarmPlace(round(x_px, 1), round(y_px, 1), on_board=False)
    if any(part.designator == name for part in board.parts):
        return name
    outlines = {
        part: outline.astype(np.float32)
        for part, outline in outlines_seen(board.parts, board.view).items()
        if cv2.pointPolygonTest(outline.astype(np.float32), (x_px, y_px), False) >= 0
    }
    if outlines:  # of one above another the smaller
        return min(outlines, key=lambda part: cv2.contourArea(outlines[part]))
    x_mm, y_mm = board.view.pixel_to_board((x_px, y_px)).tolist()
    return WarmPlace(round(x_mm, 1), round(y_mm, 1), on_board=True)


def covers(warm: Collection[Warm], place: Place) -> bool:
    """Tell whether heat on no listed part is meant to be."""
    return any(isinstance(one, WarmPlace) and one.is_at(place) for one in warm)


def parse_warm(text: str, board: Board | None, size_px: tuple[int, int]) -> frozenset[Warm]:
    """Read a list such as ``U3,41.5:20``: designators, and places as x:y.

    Places are mm on the board where one is known, else pixels.

    Parameters
    ----------
    text : str
    board : Board or None
    size_px : (width, height)
        Of the picture.

    Raises
    ------
    UsageError
        A name is not in the placement list; a place is no two numbers, or neither in the picture
        nor on the board.
    """
    entries = [entry.strip() for entry in text.split(",") if entry.strip()]
    known = {part.designator for part in board.parts} if board else set()
    names = {entry for entry in entries if entry in known or ":" not in entry}
    if unknown := sorted(names - known):
        raise UsageError(
            f"--meant-warm names {', '.join(unknown)}, not in the placement list; check the names, "
            "or give a place as X:Y"
        )
    places = {_parsed(entry, on_board=board is not None) for entry in {*entries} - names}
    (left, low), (right, high) = _reach(board, size_px).tolist()
    for place in places:
        if not (left <= place.x <= right and low <= place.y <= high):
            unit = "px" if board is None else "mm"
            raise UsageError(
                f"--meant-warm has {place}, which is off the picture and the board; give X from "
                f"{left:.0f} to {right:.0f} and Y from {low:.0f} to {high:.0f} {unit}"
            )
    return frozenset(names | places)


def _parsed(entry: str, *, on_board: bool) -> WarmPlace:
    try:
        x, y = (float(number) for number in entry.split(":"))
    except ValueError:
        x = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        unit = "mm on the board" if on_board else "pixels"
        raise UsageError(f"--meant-warm has {entry!r}; give a place as X:Y in {unit}")
    return WarmPlace(x, y, on_board)


def _reach(board: Board | None, size_px: tuple[int, int]) -> NDArray[np.float64]:
    """Return two corners, shape (2, 2), between which the picture and the board lie."""
    width, height = size_px
    picture = np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float64)
    if board is None:
        return np.stack([picture.min(axis=0), picture.max(axis=0)])
    middles = np.array([(part.x_mm, part.y_mm) for part in board.parts]).reshape(-1, 2)
    around = middles[None] + np.array([[[-MARGIN_MM]], [[MARGIN_MM]]])
    known = np.concatenate([board.view.pixel_to_board(picture), around.reshape(-1, 2)])
    return np.stack([known.min(axis=0), known.max(axis=0)])


def model_key(board: Board) -> str:
    """Return what boards of one model have in common: which parts, and where, to 0.1 mm."""
    rows = sorted(
        f"{p.designator} {p.package} {p.side} {p.x_mm:.1f} {p.y_mm:.1f}" for p in board.parts
    )
    return hashlib.sha256("\n".join(rows).encode()).hexdigest()[:20]


def file_of(board: Board) -> Path:
    """Return the file that remembers a model."""
    return user_data() / "boards" / f"{model_key(board)}.json"


def recall(board: Board) -> frozenset[Warm]:
    """Return the parts and places that are meant to be warm; empty where none is known."""
    try:
        stored = json.loads(file_of(board).read_text(encoding="utf-8"))
        names, places = stored["meant_warm"], stored.get("meant_warm_mm", [])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):  # never, or badly by hand
        return frozenset()
    known = {part.designator for part in board.parts}
    found: set[Warm] = {name for name in names if name in known} if _is_list(names) else set()
    for pair in places if _is_list(places) else ():
        if _is_list(pair) and len(pair) == 2 and all(isinstance(v, int | float) for v in pair):
            found.add(WarmPlace(float(pair[0]), float(pair[1]), on_board=True))
    return frozenset(found)


def _is_list(value: Any) -> bool:
    return isinstance(value, list)


def remember(board: Board, warm: Collection[Warm], title: str = "") -> None:
    """Store what is meant to be warm; `title` tells people which model it is.

    Places in pixels are not stored: they hold for one view only.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    file = file_of(board)
    made(file.parent)
    places = [[one.x, one.y] for one in warm if isinstance(one, WarmPlace) and one.on_board]
    words = {
        "model": title,
        "meant_warm": sorted(one for one in warm if isinstance(one, str)),
        "meant_warm_mm": sorted(places),
    }
    save_text(file, json.dumps(words, indent=1, ensure_ascii=False))
