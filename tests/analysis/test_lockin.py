"""The pulse test against published lock-in results, scipy's least squares, and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special
from scipy.optimize import least_squares

from thermview.analysis.lockin import (
    LockIn,
    amplitude_k_per_w,
    amplitude_noise_k,
    seconds_until,
    smallest_power_w,
)
from thermview.errors import UsageError

Floats = NDArray[np.float64]


def uneven_times(rng: np.random.Generator, count: int, rate_hz: float) -> Floats:
    return np.asarray(np.cumsum(rng.uniform(0.5, 1.5, count)) / rate_hz)


def test_thin_sheet_point_source() -> None:
    """T = (P/2πκ) K0((1+i)r/Λ): Breitenstein, Warta, Schubert, values from scipy.special.

    r/Λ = .5, 1, 2, 3: |K0| .81568918, .36616780, .09785585, .02968079;
    phase -47.3187, -77.3486, -135.6490, -193.361° (unwrapped).
    """
    places = np.array([0.5, 1.0, 2.0, 3.0])
    answer = special.kv(0, (1 + 1j) * places)
    assert np.abs(answer) == pytest.approx([0.81568918, 0.36616780, 0.09785585, 0.02968079])
    rng = np.random.default_rng(1)
    period_s, on_s = 2.0, 0.7
    lockin = LockIn(period_s, on_s)
    times = uneven_times(rng, 1500, 25.0)
    for time_s in times:
        turn = np.exp(2j * np.pi * (time_s - on_s) / period_s)
        seen = np.imag(answer * turn)[None, :] + 0.002 * time_s  # a drift beside it
        lockin.take((seen + rng.normal(0, 0.004, seen.shape)).astype(np.float32), float(time_s))
    result = lockin.result()
    assert result.amplitude_k[0] == pytest.approx(np.abs(answer), rel=0.02)
    expected = np.radians([-47.3187, -77.3486, -135.6490, -193.361])
    apart = np.angle(np.exp(1j * (result.phase_rad[0] - expected)))
    assert np.degrees(np.abs(apart)).max() < 2.0


def test_later_is_negative() -> None:
    """A pixel that follows a tenth of a period late has a phase of -36°."""
    lockin = LockIn(1.0, 0.0)
    for time_s in np.arange(0, 10, 0.04):
        lockin.take(np.full((2, 2), math.sin(2 * math.pi * (time_s - 0.1))), float(time_s))
    assert np.degrees(lockin.result().phase_rad) == pytest.approx(-36.0, abs=0.1)


def test_square_wave_fundamental() -> None:
    """0..P has the fundamental 2P/π (Fourier)."""
    lockin = LockIn(2.0, 0.0)
    for time_s in np.arange(0.0, 40.0, 0.01):
        lockin.take(np.full((1, 1), 3.0 * (time_s % 2.0 < 1.0)), float(time_s))
    assert lockin.result().amplitude_k[0, 0] == pytest.approx(2 * 3.0 / np.pi, rel=0.002)


def test_pixels_without_a_value_spoil_nothing() -> None:
    """One pixel that never has one, one that lacks it in a picture, two that always have one."""
    lockin, whole = LockIn(2.0, 0.0), LockIn(2.0, 0.0)
    for number, time_s in enumerate(np.arange(0.0, 40.0, 0.05)):
        picture = np.full((1, 4), 300.0 + np.sin(np.pi * time_s), np.float32)
        whole.take(picture, float(time_s))
        picture[0, 0] = np.nan
        if number == 77:
            picture[0, 1] = np.nan
        lockin.take(picture, float(time_s))
    found, expected = lockin.result(), whole.result()
    assert found.amplitude_k == pytest.approx(expected.amplitude_k, abs=1e-4)


def test_noise_statistics() -> None:
    """In units of NETD/√N: rms amplitude 2, mean √π, its deviation .9265, one channel √2.

    Breitenstein, Warta, Schubert, *Lock-in Thermography*, doi:10.1007/978-3-642-02417-7.
    """
    rng = np.random.default_rng(2)
    count, pixels, netd = 1000, 4000, 0.05
    lockin = LockIn(1.0, 0.0)
    for number in range(count):
        lockin.take(rng.normal(0, netd, (1, pixels)).astype(np.float32), number / 25.0)
    result = lockin.result()
    unit = netd / math.sqrt(count)
    amplitude = result.amplitude_k[0] / unit
    spread = 4.0 / math.sqrt(pixels)  # four standard errors
    assert math.sqrt(float(np.mean(amplitude**2))) == pytest.approx(2.0, abs=spread)
    assert float(amplitude.mean()) == pytest.approx(math.sqrt(math.pi), abs=spread)
    assert float(amplitude.std()) == pytest.approx(0.9265, abs=spread)
    channel = amplitude * np.sin(result.phase_rad[0])
    assert float(channel.std()) == pytest.approx(math.sqrt(2.0), abs=spread)
    assert float(np.median(result.noise_k)) / unit == pytest.approx(2.0, rel=0.02)


def test_against_scipy_least_squares() -> None:
    rng = np.random.default_rng(5)
    times = uneven_times(rng, 300, 12.0)
    curve = 0.3 * np.sin(2 * np.pi * times / 1.7 - 0.8) + 0.05 * times + rng.normal(0, 0.1, 300)
    lockin = LockIn(1.7, 0.0)
    for time_s, value in zip(times, curve, strict=True):
        lockin.take(np.full((1, 1), value), float(time_s))

    def left(p: Floats) -> Floats:
        wave = p[0] * np.sin(2 * np.pi * times / 1.7 + p[1])
        return np.asarray(wave + p[2] + p[3] * times + p[4] * times**2 - curve)

    expected = least_squares(left, [0.2, -0.5, 0.0, 0.0, 0.0]).x
    result = lockin.result()
    assert result.amplitude_k[0, 0] == pytest.approx(expected[0], rel=1e-4)
    assert result.phase_rad[0, 0] == pytest.approx(expected[1], abs=1e-4)


def test_shutter_offsets_do_not_matter() -> None:
    rng = np.random.default_rng(6)
    lockin = LockIn(1.0, 0.0)
    for number in range(500):
        time_s = number / 25.0
        segment = int(time_s > 7.3) + int(time_s > 13.1)
        value = 0.1 * math.sin(2 * math.pi * time_s) + 2.0 * segment
        lockin.take(value + rng.normal(0, 0.01, (3, 3)), time_s, segment)
    assert lockin.result().amplitude_k == pytest.approx(0.1, abs=0.004)


def test_memory_does_not_grow_with_length() -> None:
    lockin = LockIn(1.0, 0.0)
    sizes = []
    for number in range(400):
        lockin.take(np.zeros((4, 4)), number / 10.0)
        if number in (30, 399):
            sizes.append(sum(np.asarray(v).nbytes for v in vars(lockin).values()))
    assert sizes[0] == sizes[1]


def test_too_little_is_refused() -> None:
    lockin = LockIn(2.0, 0.0)
    for number in range(20):
        lockin.take(np.zeros((2, 2)), number / 10.0)
    with pytest.raises(UsageError, match="periods of 2 s"):
        lockin.result()
    with pytest.raises(UsageError, match="above 0"):
        LockIn(0.0, 0.0)


def test_detection_limit() -> None:
    """2·NETD/√N: 50 mK at 25 Hz for 60 s leave 2.582 mK, at 9 Hz 4.303 mK."""
    assert amplitude_noise_k(0.05, 25.0, 60.0) == pytest.approx(0.002582, abs=1e-6)
    assert amplitude_noise_k(0.05, 9.0, 60.0) == pytest.approx(0.004303, abs=1e-6)
    per_w = amplitude_k_per_w(2.0, 1.28e-6)
    now_w = smallest_power_w(0.005, per_w)
    # four times the time for half the power
    assert seconds_until(now_w / 2, 40.0, now_w) == pytest.approx(120.0)


def test_amplitude_per_watt_against_the_sheet_alone() -> None:
    """With a perfect contact and no body, a disc's mean on a sheet, by Hankel's integral."""
    kappa, period_s, area = 0.006, 2.0, 4e-6
    turn = 2 * np.pi / period_s
    radius = math.sqrt(area / np.pi)
    k = np.linspace(1.0, 60000.0, 200001)
    disc = (2 * special.j1(k * radius) / (k * radius)) ** 2
    value = disc * k / (kappa * k**2 + 20.0 + 1j * turn * 1850 * 1100 * 1.6e-3) / (2 * np.pi)
    expected = abs(complex(np.trapezoid(value, k))) * 2 / np.pi
    found = amplitude_k_per_w(period_s, area, kappa=kappa, contact=1e12, body_j_per_k=0.0)
    assert found == pytest.approx(expected, rel=0.05)  # a square against a disc of its area
