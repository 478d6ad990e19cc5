"""The camera's spread and what small parts keep, against direct integration and CHECKS' figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter
from scipy.stats import norm

from thermview.errors import UsageError
from thermview.radiometry.size import (
    Recovery,
    Spread,
    corrected,
    edge_distances,
    recovery,
    spread_from_edge,
    spread_from_wire,
)
from thermview.radiometry.uncertainty import Reading

FINE = 20  # fine cells to a pixel


def _picture(
    width_px: float, height_px: float, sigma_px: float, shift: tuple[float, float]
) -> NDArray[np.float64]:
    """Render a warm rectangle on fine cells, blur it, and average the cells of each pixel."""
    side = 15
    y, x = (np.indices((side * FINE, side * FINE)) + 0.5) / FINE - side / 2
    inside = (np.abs(x - shift[0]) <= width_px / 2) & (np.abs(y - shift[1]) <= height_px / 2)
    blurred = gaussian_filter(inside.astype(np.float64), sigma_px * FINE)
    result: NDArray[np.float64] = blurred.reshape(side, FINE, side, FINE).mean(axis=(1, 3))
    return result


@pytest.mark.parametrize(("width_px", "height_px"), [(2.0, 1.0), (4.0, 2.5), (1.2, 1.2)])
def test_share_against_a_rendered_picture(width_px: float, height_px: float) -> None:
    sigma = 0.7
    shifts = np.linspace(-0.45, 0.45, 7)
    best = [_picture(width_px, height_px, sigma, (a, b)).max() for a in shifts for b in shifts]
    found = recovery(width_px, height_px, Spread(sigma, 0.0), u_size=0.0)
    assert found.share == pytest.approx(np.mean(best), abs=0.02)
    assert found.u == pytest.approx(np.std(best), abs=0.02)


def test_share_of_a_strip_against_scipy() -> None:
    # at the pixel on the axis: mean over the pixel of the normal distribution's content of ±w/2
    sigma, width = 0.8, 1.5
    exact = quad(
        lambda x: norm.cdf((x + width / 2) / sigma) - norm.cdf((x - width / 2) / sigma), -0.5, 0.5
    )[0]
    from thermview.radiometry.size import _pixel

    assert float(_pixel(np.array(0.0), width, sigma)) == pytest.approx(exact, abs=1e-12)


def test_parts_at_half_a_millimetre_a_pixel() -> None:
    # DESIGN's figures for this camera: about 80 % of an 0805 (2.0 × 1.25 mm), a third of an 0402
    # (1.0 × 0.5 mm); the spread that gives the first gives the second
    spread = Spread(0.8, 0.05)
    assert recovery(4.0, 2.5, spread).share == pytest.approx(0.80, abs=0.05)
    assert recovery(2.0, 1.0, spread).share == pytest.approx(1 / 3, abs=0.05)


def test_large_parts_keep_all() -> None:
    found = recovery(40.0, 40.0, Spread(0.8, 0.1))
    assert found.share == pytest.approx(1.0, abs=1e-6)
    assert not found.too_small


def test_mean_keeps_less_than_the_best_pixel_of_a_large_part() -> None:
    spread = Spread(0.8, 0.0)
    assert recovery(8.0, 8.0, spread, mean=True).share < recovery(8.0, 8.0, spread).share


@pytest.mark.parametrize("angle_deg", [3.0, 40.0, 92.0, -20.0])
@pytest.mark.parametrize("sigma", [0.5, 1.1])
def test_spread_measured_from_an_edge(angle_deg: float, sigma: float) -> None:
    side, fine = 24, 8
    y, x = (np.indices((side * fine, side * fine)) + 0.5) / fine - side / 2
    angle = math.radians(angle_deg)
    half_plane = (x * math.cos(angle) + y * math.sin(angle) > 0.3).astype(np.float64)
    blurred = gaussian_filter(half_plane, sigma * fine, mode="nearest")
    picture = 300.0 + 20.0 * blurred.reshape(side, fine, side, fine).mean(axis=(1, 3))
    picture += np.random.default_rng(2).normal(0.0, 0.05, picture.shape)
    found = spread_from_edge(*edge_distances(picture[2:-2, 2:-2]))
    # a pixel's square turned against the edge spreads it a little otherwise than the model's
    assert found.sigma_px == pytest.approx(sigma, abs=0.03 + 4 * found.u_px)
    assert found.u_px < 0.05


def test_spread_measured_from_a_wire() -> None:
    rng = np.random.default_rng(3)
    x = rng.uniform(-6, 6, 400)
    width, sigma = 1.4, 0.9
    value = 298.0 + 12.0 * np.array(
        [
            quad(
                lambda t: (
                    norm.cdf((t - 0.2 + width / 2) / sigma)
                    - norm.cdf((t - 0.2 - width / 2) / sigma)
                ),
                a - 0.5,
                a + 0.5,
            )[0]
            for a in x
        ]
    )
    value += rng.normal(0, 0.05, value.shape)
    found = spread_from_wire(x, value, width)
    assert found.sigma_px == pytest.approx(sigma, abs=4 * found.u_px)
    assert found.u_px < 0.02


def test_no_edge_is_said() -> None:
    with pytest.raises(UsageError, match="no edge"):
        edge_distances(np.full((10, 10), 300.0))
    noise = np.random.default_rng(0).normal(300, 1, 200)
    with pytest.raises(UsageError, match="not found"):
        spread_from_edge(np.linspace(-5, 5, 200), noise)


def _rise(value_k: float, u_k: float) -> Reading:
    return Reading(
        value_k, u_k, value_k - 1.96 * u_k, value_k + 1.96 * u_k, "noise", True, "", True
    )


def test_corrected_rise_covers_the_truth() -> None:
    rng = np.random.default_rng(4)
    held = 0
    trials = 4000
    for _ in range(trials):
        truth, around = 10.0, 1.5
        known = Recovery(0.5, 0.05)
        share = known.share + known.u * rng.standard_normal()
        seen = around + (truth - around) * share + 0.2 * rng.standard_normal()
        found = corrected(_rise(seen, 0.2), known, around_k=around)
        held += found.low_k <= truth <= found.high_k
    assert 0.93 <= held / trials <= 0.97


def test_size_rules_and_is_named() -> None:
    found = corrected(_rise(5.0, 0.02), Recovery(0.5, 0.05))
    assert found.value_k == pytest.approx(10.0)
    assert found.u_k == pytest.approx(math.hypot(0.04, 1.0))
    assert found.dominant == "size"
    assert corrected(_rise(5.0, 1.0), Recovery(0.9, 0.01)).dominant == "noise"


def test_too_small_reads_low() -> None:
    tiny = recovery(0.5, 0.3, Spread(0.9, 0.1))
    assert tiny.too_small
    found = corrected(_rise(1.0, 0.1), tiny)
    assert not found.readable
    assert math.isnan(found.value_k)
    assert found.reason.startswith("too small, reads low")
    assert found.dominant == "size"


def test_beyond_the_limit_is_not_readable() -> None:
    found = corrected(_rise(40.0, 0.1), Recovery(0.5, 0.1), limit_k=5.0)
    assert not found.readable
    assert "mostly size" in found.reason


@pytest.mark.parametrize(("w", "h", "s"), [(0.0, 1.0, 0.8), (1.0, -1.0, 0.8), (1.0, 1.0, 0.0)])
def test_nonsense_is_refused(w: float, h: float, s: float) -> None:
    with pytest.raises(UsageError, match="must be"):
        recovery(w, h, Spread(s, 0.1))
