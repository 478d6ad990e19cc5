"""Which side of the board a view shows, and the parts on it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from thermview.board.parts import Part
from thermview.board.view import BoardView, part_outline_px
from thermview.errors import InputError

OTHER = {"top": "bottom", "bottom": "top"}


def side_seen(view: BoardView) -> str:
    """Return ``top`` or ``bottom``: from below, the board's x and y appear mirrored.

    The board's y points up and the picture's down, so that a view of the top turns the sense of
    rotation once; a mirror is what tells the bottom apart.
    """
    around = view.board_to_pixel(np.add(view.centre_mm, [[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]]))
    right, up = around[1] - around[0], around[2] - around[0]
    return "top" if right[0] * up[1] - right[1] * up[0] < 0 else "bottom"


def parts_seen(parts: Iterable[Part], view: BoardView) -> tuple[Part, ...]:
    """Return the parts on the side that a view shows.

    Raises
    ------
    InputError
        The list has parts on the other side only: the landmarks are mirrored, or swapped.
    """
    side = side_seen(view)
    seen = tuple(part for part in parts if part.side == side)
    if not seen:
        raise InputError(
            f"the landmarks show the board's {side}, mirrored against its {OTHER[side]}, but all "
            f"parts are on the {OTHER[side]}; two landmarks are swapped, or the wrong side is in "
            "the list"
        )
    return seen


def outlines_seen(parts: Iterable[Part], view: BoardView) -> dict[str, NDArray[np.float64]]:
    """Return the outlines of the parts on the side that a view shows, by designator.

    Each has shape (corner, 2): x, y in pixels. Empty where the list has none on that side.
    """
    side = side_seen(view)
    return {p.designator: part_outline_px(p, view) for p in parts if p.side == side}
