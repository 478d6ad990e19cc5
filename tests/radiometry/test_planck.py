"""Planck against handbooks, closed series and astropy (CHECKS: Planck)."""

from __future__ import annotations

from pathlib import Path

import astropy.units as u
import mpmath
import numpy as np
import pytest
from astropy.modeling.physical_models import BlackBody
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from thermview.errors import InputError, UsageError
from thermview.radiometry.planck import (
    C1L_W_M2_SR,
    C2_M_K,
    ResponseCurve,
    band_radiance,
    spectral_radiance,
)

# Modest, Radiative Heat Transfer (1993), pp. 775-777, as reproduced in OpenFOAM's blackBodyEmission
MODEST = [
    (1000, 0.00032, 0.000320770),
    (1200, 0.00213, 0.002134208),
    (1400, 0.00779, 0.007790389),
    (1600, 0.01972, 0.019719169),
    (1800, 0.03934, 0.039342158),
    (2000, 0.06672, 0.066729940),
    (2200, 0.10088, 0.100889750),
    (2800, 0.22788, 0.227889625),
    (3000, 0.27322, 0.273229260),
    (4000, 0.48085, 0.480864644),
    (5000, 0.63372, 0.633725872),
    (6000, 0.73778, 0.737789418),
    (8000, 0.85625, 0.856250694),
    (10000, 0.91415, 0.914156971),
    (15000, 0.96893, 0.968934222),
    (20000, 0.98555, 0.985553839),
]
# closed series, astropy and scipy quadrature agree on these to 1e-15; W/(m² sr)
IN_BAND = [
    (20, 49.37289478, 45.96758007),
    (23, 51.76430970, 48.33268960),
    (37, 63.83165245, 60.36132999),
    (50, 76.38638165, 73.01974773),
    (85, 116.66179624, 114.37753133),
    (100, 136.77833909, 135.36643609),
    (150, 215.67230668, 219.17184787),
]
FRACTION_START_UM_K = 300.0  # below it lies 1e-17 of the emission


def test_constants_are_codata_2018() -> None:
    assert pytest.approx(1.1910429724e-16, rel=1e-10) == C1L_W_M2_SR
    assert pytest.approx(1.438776877e-2, abs=1e-11) == C2_M_K


@pytest.mark.parametrize(("product_um_k", "modest", "exact"), MODEST)
def test_fraction_below_a_wavelength(product_um_k: float, modest: float, exact: float) -> None:
    temperature_k = 1000.0
    limits = (FRACTION_START_UM_K / temperature_k, product_um_k / temperature_k)
    emission = constants.sigma * temperature_k**4 / constants.pi
    fraction = float(band_radiance(limits).radiance(temperature_k)) / emission
    assert fraction == pytest.approx(modest, abs=2e-5)
    assert fraction == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(("celsius", "wide", "narrow"), IN_BAND)
def test_in_band_radiance(celsius: float, wide: float, narrow: float) -> None:
    kelvin = celsius + 273.15
    assert float(band_radiance((8.0, 14.0)).radiance(kelvin)) == pytest.approx(wide, rel=2e-10)
    assert float(band_radiance((7.5, 13.0)).radiance(kelvin)) == pytest.approx(narrow, rel=2e-10)


def test_exponent_and_slope_at_300_k() -> None:
    wide, narrow = band_radiance((8.0, 14.0)), band_radiance((7.5, 13.0))
    assert float(wide.slope(300.0)) == pytest.approx(0.8378213, abs=5e-8)
    for band, exponent in ((wide, 4.57547), (narrow, 4.85288)):
        assert float(band.slope(300.0) * 300.0 / band.radiance(300.0)) == pytest.approx(
            exponent, abs=5e-6
        )


def test_cengel_example_12_1() -> None:
    # Çengel, Heat Transfer, Ex. 12-1: 800 K, emissive power at 3 µm; inputs seen, answer computed
    assert np.pi * float(spectral_radiance(3.0, 800.0)) == pytest.approx(3846, abs=0.5)
    total = np.pi * float(band_radiance((0.3, 900.0)).radiance(800.0))
    assert total == pytest.approx(23.2e3, abs=50)


def test_cengel_example_12_4() -> None:
    # mean of three bands' emissivities at 800 K (Çengel, Heat Transfer, Ex. 12-4: 0.521)
    parts = [((0.3, 3.0), 0.3), ((3.0, 7.0), 0.8), ((7.0, 900.0), 0.1)]
    emitted = sum(eps * float(band_radiance(limits).radiance(800.0)) for limits, eps in parts)
    mean = emitted / float(band_radiance((0.3, 900.0)).radiance(800.0))
    assert mean == pytest.approx(0.521, abs=6e-4)


def test_wien_displacement() -> None:
    # b = 2897.771955 µm K (CODATA 2018)
    wavelength_um = np.linspace(9.0, 10.4, 140_001)
    peak = wavelength_um[np.argmax(spectral_radiance(wavelength_um, 300.0))]
    assert peak * 300.0 == pytest.approx(2897.771955, abs=0.01)


def test_spectral_radiance_agrees_with_astropy() -> None:
    wavelength_um = np.linspace(2.0, 25.0, 60)
    for kelvin in (233.15, 300.0, 823.15):
        body = BlackBody(kelvin * u.K, scale=1.0 * u.W / (u.m**2 * u.sr * u.um))
        np.testing.assert_allclose(
            spectral_radiance(wavelength_um, kelvin),
            body(wavelength_um * u.um).value,
            rtol=1e-9,
        )


def test_band_radiance_agrees_with_the_closed_series() -> None:
    # sum over n of exp(-n x) (x³ + 3x²/n + 6x/n² + 6/n³)/n, in 30 digits (mpmath)
    def below(limit_um: float, kelvin: float) -> mpmath.mpf:
        x = mpmath.mpf(C2_M_K) * mpmath.mpf("1e6") / (limit_um * mpmath.mpf(kelvin))
        total = mpmath.nsum(
            lambda n: mpmath.exp(-n * x) * (x**3 + 3 * x**2 / n + 6 * x / n**2 + 6 / n**3) / n,
            [1, mpmath.inf],
        )
        return mpmath.mpf(C1L_W_M2_SR) * mpmath.mpf(kelvin) ** 4 / mpmath.mpf(C2_M_K) ** 4 * total

    with mpmath.workdps(30):
        for limits in ((8.0, 14.0), (3.0, 5.0), (7.5, 13.0)):
            for kelvin in (80.0, 233.15, 301.0, 823.15):
                exact = float(below(limits[1], kelvin) - below(limits[0], kelvin))
                assert float(band_radiance(limits).radiance(kelvin)) == pytest.approx(
                    exact, rel=2e-10
                )


@given(st.floats(233.15, 823.15), st.sampled_from([(8.0, 14.0), (7.5, 13.0), (3.0, 5.0)]))
def test_inverse_within_a_millikelvin(kelvin: float, limits: tuple[float, float]) -> None:
    band = band_radiance(limits)
    assert float(band.temperature(band.radiance(kelvin))) == pytest.approx(kelvin, abs=1e-6)


def test_inverse_is_monotone() -> None:
    band = band_radiance()
    radiance = np.linspace(float(band.radiance(233.15)), float(band.radiance(823.15)), 1_000_001)
    assert (np.diff(band.temperature(radiance)) > 0).all()


def test_nothing_sensible_is_nan_without_a_warning() -> None:
    band = band_radiance()
    assert np.isnan(band.radiance([np.nan, -300.0, 0.0, 0.5, np.inf])).all()
    assert np.isnan(band.temperature([np.nan, -1.0, 0.0, np.inf])).all()
    assert np.isnan(band.slope(0.5))
    assert np.isnan(spectral_radiance(10.0, 0.0))


def test_flat_curve_is_the_band() -> None:
    curve = ResponseCurve((8.0, 11.0, 14.0), (2.0, 2.0, 2.0))
    kelvin = np.linspace(240.0, 800.0, 50)
    np.testing.assert_allclose(
        band_radiance(curve).radiance(kelvin), 2.0 * band_radiance().radiance(kelvin), rtol=1e-9
    )


def test_curve_from_csv_against_quadrature_by_scipy(tmp_path: Path) -> None:
    from scipy.integrate import quad

    path = tmp_path / "response.csv"
    path.write_text("wavelength_um,response\n# from the bench\n8,0\n9,0.8\n12,1\n14,0\n")
    curve = ResponseCurve.load(path)
    expected = sum(
        quad(
            lambda x: float(
                np.interp(x, curve.wavelength_um, curve.response) * spectral_radiance(x, 333.0)
            ),
            a,
            b,
            epsrel=1e-12,
        )[0]
        for a, b in ((8, 9), (9, 12), (12, 14))
    )
    assert float(band_radiance(curve).radiance(333.0)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n", "0 rows"),
        ("8,1\n", "1 rows"),
        ("8,1\n9,-1\n", "negative"),
        ("8,1\n8,1\n", "increase"),
        ("8,nan\n9,1\n", "not a number"),
        ("8,0\n9,0\n", "above zero"),
    ],
)
def test_bad_curves_say_why(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "response.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        ResponseCurve.load(path)


def test_missing_or_binary_curve(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        ResponseCurve.load(tmp_path / "none.csv")
    path = tmp_path / "binary.csv"
    path.write_bytes(bytes(range(128, 256)))
    with pytest.raises(InputError, match="cannot be read"):
        ResponseCurve.load(path)


@pytest.mark.parametrize("limits", [(14.0, 8.0), (8.0, 8.0), (0.0, 14.0), (8.0, np.inf)])
def test_bad_limits(limits: tuple[float, float]) -> None:
    with pytest.raises(UsageError, match="two increasing limits"):
        band_radiance(limits)
