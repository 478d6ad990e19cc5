"""Shapes carried along, against scikit-image's transforms of points and of whole pictures."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.transform import SimilarityTransform, warp

from thermview.regions import Ellipse, Line, Polygon, Rectangle, Shape, Spot, pixel_mask
from thermview.regions.carried import carried, mapped

SHAPES: list[Shape] = [
    Rectangle(40, 30, 24, 14),
    Ellipse(60, 50, 15, 9),
    Polygon(((30, 30), (70, 35), (52, 66))),
]


def moving(turn: float, scale: float = 1.0) -> SimilarityTransform:
    return SimilarityTransform(rotation=turn, scale=scale, translation=(7.25, -4.5))


def test_points_go_where_scikit_image_puts_them() -> None:
    move = moving(0.1, 1.05)
    points = np.array([[3.0, 4.0], [50.5, 20.25]])
    np.testing.assert_allclose(mapped(move.params, points), move(points))
    assert carried(Spot(3, 4), move.params) == Spot(*move([[3, 4]])[0])
    line = carried(Line(1, 2, 30, 40), move.params)
    np.testing.assert_allclose(np.ravel(line.handles()), np.ravel(move([[1, 2], [30, 40]])))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("turn", [0.0, 0.2])
def test_the_pixels_are_those_of_the_moved_mask(shape: Shape, turn: float) -> None:
    move, size = moving(turn, 1.1), (120, 130)
    before = pixel_mask(shape, size).astype(float)
    half = SimilarityTransform(translation=(0.5, 0.5))  # there a pixel's centre is whole
    ours = pixel_mask(carried(shape, move.params), size)
    theirs = warp(before, half + move.inverse + half.inverse, order=1) > 0.5
    apart = np.count_nonzero(ours != theirs)
    assert apart < 0.12 * np.count_nonzero(theirs)  # pixels on the outline only


def test_upright_shapes_stay_what_they_are_while_nothing_turns() -> None:
    move = moving(0.0).params
    assert carried(Rectangle(40, 30, 24, 14), move) == Rectangle(47.25, 25.5, 24, 14)
    assert carried(Ellipse(60, 50, 15, 9), move) == Ellipse(67.25, 45.5, 15, 9)
