"""The measurement equation and its look-up tables against values computed elsewhere."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermview.errors import UsageError
from thermview.frames import Scale, Scene
from thermview.radiometry import (
    FrameConverter,
    ResponseCurve,
    Setting,
    apparent_temperature,
    conversion,
    object_temperature,
    setting_for,
    table,
)
from thermview.radiometry.uncertainty import sensitivities

ZERO_C = 273.15
# form: ISO 18434-1:2008 (from memory); numbers computed with scipy, sensitivities by finite
# difference; 8-14 µm, reflected 23 °C, transmissions 1:
# emissivity, object °C, apparent °C, per 0.01 of emissivity, per K reflected, per K apparent
VALUES = [
    (0.95, 60, 58.3822, -0.33863, -0.03893, 1.04061),
    (0.90, 60, 56.7456, -0.35745, -0.08218, 1.08558),
    (0.60, 60, 46.4869, -0.53617, -0.49307, 1.50753),
    (0.30, 60, 35.3315, -1.07234, -1.72574, 2.75282),
    (0.10, 60, 27.2641, -3.21703, -6.65641, 7.69302),
    (0.95, 100, 96.9327, -0.64047, -0.03046, 1.03542),
    (0.90, 100, 93.8134, -0.67605, -0.06430, 1.07439),
    (0.60, 100, 73.8181, -1.01408, -0.38577, 1.43073),
    (0.30, 100, 50.8655, -2.02816, -1.35020, 2.43965),
    (0.10, 100, 33.0396, -6.08449, -5.20791, 6.33535),
]
SCALE = Scale(0.01, 0.0)


@pytest.mark.parametrize("row", VALUES)
def test_table_of_values(row: tuple[float, ...]) -> None:
    eps, object_c, apparent_c, by_eps, by_refl, by_app = row
    setting, object_k = Setting(eps), object_c + ZERO_C
    apparent = apparent_temperature(object_k, setting)
    assert float(apparent) - ZERO_C == pytest.approx(apparent_c, abs=6e-5)
    assert float(object_temperature(apparent, setting)) == pytest.approx(object_k, abs=1e-6)
    slopes = sensitivities(apparent, object_temperature(apparent, setting), setting)
    assert float(slopes["emissivity"]) * 0.01 == pytest.approx(by_eps, abs=6e-6)
    assert float(slopes["reflected"]) == pytest.approx(by_refl, abs=6e-6)
    assert float(slopes["apparent"]) == pytest.approx(by_app, abs=6e-6)


def test_wrong_emissivity_entered() -> None:
    apparent = apparent_temperature(60 + ZERO_C, Setting(0.30))
    read = float(object_temperature(apparent, Setting(0.95))) - ZERO_C
    assert read == pytest.approx(35.945, abs=6e-4)


def test_cold_chip_looks_warmer() -> None:
    apparent = float(apparent_temperature(10 + ZERO_C, Setting(0.6))) - ZERO_C
    assert apparent == pytest.approx(15.403, abs=6e-4)


def test_behind_a_window() -> None:
    setting = Setting(0.95, window_transmission=0.9)
    apparent = float(apparent_temperature(60 + ZERO_C, setting)) - ZERO_C
    assert apparent == pytest.approx(55.2558, abs=6e-5)


@given(st.floats(0.05, 1.0))
def test_as_warm_as_the_room_looks_so_at_any_emissivity(eps: float) -> None:
    apparent = float(apparent_temperature(296.15, Setting(eps)))
    assert apparent == pytest.approx(296.15, abs=1e-6)


@given(
    st.floats(230.0, 800.0),
    st.floats(0.05, 1.0),
    st.floats(260.0, 330.0),
    st.floats(0.3, 1.0),
    st.floats(0.7, 1.0),
)
def test_there_and_back(
    object_k: float, eps: float, reflected_k: float, tau_w: float, tau_a: float
) -> None:
    setting = Setting(eps, reflected_k, 290.0, tau_a, 300.0, tau_w)
    back = object_temperature(apparent_temperature(object_k, setting), setting)
    assert float(back) == pytest.approx(object_k, abs=1e-4)


def testsensitivities_to_window_and_air_by_finite_difference() -> None:
    setting = Setting(0.8, 300.0, 285.0, 0.9, 310.0, 0.85)
    apparent = np.array(330.0)
    slopes = sensitivities(apparent, object_temperature(apparent, setting), setting)
    for name, field, step in (
        ("window_transmission", "window_transmission", 1e-5),
        ("window", "window_k", 1e-3),
        ("air_transmission", "air_transmission", 1e-5),
        ("air", "air_k", 1e-3),
    ):
        value = getattr(setting, field)
        up = float(object_temperature(apparent, replace(setting, **{field: value + step})))
        down = float(object_temperature(apparent, replace(setting, **{field: value - step})))
        assert float(slopes[name]) == pytest.approx((up - down) / (2 * step), rel=1e-5)


def test_no_object_could_look_like_that() -> None:
    setting = Setting(0.1, reflected_k=373.15)
    assert np.isnan(object_temperature(290.0, setting))
    assert np.isnan(table(SCALE, setting)[29_000])
    assert np.isnan(object_temperature([np.nan, 0.2, -5.0], Setting(0.9))).all()
    assert np.isnan(apparent_temperature([np.nan, 0.2, -5.0], Setting(0.9))).all()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("emissivity", 0.0),
        ("emissivity", 1.2),
        ("emissivity", float("nan")),
        ("reflected_k", 0.0),
        ("window_transmission", -0.1),
        ("air_k", float("inf")),
    ],
)
def test_settings_out_of_range_are_refused(field: str, value: float) -> None:
    with pytest.raises(UsageError, match="must"):
        replace(Setting(), **{field: value})  # type: ignore[arg-type]


def test_setting_for_takes_the_regions_word_first() -> None:
    scene = Scene(emissivity=0.9, reflected_k=300.0, air_k=298.0, window_transmission=0.8)
    assert setting_for(None, None, Scene()) is None
    assert setting_for(None, 310.0, Scene()) is None
    assert setting_for(0.5, None, Scene()) == Setting(0.5, 296.15)
    assert setting_for(0.5, 305.0, scene) == Setting(0.5, 305.0, 298.0, 1.0, 298.0, 0.8)
    assert setting_for(None, None, scene) == Setting(0.9, 300.0, 298.0, 1.0, 298.0, 0.8)
    assert setting_for(None, 301.0, scene) == Setting(0.9, 301.0, 298.0, 1.0, 298.0, 0.8)
    hazy = setting_for(None, None, replace(scene, air_transmission=0.95))
    assert hazy == Setting(0.9, 300.0, 298.0, 0.95, 298.0, 0.8)
    curve = ((8.0, 10.0, 12.0), (0.0, 1.0, 0.0))
    found = setting_for(None, None, replace(scene, response=curve))
    assert found is not None
    assert found.band == ResponseCurve(*curve)


def test_table_is_the_equation() -> None:
    setting = Setting(0.6)
    counts = np.arange(26_000, 60_000, 7, dtype=np.uint16)
    exact = object_temperature(SCALE.kelvin(counts), setting)
    np.testing.assert_allclose(conversion(SCALE, setting)(counts), exact, rtol=1e-7)
    np.testing.assert_allclose(
        conversion(SCALE, setting)(counts.astype(np.float32)), exact, rtol=1e-7
    )
    assert conversion(SCALE, None)(counts) == pytest.approx(SCALE.kelvin(counts), rel=1e-7)


@pytest.mark.parametrize("dtype", [np.uint16, np.float32])
def test_frame_with_regions_of_their_own(dtype: Any) -> None:
    rng = np.random.default_rng(5)
    counts = rng.integers(29_000, 34_000, (30, 40)).astype(dtype)
    mask = np.zeros((30, 40), dtype=np.bool_)
    mask[5:15, 5:20] = True
    indices = np.arange(10 * 40, 12 * 40, dtype=np.int32)
    converter = FrameConverter(
        (30, 40), SCALE, Setting(0.95), [(mask, Setting(0.4)), (indices, None)]
    )
    expected = object_temperature(SCALE.kelvin(counts), Setting(0.95))
    expected[mask] = object_temperature(SCALE.kelvin(counts), Setting(0.4))[mask]
    expected.ravel()[indices] = SCALE.kelvin(counts).ravel()[indices]
    kelvin = converter.kelvin(counts)
    assert kelvin.dtype == np.float32
    np.testing.assert_allclose(kelvin, expected, rtol=1e-7)
    with pytest.raises(UsageError, match="picture"):
        converter.kelvin(counts[:5])
