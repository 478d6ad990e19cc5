"""No pixel column of a chart may lose an extreme, wherever it falls."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from thermview.analysis.decimate import PixelColumns, usual_step_s

VALUES = hnp.arrays(
    np.float32,
    st.integers(1, 300),
    elements=st.one_of(
        st.floats(-1000, 1000, width=32, allow_subnormal=False), st.just(np.float32(np.nan))
    ),
)


def slow_extremes(
    times_s: NDArray[np.float64],
    values: NDArray[np.float32],
    start: float,
    end: float,
    columns: int,
) -> list[tuple[float, float]]:
    """Do the same one column and one sample at a time."""
    at = np.linspace(start, end, columns + 1)
    result = []
    for left, right in itertools.pairwise(at):
        found = [
            float(v)
            for t, v in zip(times_s, values, strict=True)
            if left <= t < right and not np.isnan(v)
        ]
        result.append((min(found), max(found)) if found else (np.nan, np.nan))
    return result


@settings(max_examples=150, deadline=None)
@given(
    values=VALUES,
    steps=st.integers(0, 2**32 - 1),
    columns=st.integers(1, 60),
    window=st.tuples(st.floats(-0.5, 1.5), st.floats(0.01, 2.0)),
)
def test_every_columns_extremes_are_kept(
    values: NDArray[np.float32], steps: int, columns: int, window: tuple[float, float]
) -> None:
    times_s = np.cumsum(np.random.default_rng(steps).uniform(0.001, 0.1, len(values)))
    total_s = times_s[-1]
    start = window[0] * total_s
    end = start + window[1] * total_s
    low, high = PixelColumns.of(times_s, start, end, columns).extremes(values)
    expected = np.array(slow_extremes(times_s, values, start, end, columns), dtype=np.float32)
    np.testing.assert_array_equal(low, expected[:, 0])
    np.testing.assert_array_equal(high, expected[:, 1])


@settings(max_examples=100, deadline=None)
@given(values=VALUES, columns=st.integers(1, 200), seed=st.integers(0, 2**32 - 1))
def test_the_band_is_the_line_through_the_samples(
    values: NDArray[np.float32], columns: int, seed: int
) -> None:
    """Against numpy's own linear interpolation on a fine grid inside every column."""
    times_s = np.cumsum(np.random.default_rng(seed).uniform(0.01, 0.1, len(values)))
    start, end = times_s[0] - 0.05, times_s[-1] + 0.05
    low, high = PixelColumns.of(times_s, start, end, columns).band(values)
    at = np.linspace(start, end, columns + 1)
    for i in range(columns):
        inner = np.linspace(at[i], at[i + 1], 9)[:-1]  # a sample on the edge is the next one's
        line = np.interp(inner, times_s, values.astype(np.float64), left=np.nan, right=np.nan)
        line = line[np.isfinite(line)]
        if line.size:
            assert low[i] <= line.min() + 1e-3
            assert high[i] >= line.max() - 1e-3


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(2, 200), columns=st.integers(1, 400))
def test_neighbouring_columns_of_a_line_meet(seed: int, count: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    times_s = np.cumsum(rng.uniform(0.01, 0.1, count))
    values = rng.normal(size=count).astype(np.float32)
    low, high = PixelColumns.of(times_s, times_s[0], times_s[-1], columns).band(values)
    assert not np.isnan(low).any()
    assert (low[1:] <= high[:-1] + 1e-5).all()
    assert (high[1:] >= low[:-1] - 1e-5).all()


@pytest.mark.parametrize("spike", [0, 1, 37, 44_999, 89_927, 89_998, 89_999])
def test_a_spike_of_one_frame_in_an_hour_stays(spike: int) -> None:
    """Also in the trailing remainder: 90,000 is no multiple of 1,234 columns."""
    times_s = np.arange(90_000) / 25.0
    values = np.full(90_000, 23.0, dtype=np.float32)
    values[spike] = 95.0
    columns = PixelColumns.of(times_s, 0.0, 3600.0, 1234)
    low, high = columns.extremes(values)
    assert np.flatnonzero(high == 95.0).tolist() == [int(times_s[spike] / 3600.0 * 1234)]
    assert not np.isnan(low).any()


def test_growing_by_one_frame_shows_at_once() -> None:
    values = np.full(5000, 20.0, dtype=np.float32)
    for count in range(4000, 4100):
        times_s = np.arange(count) / 25.0
        values[count - 1] = 50.0
        _, high = PixelColumns.of(times_s, 0.0, 200.0, 777).extremes(values[:count])
        assert np.nanmax(high) == 50.0
        values[count - 1] = 20.0


def test_gaps_stay_gaps() -> None:
    times_s = np.concatenate([np.arange(100), np.arange(200, 300)]) / 10.0
    values = np.zeros(200, dtype=np.float32)
    values[20:40] = np.nan
    joined = PixelColumns.of(times_s, 0.0, 30.0, 300)
    parted = PixelColumns.of(times_s, 0.0, 30.0, 300, longest_step_s=0.3)
    assert not np.isnan(joined.band(values)[0][105:195]).any()
    low, _ = parted.band(values)
    assert np.isnan(low[101:199]).all()
    assert np.isnan(low[20:39]).all()
    assert not np.isnan(low[41:99]).any()


def test_nothing_to_draw() -> None:
    none = np.zeros(0)
    low, high = PixelColumns.of(none, 0.0, 1.0, 10).band(none.astype(np.float32))
    assert np.isnan(low).all()
    assert np.isnan(high).all()
    assert np.isnan(usual_step_s(none))
    assert usual_step_s(np.array([0.0, 0.1, 0.2, 5.0])) == pytest.approx(0.1)
