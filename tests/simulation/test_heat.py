"""The heat sheet against closed solutions (CHECKS 7).

Carslaw & Jaeger's forms for point, continuous and disc sources in a thin sheet, their numbers
computed here with scipy.special; Huisman's table of E1; Çengel's thermocouple bead.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse, special

from thermview.simulation.heat import Bodies, HeatSheet

K, RHO_C, D = 1.059, 1850.0 * 1100.0, 1.6e-3  # FR-4: W/mK, J/m³K, m
A = K / RHO_C


def sheet(cells: int, cell_mm: float, film: float = 0.0, bodies: Bodies | None = None) -> HeatSheet:
    return HeatSheet(
        cell_m=cell_mm * 1e-3,
        capacity=RHO_C * D,
        conductance=K * D,
        film=film,
        shape=(cells, cells),
        bodies=bodies,
    )


def along(heat: HeatSheet, r_mm: float) -> float:
    """Return the rise at a distance to the right of the middle cell's centre."""
    middle = heat.rise_k.shape[0] // 2
    steps = r_mm * 1e-3 / heat.cell_m
    assert abs(steps - round(steps)) < 1e-9
    return float(heat.rise_k[middle, middle + round(steps)])


@pytest.mark.parametrize(
    ("r_mm", "published_k"), [(0.0, 4.696499), (5.0, 1.413123), (10.0, 0.0384944)]
)
def test_pulse_of_one_joule(r_mm: float, published_k: float) -> None:
    t = 10.0
    closed = math.exp(-((r_mm * 1e-3) ** 2) / (4 * A * t)) / (4 * math.pi * K * D * t)
    assert closed == pytest.approx(published_k, rel=1e-4)
    heat = sheet(141, 0.25)
    heat.rise_k[70, 70] = 1.0 / (RHO_C * D * heat.cell_m**2)
    heat.advance(t)
    assert along(heat, r_mm) == pytest.approx(closed, rel=0.02)


def test_pulse_error_far_out_shrinks_with_the_cell() -> None:
    t, r_mm = 10.0, 10.0  # three standard deviations out, where a grid errs most
    closed = math.exp(-((r_mm * 1e-3) ** 2) / (4 * A * t)) / (4 * math.pi * K * D * t)
    errors = []
    for cells, cell_mm in ((71, 0.5), (141, 0.25)):
        heat = sheet(cells, cell_mm)
        heat.rise_k[cells // 2, cells // 2] = 1.0 / (RHO_C * D * heat.cell_m**2)
        heat.advance(t)
        errors.append(along(heat, r_mm) / closed - 1.0)
    print(
        f"rise at 10 mm, 10 s after a pulse: {errors[0]:+.2%} at 0.5 mm, {errors[1]:+.2%} at 0.25"
    )
    assert abs(errors[0]) < 0.04
    assert abs(errors[1]) < abs(errors[0]) / 3


@pytest.mark.parametrize(
    ("x", "published"), [(1, 0.2194), (2, 0.04890), (3, 0.01305), (4, 0.003779), (5, 0.001148)]
)
def test_exponential_integral_as_published(x: float, published: float) -> None:
    # Huisman 1972, table 4.1
    assert special.exp1(x) == pytest.approx(published, rel=5e-4)


@pytest.mark.parametrize(
    ("t", "r_mm", "published_k"),
    [(60.0, 5.0, 5.738925), pytest.param(300.0, 10.0, 6.614860, marks=pytest.mark.slow)],
)
def test_continuous_point_source(t: float, r_mm: float, published_k: float) -> None:
    closed = 0.1 / (4 * math.pi * K * D) * special.exp1((r_mm * 1e-3) ** 2 / (4 * A * t))
    assert closed == pytest.approx(published_k, rel=1e-4)
    cells = 161
    heat = sheet(cells, 0.5)
    power = np.zeros(heat.rise_k.shape)
    power[cells // 2, cells // 2] = 0.1
    heat.advance(t, sheet_power_w=power)
    assert along(heat, r_mm) == pytest.approx(closed, rel=0.02)


def disc_power(heat: HeatSheet, radius_mm: float, watts: float) -> NDArray[np.float64]:
    cells = heat.rise_k.shape[0]
    fine = 8
    sub = ((np.arange(cells * fine) + 0.5) / fine - cells / 2) * heat.cell_m * 1e3
    inside = np.hypot(sub, sub[:, None]) <= radius_mm
    share = inside.reshape(cells, fine, cells, fine).mean(axis=(1, 3))
    power: NDArray[np.float64] = watts * share / share.sum()
    return power


def closed_disc_k(r_mm: float, radius_mm: float, watts: float, h: float) -> float:
    m, radius, r = math.sqrt(h / (K * D)), radius_mm * 1e-3, r_mm * 1e-3
    rise = watts / (math.pi * radius**2) / h
    if r <= radius:
        return float(rise * (1 - m * radius * special.k1(m * radius) * special.i0(m * r)))
    return float(rise * m * radius * special.i1(m * radius) * special.k0(m * r))


@pytest.mark.parametrize(
    ("r_mm", "published_k"),
    [(0.0, 18.26017), (2.5, 13.88030), (5.0, 8.12019), (10.0, 3.53211), (20.0, 0.87448)],
)
def test_disc_with_film_loss_settles(r_mm: float, published_k: float) -> None:
    closed = closed_disc_k(r_mm, 2.5, 0.1, 20.0)
    assert closed == pytest.approx(published_k, rel=1e-4)
    heat = sheet(241, 0.5, film=20.0)
    heat.settle(sheet_power_w=disc_power(heat, 2.5, 0.1))
    assert along(heat, r_mm) == pytest.approx(closed, rel=0.02)


def test_steps_reach_the_steady_state() -> None:
    heat = sheet(41, 0.5, film=400.0)  # twenty times the film: settles in 8 s
    power = disc_power(heat, 2.5, 0.1)
    heat.settle(sheet_power_w=power)
    settled = heat.rise_k.copy()
    heat.rise_k[...] = 0.0
    heat.advance(120.0, sheet_power_w=power)
    np.testing.assert_allclose(heat.rise_k, settled, rtol=2e-4)


@pytest.mark.parametrize(("cell_mm", "kappa"), [(0.5, 0.0017), (0.25, 0.03), (0.25, 0.06)])
def test_what_is_at_rest_stays_at_rest(cell_mm: float, kappa: float) -> None:
    """Energy flows evenly then: each step gives what the sheet takes away, however many substeps.

    Two small strong parts, one cell of which is under both.
    """
    cells, area = 40 * 40, (2 * cell_mm * 1e-3) ** 2
    shares = np.zeros((2, cells))
    shares[0, [820, 821, 860, 861]] = shares[1, [821, 822, 861, 862]] = 0.25
    bodies = Bodies(
        np.full(2, 1e3 * area),
        np.full(2, 8e3 * area),
        np.full(2, 10 * area),
        sparse.csr_array(shares),
    )
    heat = HeatSheet(
        cell_m=cell_mm * 1e-3,
        capacity=3256.0,
        conductance=kappa,
        film=20.0,
        shape=(40, 40),
        bodies=bodies,
    )
    power_w = np.array([0.05, 0.01])
    heat.settle(power_w)
    settled, bodies_k = heat.rise_k.copy(), heat.body_rise_k.copy()
    assert settled.max() > 1.0
    heat.advance(20.0, power_w)
    np.testing.assert_allclose(heat.rise_k, settled, rtol=1e-8)
    np.testing.assert_allclose(heat.body_rise_k, bodies_k, rtol=1e-8)


def one_body(capacity: float, link: float, film: float, cells: int = 5) -> Bodies:
    shares = np.zeros((1, cells * cells))
    shares[0, cells * cells // 2] = 1.0
    return Bodies(
        np.array([capacity]), np.array([link]), np.array([film]), sparse.csr_array(shares)
    )


def test_bead_cools_as_a_single_body() -> None:
    # Çengel, Heat Transfer, Ex. 4-1: D 1 mm, h 210 W/m²K, ρ 8500 kg/m³, c 320 J/kgK
    diameter = 1e-3
    capacity = 8500 * 320 * math.pi * diameter**3 / 6
    film = 210 * math.pi * diameter**2
    rate = film / capacity
    assert rate == pytest.approx(0.4632, rel=1e-3)
    heat = sheet(5, 0.5, bodies=one_body(capacity, 0.0, film))
    heat.body_rise_k[:] = 1.0
    seconds = math.log(100.0) / rate
    assert seconds == pytest.approx(9.94, abs=0.01)
    heat.advance(seconds / 2, 0.0)
    assert heat.body_rise_k[0] == pytest.approx(0.1, rel=0.02)
    heat.advance(seconds / 2, 0.0)
    assert heat.body_rise_k[0] == pytest.approx(0.01, rel=0.025)


def test_body_and_sheet_share_heat_to_equilibrium() -> None:
    capacity = 0.01
    heat = sheet(5, 0.5, bodies=one_body(capacity, 0.05, 0.0))
    heat.body_rise_k[:] = 10.0
    heat.advance(100.0, 0.0)
    whole = capacity + 25 * RHO_C * D * heat.cell_m**2
    np.testing.assert_allclose(heat.rise_k, 0.1 / whole, rtol=1e-3)
    assert heat.body_rise_k[0] == pytest.approx(0.1 / whole, rel=1e-3)


@pytest.mark.parametrize("link", [1e-4, 0.02, 5.0])
def test_energy_is_kept_to_rounding(link: float) -> None:
    rng = np.random.default_rng(3)
    shape = (24, 30)
    shares = rng.random((3, shape[0] * shape[1])) * (rng.random((3, 720)) < 0.05)
    shares /= shares.sum(axis=1, keepdims=True)
    bodies = Bodies(
        rng.uniform(1e-4, 0.1, 3),
        np.full(3, link),
        rng.uniform(0, 0.01, 3),
        sparse.csr_array(shares),
    )
    heat = HeatSheet(
        cell_m=5e-4,
        capacity=rng.uniform(2500, 4000, shape),
        conductance=rng.uniform(0.0017, 0.05, shape),
        film=rng.uniform(5, 40, shape),
        shape=shape,
        bodies=bodies,
    )
    body_w, sheet_w = rng.uniform(0, 0.1, 3), rng.uniform(0, 1e-4, shape)
    heat.advance(7.3, body_w, sheet_w)
    given = 7.3 * (body_w.sum() + sheet_w.sum())
    assert heat.energy_j + heat.lost_j == pytest.approx(given, rel=1e-12)
    assert np.all(heat.rise_k > 0)
    assert heat.lost_j > 0


def test_uneven_copper_carries_a_straight_flow() -> None:
    # two materials in series between fixed power and an even film: the fall over each is P/κ
    kappa = np.full((4, 40), 0.002)
    kappa[:, 20:] = 0.02
    film = np.zeros((4, 40))
    film[:, -1] = 1e4
    heat = HeatSheet(cell_m=1e-3, capacity=3000, conductance=kappa, film=film, shape=(4, 40))
    power = np.zeros((4, 40))
    power[:, 0] = 0.01
    heat.settle(sheet_power_w=power)
    row = heat.rise_k[2]
    assert row[0] - row[19] == pytest.approx(0.01 * 19 / 0.002, rel=1e-6)
    assert row[20] - row[39] == pytest.approx(0.01 * 19 / 0.02, rel=1e-6)
    assert row[19] - row[20] == pytest.approx(0.01 * (0.5 / 0.002 + 0.5 / 0.02), rel=1e-6)


def test_stable_where_copper_is_thick() -> None:
    rng = np.random.default_rng(0)
    heat = HeatSheet(cell_m=2.5e-4, capacity=3000, conductance=0.06, film=20, shape=(60, 60))
    heat.rise_k[...] = rng.choice([-1.0, 1.0], heat.rise_k.shape)  # the grid's fastest modes
    heat.advance(1.0)
    assert np.abs(heat.rise_k).max() < 0.3
