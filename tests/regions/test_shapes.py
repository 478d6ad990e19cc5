"""Shapes as values: moving, mirroring, handles, and what they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermview.errors import InputError
from thermview.regions import (
    Ellipse,
    Line,
    Polygon,
    Rectangle,
    Shape,
    Spot,
    pixel_mask,
    shape_from_json,
)

# Sixteenths: sums and mirror images are then exact in float64.
places = st.integers(0, 640).map(lambda n: n / 16 + 1 / 32)
lengths = st.integers(1, 320).map(lambda n: n / 16)
shapes = st.one_of(
    st.builds(Spot, places, places),
    st.builds(Line, places, places, places, places),
    st.builds(Rectangle, places, places, lengths, lengths),
    st.builds(Ellipse, places, places, lengths, lengths),
    st.lists(st.tuples(places, places), min_size=3, max_size=7).map(lambda p: Polygon(tuple(p))),
)
SIZE = (40, 40)


@given(shapes)
def test_mirrored_shape_has_the_mirrored_pixels(shape: Shape) -> None:
    mask = pixel_mask(shape, SIZE)
    across = pixel_mask(shape.mirrored_x(20), SIZE)
    over = pixel_mask(shape.mirrored_y(20), SIZE)
    if isinstance(shape, Line):
        # half-open pixels: only where a stroke passes a corner of the grid exactly may it differ
        assert (mask[:, ::-1] ^ across).sum() <= 40
        return
    np.testing.assert_array_equal(across, mask[:, ::-1])
    np.testing.assert_array_equal(over, mask[::-1])


@given(shapes, st.integers(-30, 30), st.integers(-30, 30))
def test_moving_there_and_back(shape: Shape, dx: int, dy: int) -> None:
    assert shape.moved(dx, dy).moved(-dx, -dy) == shape
    left, top, right, bottom = shape.bounds()
    assert shape.moved(dx, dy).bounds() == (left + dx, top + dy, right + dx, bottom + dy)


@given(shapes)
def test_json_there_and_back(shape: Shape) -> None:
    assert shape_from_json(shape.to_json()) == shape


@given(shapes, st.integers(0, 6), places, places)
def test_dragged_handle_lands_where_it_is_put(shape: Shape, index: int, x: float, y: float) -> None:
    index %= len(shape.handles())
    dragged = shape.with_handle(index, x, y)
    corners = dragged.handles()
    if isinstance(shape, Rectangle):
        fixed = shape.handles()[(index + 2) % 4]
        if abs(x - fixed[0]) >= 1 and abs(y - fixed[1]) >= 1:
            assert (x, y) in corners
            assert fixed in corners
    elif isinstance(shape, Ellipse):
        assert isinstance(dragged, Ellipse)
        assert (dragged.cx, dragged.cy) == (shape.cx, shape.cy)
        radius = abs(x - shape.cx) if index % 2 == 0 else abs(y - shape.cy)
        assert (dragged.rx if index % 2 == 0 else dragged.ry) == max(radius, 1)
    else:
        assert corners[index] == (x, y)
        rest = [corner for n, corner in enumerate(corners) if n != index]
        assert rest == [corner for n, corner in enumerate(shape.handles()) if n != index]


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"shape": "ellipse", "cx": 1, "cy": 2, "rx": -2, "ry": 1}, "rx must be above 0, got -2"),
        ({"shape": "rectangle", "x": 1, "y": 2, "width": 0, "height": 1}, "width must be above 0"),
        ({"shape": "spot", "x": 1}, "y of the spot missing"),
        ({"shape": "spot", "x": "1", "y": 2}, "x must be a number, got '1'"),
        ({"shape": "spot", "x": True, "y": 2}, "x must be a number"),
        ({"shape": "spot", "x": float("nan"), "y": 2}, "x must lie within ±1,000,000 px, got nan"),
        ({"shape": "spot", "x": 10**400, "y": 2}, "x must lie within"),
        ({"shape": "blob"}, "shape must be one of spot, line, rectangle, ellipse, polygon"),
        ({"shape": ["spot"]}, "shape must be one of"),
        ({}, "shape must be one of"),
        ({"shape": "polygon", "points": [[0, 0], [1, 1]]}, "points must be three or more, got 2"),
        ({"shape": "polygon", "points": [[0, 0], [1, 1], [2]]}, "list of [x, y] pairs"),
        ({"shape": "polygon", "points": [[0, 0], [1, 1], [2, "a"]]}, "points 3 y must be a number"),
        ({"shape": "polygon", "points": 3}, "points must be a list"),
    ],
)
def test_refused(entry: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as caught:
        shape_from_json(entry)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
