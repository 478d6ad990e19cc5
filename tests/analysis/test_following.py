"""Following picture by picture, against the motion that a simulated hand really made."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.following import Follower, shift_px
from thermview.simulation.motion import Shake
from thermview.simulation.trials import Film, random_film, random_story

SEEDS = (0, 2, 3)  # a board without anything to hold on to is no use here: others are


def pictures(film: Film) -> NDArray[np.float32]:
    return film.counts.astype(np.float32) * np.float32(film.scale.k_per_count)


@pytest.mark.parametrize("kind", ["handheld", "shaky"])
@pytest.mark.parametrize("seed", SEEDS)
def test_poses_are_the_hand_s(kind: str, seed: int) -> None:
    film, motion = random_film(seed, kind), random_story(seed, kind).motion
    assert isinstance(motion, Shake)
    shown = pictures(film)
    follower, near = Follower(shown[0]), np.eye(3)
    rest = np.linalg.inv(motion.at(float(film.times_s[0])))
    rows, columns = shown.shape[1:]
    places = np.array([[x * columns, y * rows, 1.0] for x in (0.2, 0.5, 0.8) for y in (0.2, 0.8)])
    apart = []
    for picture, time_s in zip(shown, film.times_s, strict=True):
        pose = follower.follow(picture, near)
        assert not pose.lost
        near = pose.matrix
        truth = places @ (motion.at(float(time_s)) @ rest).T
        apart.append(np.abs(places @ near.T - truth)[:, :2].max())
    assert np.median(apart) < 0.15
    assert np.percentile(apart, 95) < 0.5


def test_another_picture_is_no_board_and_it_is_found_again() -> None:
    shown = pictures(random_film(0, "shaky"))
    follower = Follower(shown[0])
    other = pictures(random_film(4, "strong"))[0]
    assert follower.follow(other).lost
    flat = np.random.default_rng(1).normal(295.0, 0.05, shown[0].shape).astype(np.float32)
    assert follower.follow(flat).lost
    moved = np.roll(shown[0], (9, -14), (0, 1))  # came back elsewhere
    pose = follower.follow(moved)
    assert not pose.lost
    np.testing.assert_allclose(pose.matrix[:2, 2], (-14, 9), atol=0.5)


def test_pixels_without_a_value_do_no_harm() -> None:
    shown = pictures(random_film(0, "strong"))
    holed = shown[5].copy()
    holed[50:53, 60:64] = np.nan
    assert not Follower(shown[0]).follow(holed).lost


@pytest.mark.parametrize("seed", SEEDS)
def test_a_still_camera_does_not_seem_to_move(seed: int) -> None:
    shown = pictures(random_film(seed, "strong"))
    assert shift_px(shown[40], shown[45]) < 0.1
