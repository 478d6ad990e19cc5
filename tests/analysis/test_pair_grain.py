"""Enlarged recordings are brought back to what their camera resolved."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.pair.align import View
from thermview.analysis.pair.grain import LEAST, grain_px, resolved, seen_by
from thermview.analysis.prepare import Take

FRAMES, SHAPE = 30, (60, 80)
NOISE_K = 0.05


def film(size: float = 1.0, interpolation: int = cv2.INTER_CUBIC, *, lines_k: float = 0.0) -> Take:
    """Return pictures of a warming spot, enlarged; lines may flicker along."""
    rng = np.random.default_rng(11)
    pictures = rng.normal(0, NOISE_K, (FRAMES, *SHAPE))
    pictures += rng.normal(0, lines_k, (FRAMES, 1, SHAPE[1]))
    pictures[:, 20:30, 30:40] += np.linspace(0, 5, FRAMES)[:, None, None]
    block: NDArray[np.float32] = np.stack(
        [
            cv2.resize(p.astype(np.float32), None, fx=size, fy=size, interpolation=interpolation)
            for p in pictures
        ]
    )
    times_s = np.arange(FRAMES) / 8.0
    segment = np.repeat([0, 1], FRAMES // 2)
    return Take(block, block[0], times_s, segment, NOISE_K, 0, np.zeros((FRAMES, 0)))


@pytest.mark.parametrize("size", [1.5, 2.0, 3.0])
@pytest.mark.parametrize("interpolation", [cv2.INTER_LINEAR, cv2.INTER_CUBIC])
def test_the_grain_is_that_of_the_cameras_own_pixels(size: float, interpolation: int) -> None:
    assert grain_px(film(size, interpolation)) == pytest.approx(size, rel=0.15)


@pytest.mark.parametrize("lines_k", [0.0, 0.1])
def test_a_cameras_own_pixels_are_left_as_they_are(lines_k: float) -> None:
    take = film(lines_k=lines_k)
    view = View(np.eye(3), 0.5, np.zeros((0, 2)))
    assert grain_px(take) < LEAST
    assert resolved(take, view) == (take, view)
    held_still = replace(film(2.0), sway=np.zeros((FRAMES, 2)))
    assert resolved(held_still, view) == (held_still, view)


def test_what_is_brought_back_shows_the_same_places_and_its_own_noise() -> None:
    own, large = film(), film(2.0)
    view = View(np.diag([4.0, 4.0, 1.0]), 0.25, np.zeros((0, 2)))
    take, found = resolved(large, view)
    assert take.shape == pytest.approx(own.shape, rel=0.15)
    assert take.noise_k == pytest.approx(NOISE_K, rel=0.35)
    x, y, _ = found.matrix @ [17.5, 12.5, 1.0]  # the spot's middle, mm
    rows, columns = take.shape
    assert (x / columns, y / rows) == pytest.approx((35 / 80, 25 / 60))
    assert found.mm_per_px == pytest.approx(0.5, rel=0.15)
    assert take.rise_k[-1, int(y), int(x)] == pytest.approx(5.0, abs=0.3)
    back = seen_by(found, take.shape, large.shape)
    assert back.matrix == pytest.approx(view.matrix)
    assert back.mm_per_px == pytest.approx(view.mm_per_px)
