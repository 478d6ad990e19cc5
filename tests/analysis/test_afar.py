"""What the picture far from a place does."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.analysis.heat.afar import COURSES, Afar
from thermview.analysis.heat_model import Window
from thermview.analysis.responses import offsets

TIMES = np.arange(0.0, 14.0, 0.1)
IDLE = offsets(np.zeros(len(TIMES), np.int64))
WINDOW = Window(64, 32, 64)


def held(courses: np.ndarray, of: np.ndarray) -> float:
    """Return the share of a course that orthonormal courses hold."""
    own = of - IDLE @ (IDLE.T @ of)
    return float(np.sum((courses.T @ own) ** 2) / np.sum(own**2))


@pytest.mark.parametrize("seed", range(3))
def test_what_is_shown_far_away_is_held_and_what_only_the_place_shows_is_not(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hand, heat = np.clip(TIMES - 8.0, 0.0, 1.0), np.where(TIMES > 3.0, 1.0, 0.0)
    pictures = rng.normal(0.0, 0.05, (len(TIMES), 128, 192))
    pictures[:, 10:20, 150:170] += hand[:, None, None]
    pictures[:, 60:70, 90:100] += (hand + 3.0 * heat)[:, None, None]
    courses = Afar(pictures.astype(np.float32), IDLE).courses(WINDOW)
    assert courses.shape == (len(TIMES), COURSES)
    assert courses.T @ courses == pytest.approx(np.eye(COURSES), abs=1e-5)
    assert held(courses, hand) > 0.98
    only = heat - hand * float(heat @ hand) / float(hand @ hand)
    assert held(courses, only - IDLE @ (IDLE.T @ only)) < 0.6


@pytest.mark.parametrize("seed", range(3))
def test_what_little_metal_far_away_mirrors_faintly_is_held(seed: int) -> None:
    """Single pixels, one of four, are too noisy: what they show holds a third of it at most."""
    rng = np.random.default_rng(seed)
    room = np.sin(TIMES / 3.0)
    pictures = rng.normal(0.0, 0.05, (len(TIMES), 192, 256))
    for y, x in ((10, 20), (150, 30), (160, 220)):
        pictures[:, y : y + 14, x : x + 14] += 0.03 * room[:, None, None]
    courses = Afar(pictures.astype(np.float32), IDLE).courses(WINDOW)
    assert held(courses, room) > 0.65


def test_a_window_as_large_as_the_picture_leaves_nothing_far_away() -> None:
    pictures = np.random.default_rng(0).normal(size=(len(TIMES), 64, 64)).astype(np.float32)
    assert Afar(pictures, IDLE).courses(Window(0, 0, 64)).shape[1] == 0
