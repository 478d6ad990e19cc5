"""Sakuma-Hattori, calibration by contact readings, and the camera's profile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from thermview.errors import InputError, OutputError, UsageError
from thermview.frames import Scale
from thermview.radiometry import (
    FrameConverter,
    ResponseCurve,
    Setting,
    apparent_temperature,
    band_radiance,
    conversion,
)
from thermview.radiometry.calibration import (
    CalibrationKind,
    ContactPoint,
    SakumaHattori,
    fit_calibration,
)
from thermview.radiometry.profile import CameraProfile, load_profile, save_profile
from thermview.radiometry.size import Spread

ZERO_C = 273.15
CELSIUS = np.linspace(0.0, 150.0, 1501)


@pytest.mark.parametrize(
    ("band", "values", "worst_mk"),
    [
        # best fits to the exact band over 0-150 °C, computed with scipy; form: CCT-WG5 2008
        ((8.0, 14.0), SakumaHattori(9.331744, 179.4192, 6822.093), 0.91),
        ((7.5, 13.0), SakumaHattori(8.745559, 173.5518, 8768.007), 2.2),
    ],
)
def test_published_fit_and_our_own(
    band: tuple[float, float], values: SakumaHattori, worst_mk: float
) -> None:
    kelvin = CELSIUS + ZERO_C
    signal = band_radiance(band).radiance(kelvin)
    error_mk = 1e3 * np.abs(values.temperature(signal) - kelvin)
    assert error_mk.max() == pytest.approx(worst_mk, abs=0.05)
    ours = SakumaHattori.fit(kelvin, signal, SakumaHattori.theory(band))
    assert 1e3 * np.abs(ours.temperature(signal) - kelvin).max() < 1.1 * worst_mk
    assert ours.a_um == pytest.approx(values.a_um, rel=2e-4)
    np.testing.assert_allclose(ours.temperature(ours.signal(kelvin)), kelvin, rtol=1e-12)


def test_theory_of_the_parameters() -> None:
    # A = λ0(1 − 6σ²/λ0²), B = c2σ²/(2λ0²): 9.36364 µm, 178.361 µm K for 8-14 µm (computed)
    theory = SakumaHattori.theory((8.0, 14.0))
    assert theory.a_um == pytest.approx(9.36364, abs=5e-6)
    assert theory.b_um_k == pytest.approx(178.361, abs=5e-4)


def test_through_three_points() -> None:
    # through 0, 60 and 120 °C: worst interpolation error .84 mK (computed)
    knots = np.array([0.0, 60.0, 120.0]) + ZERO_C
    band = band_radiance()
    fitted = SakumaHattori.fit(knots, band.radiance(knots), SakumaHattori.theory())
    between = np.linspace(0.0, 120.0, 1201) + ZERO_C
    error_mk = 1e3 * np.abs(fitted.temperature(band.radiance(between)) - between)
    assert error_mk.max() == pytest.approx(0.84, abs=0.02)
    assert np.abs(fitted.temperature(band.radiance(knots)) - knots).max() < 1e-6


def test_signal_of_nothing_is_nan() -> None:
    assert np.isnan(SakumaHattori.theory().temperature([0.0, -1.0, np.nan])).all()


def test_one_reading_is_an_offset() -> None:
    found = fit_calibration([ContactPoint(310.0, 312.0, 0.3)])
    assert found.kind is CalibrationKind.OFFSET
    assert float(found.apply(350.0)) == pytest.approx(352.0)
    assert float(found.u_k(350.0)) == pytest.approx(0.3)


def test_two_readings_are_a_line() -> None:
    found = fit_calibration([ContactPoint(300.0, 301.0, 0.3), ContactPoint(360.0, 364.0, 0.3)])
    assert found.kind is CalibrationKind.LINEAR
    np.testing.assert_allclose(found.apply([300.0, 330.0, 360.0]), [301.0, 332.5, 364.0])
    # a straight line through two points of equal u: u at an end, u/√2 midway, growing outside
    np.testing.assert_allclose(
        found.u_k([300.0, 330.0, 420.0]), [0.3, 0.3 / np.sqrt(2), 0.3 * np.sqrt(5)], rtol=1e-6
    )


def test_more_readings_fit_the_bent_error_of_another_band() -> None:
    # a camera of 7.5-13 µm whose numbers were made with the 8-14 µm radiance and a wrong gain
    real, believed = band_radiance((7.5, 13.0)), band_radiance()
    truth = np.linspace(280.0, 430.0, 9)
    seen = believed.temperature(1.06 * real.radiance(truth) + 1.0)
    points = [ContactPoint(float(s), float(t), 0.1) for s, t in zip(seen, truth, strict=True)]
    found = fit_calibration(points)
    assert found.kind is CalibrationKind.SAKUMA_HATTORI
    line = fit_calibration(points, kind=CalibrationKind.LINEAR)
    assert np.abs(found.residuals_k).max() < 0.1
    assert np.abs(found.residuals_k).max() < 0.3 * np.abs(line.residuals_k).max()
    assert found.range_k == (float(seen[0]), float(seen[-1]))
    inside, outside = found.u_k([350.0, 700.0])
    assert inside < 0.15 < outside


def test_uncertainty_of_the_fit_by_monte_carlo() -> None:
    rng = np.random.default_rng(6)
    truth = np.linspace(285.0, 400.0, 6)
    at_k = np.array([300.0, 360.0])
    results = []
    for _ in range(150):
        seen = truth - 1.0
        errors = 0.3 * rng.standard_normal(6)
        points = [
            ContactPoint(float(s), float(t + e), 0.3)
            for s, t, e in zip(seen, truth, errors, strict=True)
        ]
        results.append(fit_calibration(points).apply(at_k))
    nominal = [ContactPoint(float(t - 1.0), float(t), 0.3) for t in truth]
    np.testing.assert_allclose(
        np.std(results, axis=0), fit_calibration(nominal).u_k(at_k), rtol=0.2
    )


@pytest.mark.parametrize(
    ("points", "kind", "words"),
    [
        ([], None, "1 contact readings or more, not 0"),
        ([ContactPoint(300, 301)], CalibrationKind.LINEAR, "2 contact readings"),
        ([ContactPoint(300, 301), ContactPoint(300.2, 301)], None, "1 differing"),
        ([ContactPoint(float("nan"), 301)], None, "cannot be used"),
        ([ContactPoint(300, 301, 0.0)], None, "cannot be used"),
    ],
)
def test_unusable_readings_are_refused(
    points: list[ContactPoint], kind: CalibrationKind | None, words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        fit_calibration(points, kind=kind)


def test_emissivity_inside_the_camera_is_not_applied_twice() -> None:
    inside = Setting(0.95, 293.0)
    surface = Setting(0.6, 300.0)
    truth_k = 345.0
    seen = apparent_temperature(truth_k, surface)  # what arrives
    from thermview.radiometry import object_temperature

    camera_says = object_temperature(seen, inside)
    profile = CameraProfile("bench camera", applied=inside)
    scale = Scale(1.0)
    counts = np.array([[float(camera_says)]], dtype=np.float32)
    assert float(conversion(scale, surface, profile)(counts)[0, 0]) == pytest.approx(
        truth_k, abs=1e-3
    )
    twice = float(conversion(scale, surface)(counts)[0, 0])
    assert abs(twice - truth_k) > 1.0
    assert "0.95" in profile.already_corrected()
    assert "nothing" in CameraProfile().already_corrected()


def test_profile_reaches_the_tables() -> None:
    profile = CameraProfile(calibration=fit_calibration([ContactPoint(300.0, 302.0)]))
    scale = Scale(0.01)
    counts = np.full((4, 5), 30_000, dtype=np.uint16)
    converter = FrameConverter((4, 5), scale, None, profile=profile)
    np.testing.assert_allclose(converter.kelvin(counts), 302.0, rtol=1e-7)
    np.testing.assert_allclose(converter.kelvin(counts.astype(np.float32)), 302.0, rtol=1e-7)


def test_profile_survives_its_file(tmp_path: Path) -> None:
    path = tmp_path / "camera.json"
    profile = CameraProfile(
        "ours",
        Setting(0.95, band=ResponseCurve((8.0, 10.0, 14.0), (0.5, 1.0, 0.2))),
        fit_calibration([ContactPoint(300.0, 301.0), ContactPoint(350.0, 353.0)]),
        Spread(0.8, 0.03),
        0.05,
        1.15,
        (3, 77),
    )
    for kept in (profile, CameraProfile(), CameraProfile(applied=Setting(0.9))):
        save_profile(path, kept)
        assert load_profile(path) == kept
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"thermview_camera_profile": 9}', '{"thermview_camera_profile": 1}']
)
def test_bad_profile_is_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "camera.json"
    path.write_text(text)
    with pytest.raises(InputError, match="cannot be used"):
        load_profile(path)


def test_refused_place(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        save_profile(tmp_path / "none" / "camera.json", CameraProfile())


def test_next_to_no_signal_is_cold_and_no_trouble() -> None:
    """Counts near 0 K, which a table of all counts holds, are below any curve's reach."""
    points = [ContactPoint(t, t + 0.5) for t in (290.0, 320.0, 350.0)]
    cold = fit_calibration(points).apply(np.array([1.5, 5.0, 300.0]))
    assert not (cold[:2] > 100.0).any()
    assert cold[2] == pytest.approx(300.5, abs=0.01)
