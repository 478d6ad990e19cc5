"""Places on a board for matching points: parts' middles and corners, the board's own corners."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from thermview.board import Part
from thermview.board import Place as MapPlace
from thermview.session.matching import Point, place_name

MIDDLE = "middle"
EASY_MM = 6.0  # what is larger is not seen more easily
CORNERS = ("lower left", "lower right", "upper right", "upper left")
"""Counter-clockwise as `Part.outline_mm` gives them, the board seen as in its drawing."""


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere on the board.

    Attributes
    ----------
    name : str
        In words, such as ``U3`` or ``U3 upper left``.
    board_mm : (float, float)
    words : str
        What is to be clicked, such as ``the upper left corner of U3``.
    side : str
        Of the part that it belongs to, else empty.
    part : str
        Its designator, else empty.
    where : str
        `MIDDLE`, or the part's corner.
    """

    name: str
    board_mm: tuple[float, float]
    words: str
    side: str = ""
    part: str = ""
    where: str = MIDDLE

    def at(self, pixel: tuple[float, float]) -> Point:
        """Return the matching point of this place seen at a pixel."""
        return Point(self.board_mm, pixel, self.name, self.side)


def of_part(part: Part, where: str = MIDDLE) -> Place:
    """Return a part's middle, or one of its body's corners by the board's drawing."""
    name = part.designator
    if where == MIDDLE:
        words = f"the middle of {name}"
        return Place(name, (part.x_mm, part.y_mm), words, part.side, name)
    x, y = _corners(part)[CORNERS.index(where)]
    words = f"the {where} corner of {name}"
    return Place(f"{name} {where}", (round(x, 4), round(y, 4)), words, part.side, name, where)


def _corners(part: Part) -> list[list[float]]:
    """Return a part's corners on the board in the order of `CORNERS`, however it is turned."""
    corners = part.outline_mm()
    ways = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    reach = (corners - [part.x_mm, part.y_mm]) @ ways.T  # how far each corner lies in each way
    first = max(range(4), key=lambda k: float(sum(reach[(k + way) % 4, way] for way in range(4))))
    turned: list[list[float]] = np.roll(corners, -first, axis=0).tolist()
    return turned


def of_board(width_mm: float, height_mm: float, where: str) -> Place:
    """Return a corner of a board whose lower left corner is 0, 0."""
    x = width_mm if "right" in where else 0.0
    y = height_mm if "upper" in where else 0.0
    return Place(f"board {where}", (x, y), f"the board's {where} corner")


def of_map(place: MapPlace) -> Place:
    """Return a place that a part map names."""
    return Place(place.name, (place.x_mm, place.y_mm), place.name)


def of_mm(x_mm: float, y_mm: float) -> Place:
    """Return a place by its coordinates."""
    name = place_name(x_mm, y_mm)
    return Place(name, (x_mm, y_mm), f"the place {name}")


def proposal(
    parts: Sequence[Part], points: Sequence[Point], places: Sequence[MapPlace] = ()
) -> Place | None:
    """Return what would make a good next point: far from the others, and easily seen.

    A part map's places and the parts' middles first, then, where those are all taken, the parts'
    corners. Only parts on the side of the points so far (the top without any) are proposed.
    """
    sides = {point.side for point in points if point.side}
    side = sides.pop() if sides else "top"
    taken = {point.name for point in points}
    seen = [p for p in parts if p.side == side] or ([] if sides else list(parts))
    free = [(of_map(place), EASY_MM) for place in places if place.name not in taken]
    free += [(of_part(p), _size(p)) for p in seen if p.designator not in taken]
    if not free:
        corners = [(of_part(p, corner), _size(p)) for p in seen for corner in CORNERS]
        free = [(place, size) for place, size in corners if place.name not in taken]
    if not free:
        return None
    middle = np.mean([place.board_mm for place, _ in free], axis=0)

    def worth(place: Place, size_mm: float) -> float:
        others = [math.dist(place.board_mm, point.board_mm) for point in points]
        far = min(others) if others else math.dist(place.board_mm, middle)
        return far * (0.5 + size_mm / EASY_MM)

    return max(free, key=lambda one: worth(*one))[0]


def _size(part: Part) -> float:
    return min(max(part.width_mm, part.height_mm), EASY_MM)
