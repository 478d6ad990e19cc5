"""The simulated camera: radiance, spread, noise, drift, shutter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.radiometry import Setting, apparent_temperature, band_radiance
from thermview.simulation.camera import Camera, CameraModel
from thermview.simulation.grid import Grid
from thermview.simulation.radiance import apparent_kelvin, radiance_of

QUIET = CameraModel(
    width_px=64,
    height_px=48,
    netd_k=0.0,
    pattern_k=0.0,
    drift_k=0.0,
    jitter_s=0.0,
)
GRID = Grid.over(64.0, 48.0, 0.25)
STRAIGHT = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 48.0], [0.0, 0.0, 1.0]])  # 1 mm a pixel


def flat(kelvin: float) -> NDArray[np.float32]:
    return radiance_of(np.full(GRID.shape, kelvin, dtype=np.float32))


def camera(model: CameraModel = QUIET, seed: int = 0) -> Camera:
    return Camera(model, GRID, np.random.default_rng(seed))


def test_polynomials_follow_the_exact_radiance() -> None:
    kelvin = np.linspace(242, 478, 2001)
    exact = band_radiance().radiance(kelvin)
    np.testing.assert_allclose(radiance_of(kelvin.astype(np.float32)), exact, rtol=3e-6)
    np.testing.assert_allclose(apparent_kelvin(exact.astype(np.float32)), kelvin, atol=3e-4)


def test_grey_surface_reads_as_the_measurement_equation_says() -> None:
    # CHECKS 2, ε .30: 60 °C reads 35.3315 °C before 23 °C
    mixed = 0.3 * flat(333.15) + 0.7 * flat(296.15)
    counts = camera().expose(mixed.astype(np.float32), STRAIGHT, 0.0)
    seen_k = float(QUIET.scale.kelvin(counts)[24, 32])
    assert seen_k - 273.15 == pytest.approx(35.3315, abs=0.006)
    setting = Setting(emissivity=0.3, reflected_k=296.15)
    assert seen_k == pytest.approx(float(apparent_temperature(333.15, setting)), abs=0.006)


def test_hot_place_appears_where_the_view_puts_it() -> None:
    radiance = flat(300.0)
    x, y = GRID.centres_mm()
    spot = np.exp(-((x - 40.25) ** 2 + ((y - 30.5) ** 2)[:, None]) / 2 / 1.5**2)
    radiance += (5.0 * spot).astype(np.float32)
    seen = QUIET.scale.kelvin(camera().expose(radiance, STRAIGHT, 0.0)) - 300.0
    columns, rows = np.arange(64) + 0.5, np.arange(48) + 0.5
    assert float((seen * columns).sum() / seen.sum()) == pytest.approx(40.25, abs=0.02)
    assert float((seen * rows[:, None]).sum() / seen.sum()) == pytest.approx(48 - 30.5, abs=0.02)


def test_spread_is_that_of_optics_and_pixel() -> None:
    model = replace(QUIET, spread_px=0.8)
    step = flat(300.0)
    step[:, GRID.columns // 2 :] = flat(340.0)[:, GRID.columns // 2 :]
    counts = camera(model).expose(step, STRAIGHT, 0.0)
    edge = radiance_of(model.scale.kelvin(counts).astype(np.float32))[24].astype(float)
    line = np.diff(edge)
    places = np.arange(len(line)) + 1.0
    middle = (line * places).sum() / line.sum()
    variance = (line * (places - middle) ** 2).sum() / line.sum()
    # the difference of neighbours, one pixel apart, adds a box of one pixel to the line's spread
    assert variance == pytest.approx(0.8**2 + 1 / 12 + 1 / 12, rel=0.05)


def test_noise_is_the_stated_netd() -> None:
    model = replace(QUIET, netd_k=0.05)
    one = camera(model)
    frames = [model.scale.kelvin(one.expose(flat(296.0), STRAIGHT, 0.04 * i)) for i in range(40)]
    assert np.std(frames, axis=0).mean() == pytest.approx(0.05, rel=0.03)
    assert abs(np.mean(frames) - 296.0) < 0.002


def test_pattern_stays_and_drift_wanders() -> None:
    model = replace(QUIET, pattern_k=0.1, drift_k=0.2, drift_s=5.0)
    one = camera(model)
    frames = np.array(
        [model.scale.kelvin(one.expose(flat(296.0), STRAIGHT, float(t))) for t in range(60)]
    )
    assert frames[0].std() == pytest.approx(0.1, rel=0.2)
    means = frames.mean(axis=(1, 2)) - 296.0
    assert 0.08 < means.std() < 0.4
    uneven = (frames - frames[0]) - (frames - frames[0]).mean(axis=(1, 2), keepdims=True)
    late = uneven[20:].std(axis=(1, 2)).mean()
    assert late > 0.02
    neighbours = np.abs(np.diff(uneven[20:], axis=2)).mean()
    assert neighbours < late / 3  # smooth across the picture, but for the counts' rounding


def test_shutter_holds_the_picture_and_steps_the_offset() -> None:
    model = replace(QUIET, shutter_times_s=(1.0,), shutter_s=0.4, shutter_step_k=0.5)
    one = camera(model)
    means, held = [], []
    for number in range(50):
        time_s = number / 25
        counts = one.held(time_s)
        held.append(counts is not None)
        if counts is None:
            counts = one.expose(flat(296.0 + time_s), STRAIGHT, time_s)
        means.append(float(model.scale.kelvin(counts).mean()))
    assert held.index(True) == 25
    assert sum(held) == 10
    assert len(set(means[24:35])) == 1
    step = means[35] - means[24] - 11 / 25
    assert abs(step) > 0.05
    assert means[40] - means[35] == pytest.approx(0.2, abs=0.006)
