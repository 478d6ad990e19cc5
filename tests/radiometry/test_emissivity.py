"""The table of materials and emissivity measured in place."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.radiometry import Setting, apparent_temperature, band_radiance
from thermview.radiometry.emissivity import (
    emissivity_by_contact,
    emissivity_by_patch,
    first_order,
    materials,
    reflected_by_reflector,
)

ZERO_C = 273.15


def _material(name: str) -> tuple[float, float]:
    row = next(m for m in materials() if m.name == name)
    return row.low, row.high


def test_table_against_its_sources() -> None:
    # Thome, EPFL 2008, as tabulated by cableizer; total emissivity (plausibility, not 8-14 µm)
    assert _material("aluminium, polished") == (0.04, 0.06)
    assert _material("aluminium, heavily oxidised") == (0.20, 0.33)
    assert _material("copper, dull") == (0.12, 0.15)
    assert _material("paint, white") == (0.89, 0.97)
    assert _material("lacquer") == (0.80, 0.95)
    assert _material("paint, oil") == (0.92, 0.96)
    for name, value in (
        ("aluminium, commercial sheet", 0.09),  # Thome
        ("copper, highly polished", 0.02),  # Thome
        ("paint, black gloss", 0.90),  # Thome
        ("paint, black epoxy", 0.85),  # Fortescue et al., table 11.3
        ("gold plating", 0.04),  # Fortescue et al., table 11.3
        ("aluminium, anodised", 0.82),  # Incropera A.11, from memory
    ):
        low, high = _material(name)
        assert (low + high) / 2 == pytest.approx(value)


def test_every_row_says_where_it_comes_from() -> None:
    rows = materials()
    assert len({m.name for m in rows}) == len(rows) >= 15
    for row in rows:
        assert 0.0 < row.low < row.high <= 1.0
        assert row.basis in {"seen", "memory", "practice"}
        assert row.source
        assert 0.0 < row.u < 0.1
        assert not row.metal or row.high < 0.5


def test_solved_from_a_contact_reading() -> None:
    # apparent 50, contact 60, reflected 23 °C: .70013 (computed with scipy)
    found = emissivity_by_contact(50 + ZERO_C, 60 + ZERO_C, Setting())
    assert found.value == pytest.approx(0.70013, abs=6e-6)
    assert found.usable
    assert found.u < 0.03


def test_solved_from_a_patch_behind_a_window() -> None:
    way = Setting(0.6, 299.0, 297.0, 0.98, 298.0, 0.85)
    bare = float(apparent_temperature(340.0, way))
    from dataclasses import replace

    patch = float(apparent_temperature(340.0, replace(way, emissivity=0.96)))
    found = emissivity_by_patch(bare, patch, way)
    assert found.value == pytest.approx(0.6, abs=1e-6)
    assert found.usable
    assert found.dominant in {"reflected temperature", "patch"}


def test_uncertainty_by_monte_carlo() -> None:
    setting = Setting(reflected_k=296.15)
    bare = float(apparent_temperature(330.0, Setting(0.6)))
    patch = float(apparent_temperature(330.0, Setting(0.96)))
    found = emissivity_by_patch(bare, patch, setting, u_noise_k=0.1, u_camera_k=1.0)
    rng = np.random.default_rng(1)
    z = rng.standard_normal((5, 200_000))
    band = band_radiance()
    room = band.radiance(296.15 + z[0])
    seen = band.radiance(bare + 0.1 * z[1] + 1.0 * z[2]) - room
    seen_patch = band.radiance(patch + 0.1 * z[3] + 1.0 * z[2]) - room
    trials = (0.96 + 0.01 * z[4]) * seen / seen_patch
    assert found.u == pytest.approx(float(trials.std()), rel=0.03)
    assert found.value == pytest.approx(float(np.median(trials)), abs=0.002)


def test_as_warm_as_the_room_tells_nothing() -> None:
    found = emissivity_by_patch(296.4, 296.5, Setting())
    assert not found.usable
    assert "warm it" in found.reason
    same = emissivity_by_contact(296.15, 296.15, Setting())
    assert not same.usable
    assert not emissivity_by_contact(float("nan"), 330.0, Setting()).usable


def test_impossible_emissivity_is_said() -> None:
    found = emissivity_by_contact(340.0, 330.0, Setting())
    assert not found.usable
    assert "above 1" in found.reason
    below = emissivity_by_contact(290.0, 330.0, Setting())
    assert "not above 0" in below.reason


def test_reflected_temperature_from_foil() -> None:
    foil = float(apparent_temperature(297.0, Setting(0.05, 312.0)))
    found = reflected_by_reflector(foil, 297.0, Setting())
    assert found.value == pytest.approx(312.0, abs=1e-6)
    assert 0.3 < found.u < 0.6
    assert found.usable
    assert not reflected_by_reflector(float("nan"), 297.0, Setting()).usable


def test_first_order_on_a_known_case() -> None:
    # z = x·y: u² = (y·u_x)² + (x·u_y)² (JCGM 100 5.1.2)
    value, u, dominant = first_order(lambda v: v["x"] * v["y"], {"x": (3, 0.1), "y": (4, 0.3)})
    assert value == pytest.approx(12.0)
    assert u == pytest.approx(np.hypot(0.4, 0.9))
    assert dominant == "y"
