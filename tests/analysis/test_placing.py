"""Where listed outlines lie in a picture that moved."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.heat_model import Footprint
from thermview.analysis.placing import best_pose
from thermview.analysis.tracker import warped

SHAPE = (120, 160)
MOVED = np.array([[1.0, 0.0, 7.0], [0.0, 1.0, -5.0], [0.0, 0.0, 1.0]])


def parts(rng: np.random.Generator) -> list[Footprint]:
    """Scattered rectangles."""
    found = []
    for number in range(40):
        x, y = rng.uniform(20, SHAPE[1] - 20), rng.uniform(20, SHAPE[0] - 20)
        w, h = rng.uniform(2, 8, 2)
        corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
        found.append(Footprint(f"C{number}", corners, 1e-6))
    return found


def patches(footprints: list[Footprint], rng: np.random.Generator) -> NDArray[np.float32]:
    """A picture in which each outline has its own shade."""
    picture = np.zeros(SHAPE, np.float32)
    for footprint in footprints:
        (x0, y0), (x1, y1) = (
            footprint.outline_px[0].astype(int),
            footprint.outline_px[2].astype(int),
        )
        picture[y0 : y1 + 1, x0 : x1 + 1] = rng.choice([-1, 1]) * rng.uniform(0.3, 1.0)
    return picture


@pytest.mark.parametrize("seed", range(5))
def test_the_pose_whose_outlines_cut_patches_is_taken(seed: int) -> None:
    rng = np.random.default_rng(seed)
    footprints = parts(rng)
    picture = patches(footprints, rng) + rng.normal(0, 0.02, SHAPE).astype(np.float32)
    here = best_pose(footprints, picture, [np.eye(3), MOVED])
    assert here[:2, 2] == pytest.approx((0.0, 0.0), abs=0.8)
    moved = warped(picture, np.linalg.inv(MOVED))
    there = best_pose(footprints, moved, [np.eye(3), MOVED])
    assert there[:2, 2] == pytest.approx(MOVED[:2, 2], abs=0.8)


@pytest.mark.parametrize("seed", range(20))
def test_a_picture_that_tells_nothing_leaves_the_likeliest_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    picture = rng.normal(0, 0.05, SHAPE).astype(np.float32)
    assert best_pose(parts(rng), picture, [np.eye(3), MOVED]) == pytest.approx(np.eye(3))
