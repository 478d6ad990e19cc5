"""The warm-up's forecast: against SciPy's least squares, and whether its intervals hold."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from thermview.analysis.warmup import Forecast, fit_decays, forecast

Floats = NDArray[np.float64]


def curve(times_s: Floats, end_k: float, start_k: float, tau_s: float) -> Floats:
    return np.asarray(end_k + (start_k - end_k) * np.exp(-times_s / tau_s))


def test_agrees_with_scipy_curve_fit() -> None:
    """Two decays with known time constants between, SciPy's fit of the same two."""
    rng = np.random.default_rng(1)
    times = np.sort(rng.uniform(0.0, 600.0, 200))

    def two(times_s: Floats, end_k: float, quick_k: float, slow_k: float) -> Floats:
        return np.asarray(
            end_k - quick_k * np.exp(-times_s / 12.0) - slow_k * np.exp(-times_s / 120.0)
        )

    noisy = two(times, 335.0, 8.0, 30.0) + rng.normal(0.0, 0.1, len(times))
    found = fit_decays(times, noisy)
    assert found is not None
    best, covariance = curve_fit(two, times, noisy, p0=(330.0, 5.0, 20.0))
    told = found.forecast
    assert told.low_k < best[0] < told.high_k
    assert told.end_k == pytest.approx(best[0], abs=0.3)
    # more time constants than two are offered: never surer than the fit that knows both
    assert told.half_k > 1.96 * np.sqrt(covariance[0, 0])
    assert found.scatter_k == pytest.approx(0.1, rel=0.15)


@pytest.mark.parametrize("decays", [1, 2, 3])
@pytest.mark.parametrize("seen_s", [120.0, 400.0])
def test_the_interval_holds(decays: int, seen_s: float) -> None:
    """Sums of decays of one sign, whatever their number; 95 % is stated."""
    rng = np.random.default_rng(7)
    held = told = 0
    for _ in range(120):
        taus = np.exp(rng.uniform(np.log(3.0), np.log(200.0), decays))
        sizes = rng.uniform(2.0, 20.0, decays) * rng.choice([-1, 1])
        times = np.arange(0.0, seen_s, seen_s / rng.integers(100, 300))
        values = 300.0 + (1.0 - np.exp(-times[:, None] / taus)) @ sizes
        values += rng.normal(0.0, 0.05, len(times))
        found = forecast(times, values)
        if found is not None:
            told += 1
            held += found.low_k <= 300.0 + sizes.sum() <= found.high_k
    assert told > 25
    assert held / told > 0.92


def test_says_when_less_than_a_twentieth_is_left() -> None:
    times = np.arange(0.0, 50.0, 0.5)
    values = curve(times, 340.0, 300.0, 20.0)
    values += np.random.default_rng(2).normal(0.0, 0.05, len(times))
    found = forecast(times, values)
    assert found is not None
    assert found.settled_s == pytest.approx(20.0 * np.log(20.0), rel=0.03)


def told_at(part_of_tau: float, seed: int = 3) -> Forecast | None:
    rng = np.random.default_rng(seed)
    times = np.linspace(0.0, part_of_tau * 40.0, 100)
    return forecast(times, curve(times, 340.0, 300.0, 40.0) + rng.normal(0.0, 0.3, 100))


def test_nothing_is_told_before_it_can_be_known() -> None:
    assert told_at(0.2) is None  # as good as a straight line
    assert told_at(6.0) is not None


def test_noise_alone_and_straight_lines_tell_nothing() -> None:
    rng = np.random.default_rng(5)
    times = np.arange(0.0, 30.0, 0.1)
    for slope in (0.0, 0.05):
        noise = rng.normal(0.0, 0.05, len(times))
        assert forecast(times, 300.0 + slope * times + noise) is None
    assert forecast(times[:4], times[:4]) is None
    assert forecast(times, np.full(len(times), np.nan)) is None


def test_a_quick_part_on_a_slow_board_is_not_told_the_quick_end() -> None:
    # two exponentials: 5 K within seconds, 20 K with the board's 120 s
    rng = np.random.default_rng(6)
    for until_s in (10.0, 20.0, 40.0, 80.0, 160.0, 300.0):
        times = np.arange(0.0, until_s, 0.2)
        values = curve(times, 5.0, 0.0, 2.0) + curve(times, 320.0, 300.0, 120.0)
        found = forecast(times, values + rng.normal(0.0, 0.04, len(times)))
        if found is not None:
            # the interval is that of one exponential; within a tenth of the change all the same
            assert found.low_k - 2.5 <= 325.0 <= found.high_k + 2.5
    assert found is not None  # by 300 s it is told
