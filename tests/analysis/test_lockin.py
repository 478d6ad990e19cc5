"""The streaming pulse test against the lock-in literature, SciPy's least squares and Astropy."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.timeseries import LombScargle
from numpy.typing import NDArray
from scipy.special import kei, ker

from thermview.analysis.lockin import LockIn, Pulsed, amplitude_per_watt

Floats = NDArray[np.float64]


def run(times_s: Floats, pictures: Floats, period_s: float, breaks: tuple[int, ...] = ()) -> Pulsed:
    lock_in = LockIn(period_s, 0.0)
    for number, (time_s, picture) in enumerate(zip(times_s, pictures, strict=True)):
        if number in breaks:
            lock_in.break_off()
        lock_in.take(float(time_s), picture)
    found = lock_in.result()
    assert found is not None
    return found


def test_amplitude_and_phase_of_a_known_sine() -> None:
    times = np.sort(np.random.default_rng(1).uniform(0.0, 40.0, 500))
    late = np.array([[0.0, 0.25], [0.5, 0.75]])  # of a period
    pictures = 300.0 + 0.02 * np.sin(2 * np.pi * (times[:, None, None] / 2.0 - late))
    found = run(times, pictures, 2.0)
    np.testing.assert_allclose(found.amplitude_k, 0.02, rtol=1e-3)
    turns = -found.phase_rad / (2 * np.pi) % 1.0
    np.testing.assert_allclose(np.minimum(abs(turns - late), 1 - abs(turns - late)), 0, atol=1e-3)


def test_agrees_with_least_squares_at_uneven_times_with_drift() -> None:
    rng = np.random.default_rng(2)
    times = np.sort(rng.uniform(0.0, 31.0, 300))
    values = 0.03 * np.cos(2 * np.pi * times / 3.0) + 0.01 * times + rng.normal(0, 0.05, 300)
    table = np.stack(
        [
            np.ones(300),
            times,
            times**2,
            np.cos(2 * np.pi * times / 3.0),
            np.sin(2 * np.pi * times / 3.0),
        ],
        axis=1,
    )
    best, *_ = np.linalg.lstsq(table, values, rcond=None)
    found = run(times, values[:, None, None], 3.0)
    assert found.amplitude_k[0, 0] == pytest.approx(np.hypot(best[3], best[4]), rel=1e-4)
    assert found.phase_rad[0, 0] == pytest.approx(np.arctan2(best[3], best[4]), abs=1e-4)


def test_agrees_with_lomb_scargle_without_drift() -> None:
    rng = np.random.default_rng(3)
    times = np.sort(rng.uniform(0.0, 60.0, 1500))
    values = 0.04 * np.sin(2 * np.pi * times / 2.0 - 1.0) + rng.normal(0, 0.05, len(times))
    model = LombScargle(times, values, fit_mean=True)
    _, sine, cosine = model.model_parameters(0.5, units=False)
    found = run(times, values[:, None, None], 2.0)
    assert found.amplitude_k[0, 0] == pytest.approx(np.hypot(sine, cosine), rel=0.02)


def test_noise_is_that_of_the_literature() -> None:
    """In units of NETD/√N: rms 2, mean √π, standard deviation .9265 (Monte Carlo)."""
    rng = np.random.default_rng(4)
    count, netd = 1500, 0.05
    times = np.arange(count) / 25.0
    pictures = rng.normal(0.0, netd, (count, 40, 50))
    found = run(times, pictures, 2.0)
    unit = netd / np.sqrt(count)
    pixels = found.amplitude_k.size
    rms = float(np.sqrt(np.mean(found.amplitude_k.astype(float) ** 2)))
    assert rms / unit == pytest.approx(2.0, rel=4 / np.sqrt(pixels))
    assert found.amplitude_k.mean() / unit == pytest.approx(np.sqrt(np.pi), rel=3 / np.sqrt(pixels))
    assert found.amplitude_k.std() / unit == pytest.approx(0.9265, rel=4 / np.sqrt(pixels))
    assert found.noise_k.mean() == pytest.approx(rms, rel=0.03)
    # 50 mK, 25 Hz, 60 s (Breitenstein, Warta, Schubert, Lock-in Thermography)
    assert found.noise_k.mean() == pytest.approx(2.582e-3, rel=0.01)


def test_an_offset_that_changes_with_the_shutter_does_not_count() -> None:
    times = np.arange(400) / 10.0
    values = 0.02 * np.sin(2 * np.pi * times / 2.0) + np.where(times > 17.3, 0.8, 0.0)
    found = run(times, values[:, None, None], 2.0, breaks=(174,))
    assert found.amplitude_k[0, 0] == pytest.approx(0.02, rel=1e-3)
    assert run(times, values[:, None, None], 2.0).amplitude_k[0, 0] > 0.021


def test_memory_does_not_grow_and_nothing_is_told_too_early() -> None:
    lock_in = LockIn(2.0, 0.0)
    sizes = set()
    for number in range(300):
        lock_in.take(number / 25.0, np.full((6, 8), 300.0 + number % 3))
        arrays = [v for v in vars(lock_in).values() if isinstance(v, np.ndarray)]
        sizes.add(sum(a.nbytes for a in arrays))
        assert (lock_in.result() is None) == (number / 25.0 < 4.0)
    assert len(sizes) == 1


def test_amplitude_beside_a_point_source() -> None:
    """|K₀| = √(ker² + kei²) of √2 r/Λ; at r/Λ = 1 it is .36616780 (thin sheet)."""
    kappa, capacity, period = 0.006, 3256.0, 2.0
    length = np.sqrt(kappa * period / (np.pi * capacity))
    found = amplitude_per_watt(period, length, kappa, capacity)
    kelvin = np.hypot(ker(np.sqrt(2)), kei(np.sqrt(2)))
    assert kelvin == pytest.approx(0.36616780, rel=1e-6)
    assert found == pytest.approx(2 / np.pi * kelvin / (2 * np.pi * kappa), rel=1e-9)
