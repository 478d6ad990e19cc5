"""The focus number falls with every bit of blur and with nothing else."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from thermview.analysis.sharpness import sharpness

BLURS_PX = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0)


def board(seed: int, size: tuple[int, int] = (192, 256)) -> NDArray[np.float32]:
    """Return parts with sharp edges on a board, K over the board, with a slow gradient."""
    random = np.random.default_rng(seed)
    picture = np.linspace(0, 1, size[1]) * np.ones(size)
    for _ in range(25):
        row, column = random.integers(0, size[0] - 20), random.integers(0, size[1] - 20)
        height, width = random.integers(4, 40, 2)
        picture[row : row + height, column : column + width] += random.uniform(-1, 8)
    return cv2.GaussianBlur(picture, (0, 0), 0.7).astype(np.float32)


def filmed(scene: NDArray[np.float32], blur_px: float, noise_k: float) -> NDArray[np.uint16]:
    picture = ndimage.gaussian_filter(scene, blur_px) if blur_px else scene
    noise = np.random.default_rng(7).normal(0, noise_k, scene.shape)
    return np.rint((picture + noise + 296) / 0.01).astype(np.uint16)


@pytest.mark.parametrize("noise_k", [0.0, 0.05, 0.2])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_falls_with_every_bit_of_blur(seed: int, noise_k: float) -> None:
    values = [sharpness(filmed(board(seed), blur, noise_k)) for blur in BLURS_PX]
    assert values == sorted(values, reverse=True)
    # and visibly: a pixel's blur takes a tenth
    assert values[0] > 1.1 * values[2]
    assert values[2] > 1.1 * values[4]


@pytest.mark.parametrize("seed", [1, 2])
def test_noise_gain_offset_and_dead_pixels_change_little(seed: int) -> None:
    scene = board(seed)
    clean = sharpness(filmed(scene, 1.0, 0.0))
    assert sharpness(filmed(scene, 1.0, 0.1)) == pytest.approx(clean, rel=0.03)
    counts = filmed(scene, 1.0, 0.05)
    plain = sharpness(counts)
    assert sharpness((counts * np.float32(0.01) - 273).astype(np.float32)) == pytest.approx(
        plain, rel=1e-3
    )
    assert sharpness(counts + np.uint16(5000)) == pytest.approx(plain, rel=1e-5)
    at = np.random.default_rng(3).integers(5, 180, (2, 12))
    counts[at[0], at[1]] = 65535
    assert sharpness(counts) == pytest.approx(plain, rel=0.02)


def test_nothing_to_see_is_not_sharp() -> None:
    noise = np.random.default_rng(2).normal(300, 0.05, (192, 256)).astype(np.float32)
    assert sharpness(noise) < 0.3 * sharpness(filmed(board(1), 0.5, 0.05)) or sharpness(noise) == 0
    assert sharpness(np.full((50, 50), 7, np.uint16)) == 0
    assert sharpness(np.full((50, 50), np.nan, np.float32)) == 0
    assert sharpness(np.zeros((4, 4), np.uint16)) == 0


def test_pixels_without_a_value() -> None:
    picture = (filmed(board(1), 1.0, 0.05) * np.float32(0.01)).astype(np.float32)
    plain = sharpness(picture)
    picture[::40, ::40] = np.nan
    assert sharpness(picture) == pytest.approx(plain, rel=0.1)


def test_mean_frequency_of_a_wave() -> None:
    """A pure wave of k rad/px has its own k (through central differences: sin k)."""
    for k in (0.1, 0.2, 0.4):
        wave = np.sin(k * np.arange(628)) * np.ones((200, 1))
        assert sharpness((1000 * wave).astype(np.float32)) == pytest.approx(np.sin(k), rel=0.02)
