"""Statistics of regions: against plain numpy, and on a real infrared picture nobody here made."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from thermview.frames import Frame, Scale
from thermview.regions import (
    NO_STATS,
    Ellipse,
    Line,
    Polygon,
    Rectangle,
    RegionPixels,
    Shape,
    Spot,
    measure,
    pixel_mask,
)

SCALE = Scale(0.04, -273.15 + 250)
SIZE = (64, 80)

shapes = st.one_of(
    st.builds(Spot, st.floats(-9, 90), st.floats(-9, 70)),
    st.builds(Line, *[st.floats(-9, 90)] * 4),
    st.builds(Rectangle, *[st.floats(-9, 70)] * 2, *[st.floats(0.1, 90)] * 2),
    st.builds(Ellipse, *[st.floats(-9, 90)] * 2, *[st.floats(0.1, 60)] * 2),
    st.lists(st.tuples(st.floats(-9, 90), st.floats(-9, 70)), min_size=3, max_size=6).map(
        lambda points: Polygon(tuple(points))
    ),
)


@settings(max_examples=200, deadline=None)
@given(shapes, st.integers(0, 2**32 - 1), st.sampled_from([3, 500, 65536]))
def test_counts_as_plain_numpy_says(shape: Shape, seed: int, levels: int) -> None:
    """Few levels: many equal pixels, of which the first counts."""
    counts = np.random.default_rng(seed).integers(0, levels, SIZE).astype(np.uint16)
    counts.setflags(write=False)
    mask = pixel_mask(shape, SIZE)
    stats = measure(counts, RegionPixels.of(shape, SIZE), SCALE)
    if not mask.any():
        assert np.isnan(stats).all()
        return
    kelvin = SCALE.kelvin(counts)
    values = kelvin[mask]
    expected = (values.min(), values.mean(), values.max())
    np.testing.assert_allclose(stats[:3], expected, rtol=0, atol=1e-9)
    row, column = np.unravel_index(np.where(mask, kelvin, -np.inf).argmax(), SIZE)
    assert (stats.max_x, stats.max_y) == (column + 0.5, row + 0.5)
    row, column = np.unravel_index(np.where(mask, kelvin, np.inf).argmin(), SIZE)
    assert (stats.min_x, stats.min_y) == (column + 0.5, row + 0.5)


@settings(max_examples=100, deadline=None)
@given(shapes, st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.1, 0.9, 1.0]))
def test_floats_as_plain_numpy_says_without_nan(shape: Shape, seed: int, lacking: float) -> None:
    random = np.random.default_rng(seed)
    counts = random.normal(300, 5, SIZE).astype(np.float32)
    counts[random.random(SIZE) < lacking] = np.nan
    mask = pixel_mask(shape, SIZE)
    stats = measure(counts, RegionPixels.of(shape, SIZE), Scale(1.0))
    values = counts[mask].astype(np.float64)
    if np.isnan(values).all():
        assert np.isnan(stats).all()
        return
    expected = (np.nanmin(values), np.nanmean(values), np.nanmax(values))
    np.testing.assert_allclose(stats[:3], expected, rtol=0, atol=1e-9)
    assert counts[int(stats.max_y), int(stats.max_x)] == expected[2]
    assert counts[int(stats.min_y), int(stats.min_x)] == expected[0]


def test_mean_is_of_the_temperatures() -> None:
    """A curved conversion: the mean of the squares is not the square of the mean."""
    counts = np.array([[1, 2], [3, 10]], dtype=np.uint16)
    stats = measure(
        counts,
        RegionPixels.of(Rectangle(0, 0, 2, 2), (2, 2)),
        Scale(1.0),
        lambda values: np.square(values, dtype=np.float32),
    )
    assert tuple(stats) == (1, (1 + 4 + 9 + 100) / 4, 100, 1.5, 1.5, 0.5, 0.5)


def test_table_may_say_not_readable() -> None:
    table = np.full(65536, np.nan, np.float32)
    table[7] = 300.0
    counts = np.array([[6, 7, 8]], dtype=np.uint16)
    whole = RegionPixels.of(Rectangle(0, 0, 3, 1), (1, 3))
    stats = measure(counts, whole, Scale(1.0), table.take)
    assert tuple(stats) == (300, 300, 300, 1.5, 0.5, 1.5, 0.5)
    corner = RegionPixels.of(Spot(0, 0), (1, 3))
    assert measure(counts, corner, Scale(1.0), table.take) is NO_STATS


@pytest.mark.parametrize("masked", [True, False])
def test_sum_does_not_overflow(masked: bool) -> None:
    """Largest counts over a large sensor: 1280 x 1024 x 65535 is beyond 32 bits."""
    size = (1024, 1280)
    counts = np.full(size, 65535, np.uint16)
    shape: Shape = Ellipse(640, 512, 640, 512) if masked else Rectangle(0, 0, 1280, 1024)
    assert measure(counts, RegionPixels.of(shape, size), Scale(1.0)).mean_k == 65535.0
    as_float = counts.astype(np.float32) + np.float32(0.5)
    assert measure(as_float, RegionPixels.of(shape, size), Scale(1.0)).mean_k == pytest.approx(
        float(as_float[0, 0]), abs=1e-6
    )


def test_noncontiguous_frame() -> None:
    """A row or column may be cut away by the source, leaving a view."""
    raw = np.random.default_rng(4).integers(0, 65535, (70, 100)).astype(np.uint16)
    view = raw[3:67, 10:90]
    shape = Ellipse(40, 30, 20, 15)
    pixels = RegionPixels.of(shape, SIZE)
    plain = measure(view.copy(), pixels, SCALE)
    assert measure(view, pixels, SCALE) == plain
    converted = measure(view, pixels, SCALE, SCALE.kelvin)
    np.testing.assert_allclose(converted, plain, rtol=0, atol=1e-9)


def test_pixels_are_remembered_and_counted() -> None:
    shape = Ellipse(40, 30, 20, 15)
    pixels = RegionPixels.of(shape, SIZE)
    assert pixels is RegionPixels.of(Ellipse(40, 30, 20, 15), SIZE)
    assert len(pixels) == pixel_mask(shape, SIZE).sum() == len(pixels.indices)
    assert len(RegionPixels.of(Rectangle(2, 3, 4, 5), SIZE)) == 20
    assert len(RegionPixels.of(Rectangle(200, 3, 4, 5), SIZE)) == 0


def test_labelled_regions_as_scipy_ndimage_says() -> None:
    """scipy.ndimage measures labelled pixels: minimum, mean, maximum and their places."""
    counts = np.random.default_rng(9).integers(0, 65535, SIZE).astype(np.uint16)
    frame = Frame(counts, 0.0, 0, SCALE)
    areas: list[Shape] = [
        Rectangle(3, 4, 20, 10),
        Ellipse(60, 20, 15, 12.3),
        Polygon(((5, 30), (30, 33), (28, 60), (2, 50))),
    ]
    labels = np.zeros(SIZE, int)
    for number, shape in enumerate(areas, 1):
        labels[pixel_mask(shape, SIZE)] = number
    kelvin = frame.kelvin()
    index = [1, 2, 3]
    lows, highs, low_at, high_at = ndimage.extrema(kelvin, labels, index)
    means = ndimage.mean(kelvin, labels, index)
    for n, shape in enumerate(areas):
        stats = measure(frame.counts, RegionPixels.of(shape, SIZE), SCALE)
        np.testing.assert_allclose(stats[:3], (lows[n], means[n], highs[n]), rtol=0, atol=1e-9)
        assert (stats.max_y - 0.5, stats.max_x - 0.5) == tuple(high_at[n])
        assert (stats.min_y - 0.5, stats.min_x - 0.5) == tuple(low_at[n])
