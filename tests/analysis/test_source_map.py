"""Heat-source inversion against closed solutions of conduction in a thin sheet.

Carslaw & Jaeger's forms with FR-4 of k 1.059 W/mK (Sarvar, Poole, Witting, J. Electron. Mater. 19
(1990) 1345), ρc = 1850 × 1100 J/m³K (from memory), 1.6 mm thick.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from thermview.analysis.heat.source_map import power_within, source_map

Floats = NDArray[np.float64]

MM = 0.5
KAPPA = 1.059 * 1.6e-3
CAPACITY = 1850.0 * 1100.0 * 1.6e-3
SHAPE = (192, 256)


def radius_m() -> Floats:
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5
    return np.asarray(np.hypot(x - 128.0, y - 96.0) * MM * 1e-3)


def disc_with_film(r: Floats) -> Floats:
    """0.1 W in a disc of 2.5 mm, total film 20 W/m²K, at rest."""
    radius, film, power = 2.5e-3, 20.0, 0.1
    q = power / (np.pi * radius**2)
    m = np.sqrt(film / KAPPA)
    inside = q / film * (1 - m * radius * special.k1(m * radius) * special.i0(m * r))
    outside = q / film * m * radius * special.i1(m * radius) * special.k0(m * np.maximum(r, 1e-6))
    return np.asarray(np.where(r <= radius, inside, outside))


def test_the_disc_is_the_published_one() -> None:
    """Columns of numbers computed with scipy for r = 0, 2.5, 5, 10, 20 mm."""
    places = np.array([0.0, 2.5, 5.0, 10.0, 20.0]) * 1e-3
    expected = [18.26017, 13.88030, 8.12019, 3.53211, 0.87448]
    assert disc_with_film(places) == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize("noise_k", [0.0005, 0.01, 0.05])
def test_power_of_a_disc_with_film_loss(noise_k: float) -> None:
    rng = np.random.default_rng(3)
    rise = disc_with_film(radius_m()) + rng.normal(0, noise_k, SHAPE)
    heating = source_map(
        rise, np.zeros(SHAPE), mm_per_px=MM, kappa=KAPPA, noise_k=noise_k, spread_px=0.0,
        positive=False,
    )  # fmt: skip
    found = power_within(heating, radius_m() < 8e-3, MM)
    assert found == pytest.approx(0.1, rel=0.05)


@pytest.mark.parametrize("seconds", [60.0, 300.0])
def test_power_of_a_continuous_point(seconds: float) -> None:
    """(P/4πκ) E1(r²/4at): 5.738925 K at 5 mm after 60 s, 6.614860 K at 10 mm after 300 s."""
    spread = 4 * KAPPA / CAPACITY * seconds

    def rise_at(r: Floats, wide: float) -> Floats:
        return np.asarray(0.1 / (4 * np.pi * KAPPA) * special.exp1(r**2 / wide))

    if seconds == 60.0:
        assert float(rise_at(np.array([5e-3]), spread)[0]) == pytest.approx(5.738925, abs=1e-5)
    else:
        assert float(rise_at(np.array([10e-3]), spread)[0]) == pytest.approx(6.614860, abs=1e-5)
    r = np.maximum(radius_m(), 0.3e-3)
    rate = 0.1 / (4 * np.pi * KAPPA) * np.exp(-(r**2) / spread) / seconds
    rng = np.random.default_rng(4)
    rise = rise_at(r, spread) + rng.normal(0, 0.01, SHAPE)
    heating = source_map(
        rise, rate, mm_per_px=MM, kappa=KAPPA, noise_k=0.01, film=0.0, spread_px=0.0, positive=False
    )
    assert power_within(heating, radius_m() < 6e-3, MM) == pytest.approx(0.1, rel=0.05)


def test_a_pulse_that_is_over_heats_nothing_now() -> None:
    """1 J at the start: (Q/4πκt) exp(-r²/4at); 4.696499, 1.413123, 0.0384944 K after 10 s."""
    seconds = 10.0
    spread = 4 * KAPPA / CAPACITY * seconds
    r = np.array([0.0, 5e-3, 10e-3])
    rise = 1.0 / (4 * np.pi * KAPPA * seconds) * np.exp(-(r**2) / spread)
    assert rise == pytest.approx([4.696499, 1.413123, 0.0384944], rel=1e-5)
    r = radius_m()
    rise = 1.0 / (4 * np.pi * KAPPA * seconds) * np.exp(-(r**2) / spread)
    rate = rise * (r**2 / spread - 1.0) / seconds
    heating = source_map(
        rise, rate, mm_per_px=MM, kappa=KAPPA, noise_k=1e-4, film=0.0, spread_px=0.0, positive=False
    )
    # against the 0.1 W that a tenth of the joule per second would be
    assert abs(power_within(heating, r < 15e-3, MM)) < 0.004


def test_a_line_source_is_found_along_its_length() -> None:
    """A long hot track with film loss at rest: (q'/2κm) exp(-m|y|), m = √(h/κ)."""
    film, per_m = 20.0, 2.0
    m = np.sqrt(film / KAPPA)
    y = (np.arange(SHAPE[0]) + 0.5 - 96.0) * MM * 1e-3
    rise = np.repeat((per_m / (2 * KAPPA * m) * np.exp(-m * np.abs(y)))[:, None], SHAPE[1], axis=1)
    rng = np.random.default_rng(5)
    heating = source_map(
        rise + rng.normal(0, 0.01, SHAPE), np.zeros(SHAPE), mm_per_px=MM, kappa=KAPPA,
        noise_k=0.01, spread_px=0.0, positive=False,
    )  # fmt: skip
    middle = np.zeros(SHAPE, bool)
    middle[96 - 14 : 96 + 14, 60:200] = True
    length_m = 140 * MM * 1e-3
    assert power_within(heating, middle, MM) / length_m == pytest.approx(per_m, rel=0.06)
