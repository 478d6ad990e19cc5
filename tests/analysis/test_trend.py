"""Slopes: against scipy's Theil–Sen, against repeated trials, and live against whole curves."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from thermview.analysis.trend import RateMeter, Slope, is_settled, rates, robust_slope, upper_median
from thermview.errors import UsageError


@given(st.integers(0, 2**32 - 1), st.integers(2, 120))
def test_slope_is_scipys(seed: int, points: int) -> None:
    random = np.random.default_rng(seed)
    times = np.sort(random.uniform(0, 10, points)) + np.arange(points) * 1e-3
    values = random.normal(0, 1, points) + 0.3 * times
    expected = stats.theilslopes(values, times).slope
    assert robust_slope(times, values).per_s == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("points", [10, 50, 400, 1000, 5000])
def test_uncertainty_covers(points: int) -> None:
    """Over many trials the slopes scatter by what is stated."""
    random = np.random.default_rng(points)
    trials = 300 if points < 200 else 60
    times = np.arange(points) / 25
    found = [
        robust_slope(times, 0.2 * times + random.normal(0, 0.05, points)) for _ in range(trials)
    ]
    slopes = np.array([slope.per_s for slope in found])
    stated = float(np.median([slope.sigma_per_s for slope in found]))
    # the scatter of n trials is known to 1/sqrt(2n); three of those, and the small sample's bias
    assert slopes.std() / stated == pytest.approx(1, abs=3 / np.sqrt(2 * trials) + 0.1)
    assert slopes.mean() == pytest.approx(0.2, abs=4 * slopes.std() / np.sqrt(trials))


def test_spikes_leave_the_slope_alone() -> None:
    times = np.arange(100) / 25
    values = 0.5 * times
    values[::5] += 40
    assert robust_slope(times, values).per_s == pytest.approx(0.5, abs=0.02)


def test_few_points() -> None:
    assert np.isnan(robust_slope([], [])).all()
    assert np.isnan(robust_slope([1.0, 2.0], [np.nan, 3.0])).all()
    slope = robust_slope([1.0, 2.0, 4.0], [np.nan, 3.0, 7.0])
    assert slope.per_s == 2
    assert np.isnan(slope.sigma_per_s)


def test_settled() -> None:
    assert is_settled(Slope(0.005, 0.001))
    assert not is_settled(Slope(-0.05, 0.001))
    assert is_settled(Slope(-0.05, 0.1))  # nothing but noise so far
    assert is_settled(Slope(np.nan, np.nan))
    assert not is_settled(Slope(0.3, np.nan))


curves = st.integers(0, 2**32 - 1).map(np.random.default_rng)


@settings(deadline=None)
@given(curves, st.floats(0.3, 5), st.sampled_from([0.0, 0.02, 0.3]), st.booleans())
def test_live_rates_are_the_whole_curves_to_the_last_digit(
    random: np.random.Generator, window_s: float, lacking: float, even: bool
) -> None:
    steps = np.full(300, 0.04) if even else random.exponential(0.04, 300) + 1e-4
    steps[random.random(300) < 0.005] += 3.0  # gaps
    times, values = np.cumsum(steps), np.cumsum(random.normal(0, 1, 300))
    values[random.random(300) < lacking] = np.nan
    meter = RateMeter(window_s)
    live = [meter.push(float(t), float(v)) for t, v in zip(times, values, strict=True)]
    np.testing.assert_array_equal(live, rates(times, values, window_s))


@given(curves, st.floats(-5, 5), st.floats(0.5, 4))
def test_rate_of_a_straight_line(
    random: np.random.Generator, slope: float, window_s: float
) -> None:
    times = np.cumsum(random.uniform(0.02, 0.08, 200))
    found = rates(times, 300 + slope * times, window_s)
    known = ~np.isnan(found)
    np.testing.assert_allclose(found[known], slope, atol=1e-9)
    assert known[times > times[0] + window_s + 0.2].all()
    assert not known[times < times[0] + 0.99 * window_s].any()


def test_rate_near_the_best_straight_line_in_noise() -> None:
    """Scatter against least squares' own (Theil's incomplete median: 1.33 times)."""
    random = np.random.default_rng(5)
    times = np.arange(40_000) / 25
    found = rates(times, random.normal(0, 0.1, times.size), 3.0)
    found = found[~np.isnan(found)]
    least_squares = 0.1 * np.sqrt(12) / (75**1.5 / 25)
    assert found.std() / least_squares == pytest.approx(1.33, abs=0.1)


def test_spikes_leave_the_rate_alone() -> None:
    times = np.arange(500) / 25
    values = 0.5 * times
    values[::9] += 30
    found = rates(times, values, 3.0)
    np.testing.assert_allclose(found[~np.isnan(found)], 0.5, atol=1e-9)


def test_rates_of_an_hour_take_little() -> None:
    times = np.arange(90_000) / 25
    values = np.random.default_rng(1).normal(0, 0.05, times.size)
    start = time.process_time()
    rates(times, values, 3.0)
    assert time.process_time() - start < 0.25


def test_gap_and_start_have_no_rate() -> None:
    times = np.concatenate((np.arange(100), np.arange(400, 500))) / 25
    found = rates(times, times, 3.0)
    assert np.isnan(found[:75]).all()
    assert not np.isnan(found[77:100]).any()
    assert np.isnan(found[100:175]).all()
    assert not np.isnan(found[177:]).any()


@pytest.mark.parametrize("window_s", [0.0, -1.0, float("nan"), float("inf")])
def test_window_out_of_range(window_s: float) -> None:
    with pytest.raises(UsageError, match="above 0 s"):
        rates([0.0, 1.0], [0.0, 1.0], window_s)
    with pytest.raises(UsageError, match="above 0 s"):
        RateMeter(window_s)


def test_the_upper_median_is_numpys_of_an_odd_number() -> None:
    pictures = np.random.default_rng(5).normal(size=(9, 6, 7)).astype(np.float32)
    for axis in range(3):
        odd = pictures if pictures.shape[axis] % 2 else pictures[:, 1:]
        assert np.array_equal(upper_median(odd, axis), np.median(odd, axis=axis))
    assert upper_median(np.array([4.0, 1.0, 3.0, 2.0])) == 3.0  # of an even number the upper one
