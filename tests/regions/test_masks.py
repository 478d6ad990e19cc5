"""Which pixels belong to a shape: against exact arithmetic and against scikit-image."""

from __future__ import annotations

import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage import draw

from thermview.regions import (
    Ellipse,
    Line,
    Polygon,
    Rectangle,
    Shape,
    Spot,
    pixel_indices,
    pixel_mask,
)

SIZE = (9, 11)  # rows, columns: small, so that the exact reference may be slow
HALF = Fraction(1, 2)
TOLERANCE_PX = Fraction(2, 10**9)

# Coordinates where centres fall on outlines (halves, thirds, tenths), and any others.
coordinates = st.one_of(
    st.integers(-8, 40).map(lambda n: n / 2),
    st.integers(-20, 60).map(lambda n: n / 3),
    st.integers(-50, 150).map(lambda n: n / 10),
    st.floats(-5, 16, allow_nan=False),
)
sizes = st.one_of(st.integers(1, 30).map(lambda n: n / 2), st.floats(1e-3, 15))
spots = st.builds(Spot, coordinates, coordinates)
lines = st.builds(Line, coordinates, coordinates, coordinates, coordinates)
rectangles = st.builds(Rectangle, coordinates, coordinates, sizes, sizes)
ellipses = st.builds(Ellipse, coordinates, coordinates, sizes, sizes)
polygons = st.lists(st.tuples(coordinates, coordinates), min_size=3, max_size=9).map(
    lambda points: Polygon(tuple(points))
)


def distance_squared(px: Fraction, py: Fraction, side: tuple[Fraction, ...]) -> Fraction:
    ax, ay, bx, by = side
    length = (bx - ax) ** 2 + (by - ay) ** 2
    along = ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / length if length else Fraction(0)
    along = min(max(along, Fraction(0)), Fraction(1))
    return (px - ax - along * (bx - ax)) ** 2 + (py - ay - along * (by - ay)) ** 2


def polygon_verdict(shape: Polygon, x: Fraction, y: Fraction) -> bool | None:
    """Return the exact answer, or None where the centre is off the outline by a rounding."""
    corners = [(Fraction(px), Fraction(py)) for px, py in shape.points]
    inside, nearest = False, Fraction(10**6)
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        nearest = min(nearest, distance_squared(x, y, (ax, ay, bx, by)))
        if (ay <= y) != (by <= y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
    if nearest == 0 or inside:
        return True
    return None if nearest <= TOLERANCE_PX**2 else False


def ellipse_verdict(shape: Ellipse, x: Fraction, y: Fraction) -> bool | None:
    def value(grow: Fraction) -> Fraction:
        rx, ry = Fraction(shape.rx) + grow, Fraction(shape.ry) + grow
        return ((x - Fraction(shape.cx)) / rx) ** 2 + ((y - Fraction(shape.cy)) / ry) ** 2

    if value(Fraction(0)) <= 1:
        return True
    return None if value(TOLERANCE_PX) <= 1 else False


def rectangle_verdict(shape: Rectangle, x: Fraction, y: Fraction) -> bool | None:
    left, top = Fraction(shape.x), Fraction(shape.y)
    right, bottom = left + Fraction(shape.width), top + Fraction(shape.height)
    if left <= x <= right and top <= y <= bottom:
        return True
    near = TOLERANCE_PX
    close = left - near <= x <= right + near and top - near <= y <= bottom + near
    return None if close else False


def line_verdict(shape: Line, column: int, row: int, grow: Fraction = Fraction(0)) -> bool:
    """Tell whether [column, column+1) x [row, row+1) holds a point of the closed stroke."""
    low, high = Fraction(0), Fraction(1)
    low_open = high_open = False
    for start, stop, near in (
        (Fraction(shape.x1), Fraction(shape.x2), Fraction(column)),
        (Fraction(shape.y1), Fraction(shape.y2), Fraction(row)),
    ):
        closed, opened = near - grow, near + 1 + grow
        if start == stop:
            if not closed <= start < opened:
                return False
            continue
        at_closed, at_open = (closed - start) / (stop - start), (opened - start) / (stop - start)
        if stop > start:
            low, low_open = max((low, low_open), (at_closed, False))
            high, high_open = min((high, not high_open), (at_open, False))
        else:
            low, low_open = max((low, low_open), (at_open, True))
            high, high_open = min((high, not high_open), (at_closed, True))
        high_open = not high_open
    return low < high or (low == high and not low_open and not high_open)


def check(mask: NDArray[np.bool_], verdicts: dict[tuple[int, int], bool | None]) -> None:
    for (row, column), verdict in verdicts.items():
        if verdict is not None:
            assert mask[row, column] == verdict, (row, column)


CENTRES = [
    (row, column, column + HALF, row + HALF) for row in range(SIZE[0]) for column in range(SIZE[1])
]


@settings(max_examples=80, deadline=None)
@given(polygons)
def test_polygon_is_exact(shape: Polygon) -> None:
    check(pixel_mask(shape, SIZE), {(r, c): polygon_verdict(shape, x, y) for r, c, x, y in CENTRES})


@settings(max_examples=150, deadline=None)
@given(ellipses)
def test_ellipse_is_exact(shape: Ellipse) -> None:
    check(pixel_mask(shape, SIZE), {(r, c): ellipse_verdict(shape, x, y) for r, c, x, y in CENTRES})


@settings(max_examples=150, deadline=None)
@given(rectangles)
def test_rectangle_is_exact(shape: Rectangle) -> None:
    mask = pixel_mask(shape, SIZE)
    check(mask, {(r, c): rectangle_verdict(shape, x, y) for r, c, x, y in CENTRES})


@settings(max_examples=200, deadline=None)
@given(lines)
def test_line_is_exact(shape: Line) -> None:
    verdicts: dict[tuple[int, int], bool | None] = {}
    for row, column, _, _ in CENTRES:
        exact = line_verdict(shape, column, row)
        # within a rounding of a corner of the grid either answer may stand
        tight = line_verdict(shape, column, row, -TOLERANCE_PX)
        wide = line_verdict(shape, column, row, TOLERANCE_PX)
        dyadic = all(v * 2 == int(v * 2) for v in (shape.x1, shape.y1, shape.x2, shape.y2))
        verdicts[row, column] = exact if dyadic or tight == wide else None
    check(pixel_mask(shape, SIZE), verdicts)


@given(spots)
def test_spot_is_the_one_pixel_that_holds_it(shape: Spot) -> None:
    expected = np.zeros(SIZE, bool)
    row, column = int(np.floor(shape.y)), int(np.floor(shape.x))
    if 0 <= row < SIZE[0] and 0 <= column < SIZE[1]:
        expected[row, column] = True
    np.testing.assert_array_equal(pixel_mask(shape, SIZE), expected)


@given(st.one_of(spots, lines, rectangles, ellipses, polygons))
def test_indices_are_the_mask_row_by_row(shape: Shape) -> None:
    indices = pixel_indices(shape, SIZE)
    assert indices.dtype == np.int32
    np.testing.assert_array_equal(indices, np.flatnonzero(pixel_mask(shape, SIZE)))


@given(st.one_of(lines, rectangles, ellipses, polygons), st.integers(-15, 15), st.integers(-15, 15))
def test_part_outside_is_cut_off_and_the_rest_unchanged(shape: Shape, dx: int, dy: int) -> None:
    """A picture is a window: moving shape and window together changes nothing."""
    margin = 40
    wide = pixel_mask(shape.moved(margin, margin), (SIZE[0] + 80, SIZE[1] + 80))
    seen = wide[margin : margin + SIZE[0], margin : margin + SIZE[1]]
    mask = pixel_mask(shape, SIZE)
    doubtful = wide_or_narrow_differs(shape)
    np.testing.assert_array_equal(mask[~doubtful], seen[~doubtful])


def wide_or_narrow_differs(shape: Shape) -> NDArray[np.bool_]:
    """Return the pixels whose answer hangs on the tenth decimal (moving rounds coordinates)."""
    step = 3e-9
    moved = [
        pixel_mask(shape.moved(dx, dy), SIZE) for dx in (-step, 0, step) for dy in (-step, 0, step)
    ]
    stack = np.array(moved)
    result: NDArray[np.bool_] = stack.any(axis=0) != stack.all(axis=0)
    return result


# --- scikit-image: draw.polygon includes its outline on two sides only, so shapes are kept off the
# centres; draw.ellipse is strict (< 1); both use centres at whole numbers, ours lie at halves.


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-5, 60), st.floats(-5, 45)), min_size=3, max_size=12))
def test_polygon_agrees_with_skimage_off_the_outline(points: list[tuple[float, float]]) -> None:
    size = (40, 50)
    shape = Polygon(tuple(points))
    rows, columns = np.array([y - 0.5 for _, y in points]), np.array([x - 0.5 for x, _ in points])
    expected = draw.polygon2mask(size, np.column_stack((rows, columns)))
    ours = pixel_mask(shape, size)
    # skimage's own tolerance on the outline is below 1e-12; leave out centres within 1e-6 of it
    for row, column in zip(*np.nonzero(ours != expected), strict=True):
        x, y = column + HALF, row + HALF
        ends = [*points[1:], points[0]]
        near = min(
            distance_squared(x, y, tuple(Fraction(v) for v in (*a, *b)))
            for a, b in zip(points, ends, strict=True)
        )
        assert near < Fraction(1, 10**12)


@settings(max_examples=60, deadline=None)
@given(st.floats(-5, 60), st.floats(-5, 45), st.floats(0.3, 30), st.floats(0.3, 30))
def test_ellipse_agrees_with_skimage(cx: float, cy: float, rx: float, ry: float) -> None:
    size = (40, 50)
    expected = np.zeros(size, bool)
    expected[draw.ellipse(cy - 0.5, cx - 0.5, ry, rx, shape=size)] = True
    ours = pixel_mask(Ellipse(cx, cy, rx, ry), size)
    for row, column in zip(*np.nonzero(ours != expected), strict=True):
        assert ((column + 0.5 - cx) / rx) ** 2 + ((row + 0.5 - cy) / ry) ** 2 == pytest.approx(
            1, abs=1e-7
        )


@given(st.integers(0, 49), st.integers(0, 39), st.integers(0, 49), st.integers(0, 39))
def test_line_holds_the_thin_line_of_skimage(x1: int, y1: int, x2: int, y2: int) -> None:
    """draw.line steps one pixel at a time (thin); crossing takes in all of those pixels."""
    size = (40, 50)
    mask = pixel_mask(Line(x1 + 0.5, y1 + 0.5, x2 + 0.5, y2 + 0.5), size)
    rows, columns = draw.line(y1, x1, y2, x2)
    assert mask[rows, columns].all()
    # crossing pixels never outnumber the grid lines met plus one, plus corners passed exactly
    across, down = abs(x2 - x1), abs(y2 - y1)
    corners = int(np.gcd(across, down))
    assert len(rows) <= mask.sum() <= across + down + 1 + corners


def test_rim_of_a_polygon_is_not_added() -> None:
    """A 4 x 3 px outline on the pixels' borders holds 12 centres, not the 20 of its rim too."""
    shape = Polygon(((2.0, 2.0), (6.0, 2.0), (6.0, 5.0), (2.0, 5.0)))
    assert pixel_mask(shape, SIZE).sum() == 12


def test_outline_through_centres_belongs() -> None:
    shape = Polygon(((1.5, 1.5), (5.5, 1.5), (5.5, 4.5), (1.5, 4.5)))
    assert pixel_mask(shape, SIZE).sum() == 5 * 4
    assert pixel_mask(Rectangle(1.5, 1.5, 4, 3), SIZE).sum() == 5 * 4


def test_star_drawn_in_one_stroke_is_empty_in_the_middle() -> None:
    angles = np.deg2rad(-90 + 144 * np.arange(5))
    shape = Polygon(tuple(zip(50.2 + 40 * np.cos(angles), 50.3 + 40 * np.sin(angles), strict=True)))
    mask = pixel_mask(shape, (100, 100))
    assert not mask[50, 50]
    assert mask[50 - 30, 50]


def test_circle_through_pythagorean_centres() -> None:
    """Radius 12.5 about a centre: (7.5, 10) and (12.5, 0) … lie on it exactly."""
    mask = pixel_mask(Ellipse(20.5, 20.5, 12.5, 12.5), (41, 41))
    scaled = pixel_mask(Ellipse(20.5, 20.5, 25, 25), (60, 60))
    assert mask[20, 20 + 12]
    assert scaled[20 + 20, 20 + 15]
    assert scaled[20 + 7, 20 + 24]
    assert not scaled[20 + 8, 20 + 24]


def test_large_polygon_is_fast() -> None:
    angles = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    radius = 1 + 0.2 * np.cos(5 * angles)
    points = zip(
        320 + 270 * radius * np.cos(angles), 256 + 210 * radius * np.sin(angles), strict=True
    )
    shape = Polygon(tuple(points))
    taken = []
    for _ in range(20):
        start = time.process_time()
        pixel_mask(shape, (512, 640))
        taken.append(time.process_time() - start)
    assert min(taken) < 2e-3
