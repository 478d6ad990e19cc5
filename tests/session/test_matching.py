"""Matching points judged: fits, the one that is off, swaps, mirrors; places to set them on."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform

from thermview.board import Part
from thermview.board import Place as MapPlace
from thermview.regions import Ellipse, Line, Polygon, Rectangle, Region, Spot
from thermview.session.drawn_map import map_of, picture_view
from thermview.session.known_places import CORNERS, of_board, of_part, proposal
from thermview.session.matching import Fit, Grade, Point, judge, judge_pairs, named

# a camera 20° off the board's normal, 2 px per mm, board's y up: scikit-image's convention
# (ProjectiveTransform maps columns and rows by its matrix) is the outside check
CAMERA = ProjectiveTransform(
    matrix=np.array([[2.0, 0.1, 20.0], [0.05, -2.0, 190.0], [2e-4, 3e-4, 1.0]])
)
PLACES = {"C1": (5.0, 5.0), "U1": (95.0, 8.0), "K1": (90.0, 75.0), "J1": (8.0, 70.0)}
MORE = {
    **PLACES,
    "U3": (50.0, 40.0),
    "J2": (48.0, 6.0),
    "C9": (6.0, 38.0),
    "R5": (93.0, 42.0),
    "L1": (52.0, 74.0),
}


def seen(
    places: dict[str, tuple[float, float]], noise_px: float = 0.0, seed: int = 3
) -> list[Point]:
    rng = np.random.default_rng(seed)
    pixels: NDArray[np.float64] = CAMERA(np.array(list(places.values())))
    pixels = pixels + rng.normal(0.0, noise_px, pixels.shape)
    return [
        Point(at, (float(u), float(v)), name, "top")
        for (name, at), (u, v) in zip(places.items(), pixels, strict=True)
    ]


def view_maps_as_camera(fit: Fit) -> None:
    assert fit.view is not None
    places = np.array([[0.0, 0.0], [100.0, 80.0], [33.0, 44.0]])
    np.testing.assert_allclose(fit.view.board_to_pixel(places), CAMERA(places), atol=1e-6)


def test_four_points_fit_and_say_that_they_cannot_be_checked() -> None:
    fit = judge(seen(PLACES))
    assert fit.grade is Grade.GOOD
    assert "fifth" in fit.words
    assert fit.worst is None
    view_maps_as_camera(fit)


def test_refined_points_tell_what_uncertainty_remains() -> None:
    points = seen(MORE)
    assert "agree within 0.00 mm" in judge(points).words
    fit = judge(points, 0.11)
    assert fit.grade is Grade.GOOD
    assert "± 0.11 mm remain" in fit.words
    assert "agree" not in fit.words
    assert np.isnan(fit.misfits_mm).all()  # by making they lie on the view: that tells nothing


def test_fewer_say_how_many_are_lacking() -> None:
    fit = judge(seen(PLACES)[:3])
    assert (fit.grade, fit.view) == (Grade.FEW, None)
    assert "1 more" in fit.words


def test_one_of_six_that_is_three_millimetres_off_is_told() -> None:
    """A view bends to a corner that is off: one of the six may pass, no more."""
    grades = []
    for number in range(6):
        points = seen(dict(list(MORE.items())[:6]), noise_px=0.3)
        off = points[number]
        points[number] = replace(off, pixel=(off.pixel[0] + 6.0, off.pixel[1]))
        grades.append(judge(points).grade)
    assert grades.count(Grade.POOR) >= 5


def test_careful_clicks_are_good() -> None:
    fit = judge(seen(MORE, noise_px=0.3))
    assert fit.grade is Grade.GOOD
    assert "agree" in fit.words


@pytest.mark.parametrize("name", ["U3", "C1", "K1"])
def test_the_point_that_is_off_is_named(name: str) -> None:
    points = seen(MORE, noise_px=0.2)
    at = [point.name for point in points].index(name)
    u, v = points[at].pixel
    points[at] = replace(points[at], pixel=(u + 9.0, v - 6.0))
    fit = judge(points)
    assert fit.grade is Grade.POOR
    assert fit.worst == at
    (told,) = re.findall(rf"disagree with {name} by ([0-9.]+) mm", fit.words)
    assert float(told) == pytest.approx(math.hypot(4.5, 3.0), abs=0.4)  # 2 px are 1 mm


def test_three_millimetres_are_named_among_eight_points() -> None:
    """In any direction; a view alone would bend to a corner that is off."""
    named_right = 0
    for number in range(8):
        for turn in range(4):
            points = seen(dict(list(MORE.items())[:8]), noise_px=0.4)
            (u, v), angle = points[number].pixel, turn * math.pi / 2
            shifted = (u + 6.0 * math.cos(angle), v + 6.0 * math.sin(angle))
            points[number] = replace(points[number], pixel=shifted)
            fit = judge(points)
            named_right += fit.grade is Grade.POOR and fit.worst == number
    assert named_right >= 30  # of 32


def test_careful_clicks_are_seldom_accused() -> None:
    """Scatter of 0.2 mm along each axis: of fifty sets of six, not more than two."""
    accused = 0
    for seed in range(50):
        points = seen(dict(list(MORE.items())[:6]), noise_px=0.4, seed=seed)
        accused += judge(points).grade is not Grade.GOOD
    assert accused <= 2


def test_nonsense_is_refused_in_words() -> None:
    points = seen(PLACES)
    swapped = [
        replace(points[0], pixel=points[1].pixel),
        replace(points[1], pixel=points[0].pixel),
        *points[2:],
    ]
    assert judge(swapped).grade is Grade.REFUSED
    line = [Point((x, x / 2), (x, 2 * x), f"P{x:g}") for x in (0.0, 10.0, 20.0, 30.0, 45.0)]
    fit = judge(line)
    assert fit.grade is Grade.REFUSED
    assert "line" in fit.words
    assert "landmark" not in fit.words  # the term is for tool tips
    twice = [*points, replace(points[0], name="C1 again", pixel=(3.0, 3.0))]
    assert "twice" in judge(twice).words


def test_a_mirror_is_refused_for_parts_on_top_and_right_from_below() -> None:
    mirrored = [replace(p, pixel=(300.0 - p.pixel[0], p.pixel[1])) for p in seen(MORE)]
    fit = judge(mirrored)
    assert fit.grade is Grade.REFUSED
    assert "mirrored" in fit.words
    below = judge([replace(point, side="bottom") for point in mirrored])
    assert below.grade is Grade.GOOD
    assert "from below" in below.words


def test_landmarks_get_their_parts_names_back() -> None:
    part = Part("U3", "", 50.0, 40.0)
    marks = [point.landmark() for point in seen(MORE)]
    names = [point.name for point in named(marks, [part])]
    assert names.count("U3") == 1
    assert names[0] == "5, 5 mm"


def test_corners_of_a_part_and_of_the_board() -> None:
    part = Part("U1", "", 10.0, 20.0, 90.0, width_mm=8.0, height_mm=4.0)
    at = {corner: of_part(part, corner).board_mm for corner in CORNERS}
    assert at["lower left"] == pytest.approx((8.0, 16.0))
    assert at["upper right"] == pytest.approx((12.0, 24.0))
    assert len(set(at.values())) == 4
    tip = replace(part, rotation_deg=45.0)
    assert len({of_part(tip, corner).board_mm for corner in CORNERS}) == 4
    assert of_board(120.0, 80.0, "upper right").board_mm == (120.0, 80.0)
    assert of_part(part).words == "the middle of U1"


def test_proposals_span_the_board() -> None:
    parts = [
        Part(f"P{n}", "", x, y)
        for n, (x, y) in enumerate([(50, 40), (1, 1), (99, 2), (98, 79), (2, 78)])
    ]
    points: list[Point] = []
    for _ in range(4):
        place = proposal(parts, points)
        assert place is not None
        points.append(place.at((0.0, 0.0)))
    assert {point.name for point in points} == {"P1", "P2", "P3", "P4"}
    assert proposal([], []) is None


def test_a_drawn_map_of_few_parts_gives_four_places() -> None:
    parts = [Part("A", "", 10, 10, width_mm=4, height_mm=2), Part("B", "", 60, 40)]
    points: list[Point] = []
    for _ in range(4):
        place = proposal(parts, points, [MapPlace("hole", 2.0, 45.0)])
        assert place is not None
        points.append(place.at((0.0, 0.0)))
    assert {point.name for point in points[:3]} == {"A", "B", "hole"}
    assert points[3].name.split(" ", 1)[1] in CORNERS  # a fourth, where no middle is left
    assert len({point.board_mm for point in points}) == 4


def test_regions_become_parts_turned_as_they_lie() -> None:
    view = judge(named(picture_view(160, 120, 0.5), ())).view
    assert view is not None
    turn = math.radians(20.0)
    along, across = (
        np.array([math.cos(turn), -math.sin(turn)]),
        np.array([math.sin(turn), math.cos(turn)]),
    )
    corners = [
        tuple(np.array([80.0, 60.0]) + 20 * a * along + 8 * b * across)
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    regions = (
        Region("U1", Polygon(tuple((float(x), float(y)) for x, y in corners))),
        Region("C1", Rectangle(10.0, 100.0, 8.0, 4.0)),
        Region("L1", Ellipse(120.0, 30.0, 10.0, 10.0)),
        Region("hole", Spot(4.0, 118.0)),
        Region("track", Line(0.0, 0.0, 10.0, 10.0)),
    )
    drawn = map_of(regions, view)
    u1, c1, coil = drawn.parts
    # 40 × 16 px of half a millimetre, turned 20° against the clock as y points up
    assert (u1.x_mm, u1.y_mm) == pytest.approx((40.0, 30.0), abs=1e-2)
    assert (u1.width_mm, u1.height_mm) == pytest.approx((20.0, 8.0), abs=1e-2)
    assert u1.rotation_deg == pytest.approx(20.0, abs=0.1)
    assert (c1.x_mm, c1.y_mm) == pytest.approx((7.0, 9.0), abs=1e-2)
    assert (c1.width_mm, c1.height_mm, c1.rotation_deg) == pytest.approx((4.0, 2.0, 0.0), abs=1e-2)
    assert coil.width_mm == pytest.approx(10.0, rel=0.05)
    (hole,) = drawn.places
    assert hole.name == "hole"
    assert (hole.x_mm, hole.y_mm) == pytest.approx((2.0, 1.0))


def test_two_pictures_are_judged_in_pixels_of_the_second() -> None:
    """Checked against scikit-image: its own transform's points agree, one off by 3 px is told."""
    there = ProjectiveTransform(
        matrix=np.array([[0.6, 0.02, 10.0], [-0.03, 0.62, 8.0], [1e-4, 5e-5, 1.0]])
    )
    first = np.array([(10, 10), (200, 14), (190, 150), (12, 140), (100, 80), (60, 120.0)])
    second = there(first)
    fit = judge_pairs(list(zip(first.tolist(), second.tolist(), strict=True)), "the good picture")
    assert fit.grade is Grade.GOOD
    assert "within 0.0 pixels" in fit.words
    second[4, 0] += 3.0
    fit = judge_pairs(list(zip(first.tolist(), second.tolist(), strict=True)), "the good picture")
    assert fit.grade is Grade.POOR
    assert fit.worst == 4
    assert "pixels" in fit.words
    assert "mm" not in fit.words
    flipped = there(first) * [-1.0, 1.0] + [200.0, 0.0]
    fit = judge_pairs(list(zip(first.tolist(), flipped.tolist(), strict=True)), "the good picture")
    assert fit.grade is Grade.REFUSED
    assert "the good picture lies mirrored" in fit.words
