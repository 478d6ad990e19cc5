"""Landmarks judged; views against scikit-image's projective transform."""

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from thermview.board import (
    Landmark,
    Part,
    check_landmarks,
    fit_homography,
    parts_seen,
    side_seen,
)
from thermview.errors import InputError

CORNERS = ((5.0, 5.0), (115.0, 5.0), (115.0, 75.0), (5.0, 75.0), (60.0, 40.0), (30.0, 60.0))
TRUE = np.array([[2.0, 0.05, 10.0], [0.03, -2.02, 180.0], [1e-4, -2e-4, 1.0]])


def seen(points: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    mapped = ProjectiveTransform(TRUE)(np.array(points))
    return [(float(u), float(v)) for u, v in mapped]


def marks(points: tuple[tuple[float, float], ...] = CORNERS) -> list[Landmark]:
    return [Landmark(b, p) for b, p in zip(points, seen(points), strict=True)]


def test_view_equals_projective_transform_of_scikit_image() -> None:
    view = fit_homography(marks())
    fitted = ProjectiveTransform.from_estimate(np.array(CORNERS), np.array(seen(CORNERS)))
    grid = np.random.default_rng(1).uniform(0, 100, (50, 2))
    np.testing.assert_allclose(view.board_to_pixel(grid), fitted(grid), atol=1e-5)
    np.testing.assert_allclose(view.pixel_to_board(fitted(grid)), grid, atol=1e-5)


def test_good_landmarks_need_no_words() -> None:
    found = check_landmarks(marks())
    assert found.words == ""
    assert found.residual_mm.max() < 1e-5


@pytest.mark.parametrize("count", [5, 6])
@pytest.mark.parametrize("off", range(4))
def test_the_landmark_that_is_off_is_named(count: int, off: int) -> None:
    some = marks(CORNERS[:count])
    u, v = some[off].pixel
    # 8 mm across the board's diagonal; along it a slanted view would explain them
    across = 9.0 if off in (0, 2) else -9.0
    some[off] = Landmark(some[off].board_mm, (u + 14.0, v + across))
    found = check_landmarks(some)
    assert off in found.suspects
    assert len(found.suspects) <= 8 - count  # few places leave some doubt
    assert str(off + 1) in found.words


def test_four_landmarks_say_that_a_fifth_would_help() -> None:
    assert "fifth" in check_landmarks(marks(CORNERS[:4])).words


@pytest.mark.parametrize("pair", [(0, 1), (1, 2), (0, 2), (1, 3)])
def test_swapped_landmarks_are_refused(pair: tuple[int, int]) -> None:
    some = marks(CORNERS[:4])
    a, b = pair
    some[a], some[b] = (
        Landmark(some[a].board_mm, some[b].pixel),
        Landmark(some[b].board_mm, some[a].pixel),
    )
    with pytest.raises(InputError):
        parts_seen([Part("U1", "SOIC-8", 30, 30)], check_landmarks(some).view)


def test_a_mirrored_view_shows_the_bottom() -> None:
    top = fit_homography(marks())
    turned = [Landmark(m.board_mm, (300 - m.pixel[0], m.pixel[1])) for m in marks()]
    mirrored = fit_homography(turned)
    assert side_seen(top) == "top"
    assert side_seen(mirrored) == "bottom"
    both = [Part("U1", "SOIC-8", 30, 30), Part("U2", "SOIC-8", 30, 30, side="bottom")]
    assert [p.designator for p in parts_seen(both, mirrored)] == ["U2"]
    with pytest.raises(InputError, match="mirrored"):
        parts_seen(both[:1], mirrored)


def test_on_one_line_is_refused() -> None:
    line = tuple((10.0 * k, 20.0) for k in range(5))
    with pytest.raises(InputError, match="one line"):
        check_landmarks(marks(line))
