"""A part map from regions drawn on the picture, for the boards that have no placement list."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.board import (
    BoardView,
    Landmark,
    Part,
    PartMap,
    Place,
    side_seen,
)
from thermview.regions import Ellipse, Line, Polygon, Rectangle, Region, Spot

LEAST_MM = 0.2  # no body is narrower
CIRCLE = 16  # corners that stand for an ellipse


def picture_view(width_px: int, height_px: int, mm_per_px: float) -> tuple[Landmark, ...]:
    """Return landmarks that make the picture itself the board: 0, 0 mm at its lower left."""
    corners = ((0, height_px), (width_px, height_px), (width_px, 0), (0, 0))
    return tuple(
        Landmark((u * mm_per_px, (height_px - v) * mm_per_px), (float(u), float(v)))
        for u, v in corners
    )


def map_of(
    regions: Sequence[Region],
    view: BoardView,
    known: Sequence[Part] = (),
    *,
    assumed: bool = False,
) -> PartMap:
    """Return drawn areas as parts named by their regions, drawn spots as places.

    Parameters
    ----------
    view : BoardView
        Where the board lies in the picture.
    known : sequence of Part
        Parts that there are already; those of the same name are kept in place of the drawn.
    assumed : bool
        The view's scale is a guess, and so are the drawn parts' sizes.
    """
    taken = {part.designator for part in known}
    side = side_seen(view)
    parts, places = list(known), []
    for region in regions:
        if isinstance(region.shape, Spot):
            x, y = view.pixel_to_board([region.shape.x, region.shape.y]).tolist()
            places.append(Place(region.name, round(x, 3), round(y, 3)))
        elif not isinstance(region.shape, Line) and region.name not in taken:
            parts.append(_part(region, view, side, assumed))
    return PartMap(tuple(parts), tuple(places))


def _part(region: Region, view: BoardView, side: str, assumed: bool) -> Part:
    """Return the smallest rectangle on the board around a region, turned as the region lies."""
    corners = view.pixel_to_board(_outline(region)).astype(np.float32)
    (x, y), (width, height), angle = cv2.minAreaRect(corners)
    if angle < -45.0:  # the name of the same rectangle that is turned least
        width, height, angle = height, width, angle + 90.0
    return Part(
        designator=region.name,
        package="",
        x_mm=round(float(x), 3),
        y_mm=round(float(y), 3),
        rotation_deg=round(float(angle), 2),
        side=side,
        width_mm=max(round(float(width), 3), LEAST_MM),
        height_mm=max(round(float(height), 3), LEAST_MM),
        size_assumed=assumed,
    )


def _outline(region: Region) -> NDArray[np.float64]:
    match region.shape:
        case Rectangle(x, y, width, height):
            right, low = x + width, y + height
            return np.array([[x, y], [right, y], [right, low], [x, low]])
        case Ellipse(cx, cy, rx, ry):
            turn = np.linspace(0.0, 2 * np.pi, CIRCLE, endpoint=False)
            return np.stack([cx + rx * np.cos(turn), cy + ry * np.sin(turn)], axis=1)
        case Polygon(points):
            return np.array(points, dtype=np.float64)
    raise TypeError(region.shape)
