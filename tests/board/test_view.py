"""Landmarks and views; scikit-image's projective transform is the second opinion."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform

from thermview.board import (
    Landmark,
    Part,
    fit_homography,
    format_landmarks,
    load_landmarks,
    parse_landmarks,
    part_outline_px,
    save_landmarks,
)
from thermview.errors import InputError

BOARD = np.array([[5.0, 5], [115, 5], [115, 75], [5, 75], [60, 40], [30, 60], [90, 20]])


def seen(matrix: NDArray[np.float64], board: NDArray[np.float64]) -> list[Landmark]:
    homogeneous = np.c_[board, np.ones(len(board))] @ matrix.T
    pixels = homogeneous[:, :2] / homogeneous[:, 2:]
    return [
        Landmark(tuple(b), tuple(p)) for b, p in zip(board.tolist(), pixels.tolist(), strict=True)
    ]


def camera(turn: float = 0.1, tilt: float = 1e-4) -> NDArray[np.float64]:
    c, s = 1.9 * np.cos(turn), 1.9 * np.sin(turn)
    return np.array([[c, -s, 14.0], [-s, -c, 170.0], [tilt, -tilt / 2, 1.0]])


@given(
    turn=st.floats(-3.1, 3.1),
    tilt=st.floats(-1e-3, 1e-3),
    count=st.integers(4, 7),
)
@settings(max_examples=60, deadline=None)
def test_exact_landmarks_give_the_view_back(turn: float, tilt: float, count: int) -> None:
    matrix = camera(turn, tilt)
    view = fit_homography(seen(matrix, BOARD[:count]))
    expected = [m.pixel for m in seen(matrix, BOARD)]
    # OpenCV takes the points in single precision
    np.testing.assert_allclose(view.board_to_pixel(BOARD), expected, atol=1e-4)
    np.testing.assert_allclose(view.pixel_to_board(expected), BOARD, atol=1e-4)
    assert view.residual_mm < 1e-4


def test_noisy_landmarks_agree_with_scikit_image() -> None:
    rng = np.random.default_rng(1)
    landmarks = seen(camera(), BOARD)
    pixels = np.array([m.pixel for m in landmarks]) + rng.normal(0, 0.3, (7, 2))
    noisy = [
        Landmark(m.board_mm, tuple(p)) for m, p in zip(landmarks, pixels.tolist(), strict=True)
    ]
    view = fit_homography(noisy)
    other = ProjectiveTransform.from_estimate(BOARD, pixels)
    # theirs minimises an algebraic error, ours the distance in pixels: alike, and ours no worse
    np.testing.assert_allclose(view.board_to_pixel(BOARD), other(BOARD), atol=0.1)
    ours = np.sum((view.board_to_pixel(BOARD) - pixels) ** 2)
    assert ours <= np.sum((other(BOARD) - pixels) ** 2) + 1e-9
    assert 0.05 < view.residual_mm < 0.3


def test_pixel_size_and_outline() -> None:
    view = fit_homography(seen(camera(0.0, 0.0), BOARD))
    assert view.mm_per_px == pytest.approx(1 / 1.9)
    part = Part("U1", "", 60.0, 40.0, 90.0, width_mm=10.0, height_mm=4.0)
    outline = part_outline_px(part, view)
    assert np.ptp(outline[:, 0]) == pytest.approx(4 * 1.9)
    assert np.ptp(outline[:, 1]) == pytest.approx(10 * 1.9)


def test_file_round_trip(tmp_path: Path) -> None:
    landmarks = tuple(seen(camera(), BOARD[:5]))
    path = tmp_path / "a.json"
    save_landmarks(path, landmarks)
    assert load_landmarks(path) == landmarks
    assert json.loads(format_landmarks(landmarks)).keys() == {"landmarks"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        "[" * 5000,
        '{"landmarks": 3}',
        '{"landmarks": [{"board_mm": [1, 2]}]}',
        '{"landmarks": [{"board_mm": [1, 2], "pixel": [1, NaN]}]}',
        '{"landmarks": [{"board_mm": [1, 2, 3], "pixel": [1, 2]}]}',
    ],
)
def test_wrong_files_are_told_in_one_line(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_landmarks(text, "x.json")
    assert "x.json" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        load_landmarks(tmp_path / "none.json")


def on(board: list[tuple[float, float]], pixel: list[tuple[float, float]]) -> list[Landmark]:
    return [Landmark(b, p) for b, p in zip(board, pixel, strict=True)]


SQUARE = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0)]
PICTURE = [(20.0, 170.0), (220.0, 170.0), (220.0, 10.0), (20.0, 10.0)]


@pytest.mark.parametrize(
    ("landmarks", "words"),
    [
        (on(SQUARE[:3], PICTURE[:3]), "four or more"),
        (on([(0, 0), (1, 1), (2, 2), (3, 3)], PICTURE), "one line on the board"),
        (on(SQUARE, [(0, 0), (10, 10), (20, 20), (30, 30)]), "one line in the picture"),
        (on([(0, 0), (50, 0), (100, 0), (50, 80)], PICTURE), "three of four"),
        (on([(1, 1)] * 4, PICTURE), "one line on the board"),
        (on(SQUARE, [PICTURE[0], PICTURE[2], PICTURE[1], PICTURE[3]]), "swaps"),
    ],
)
def test_landmarks_that_fix_no_view(landmarks: list[Landmark], words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        fit_homography(landmarks)
    assert "\n" not in str(caught.value)


def test_other_programs_landmarks(samples: Path) -> None:
    for path in sorted(samples.glob("ramp-*.landmarks.json")):
        view = fit_homography(load_landmarks(path))
        assert view.residual_mm < 0.05
        assert 0.4 < view.mm_per_px < 0.6
