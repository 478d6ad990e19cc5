"""The strip's parts that need no window: time line, ticks, labels, the band painter."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from thermview.ui.strip.content import gap_spans, held_spans
from thermview.ui.strip.labels import spread
from thermview.ui.strip.raster import draw_band
from thermview.ui.strip.ticks import clock_text, signed, tick_text, time_ticks, value_ticks
from thermview.ui.strip.timeline import Timeline, ValueAxis, steady_range

# ---- the band painter --------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(
    ends=hnp.arrays(np.float64, (2, 7), elements=st.floats(-5, 25)),
    missing=st.sets(st.integers(0, 6)),
)
def test_a_band_covers_pixels_by_their_exact_share(
    ends: NDArray[np.float64], missing: set[int]
) -> None:
    """Against the overlap of the band with each pixel, one pixel at a time."""
    top, bottom = np.sort(ends, axis=0)
    bottom = bottom + 0.25
    top[list(missing)] = np.nan
    pixels = np.full((20, 9), 0xFF000000, dtype=np.uint32)
    draw_band(pixels, 1, top, bottom, 0xFF8040)
    for row, column in itertools.product(range(20), range(9)):
        share = 0.0
        if 1 <= column < 8 and not np.isnan(top[column - 1]):
            over = min(bottom[column - 1], row + 1) - max(top[column - 1], row)
            share = max(0.0, over)
        value = int(pixels[row, column])
        got = [(value >> shift) & 0xFF for shift in (24, 16, 8, 0)]
        expected = [255, 255 * share, 128 * share, 64 * share]
        assert got == pytest.approx(expected, abs=2.0)


def test_a_band_mixes_with_what_is_there() -> None:
    pixels = np.full((2, 1), 0xFF204060, dtype=np.uint32)
    draw_band(pixels, 0, np.array([0.5]), np.array([1.0]), 0xE08000)
    value = int(pixels[0, 0])
    assert [(value >> s) & 0xFF for s in (16, 8, 0)] == [0x80, 0x60, 0x30]
    assert pixels[1, 0] == 0xFF204060


def test_a_faint_band_lets_through_what_is_there() -> None:
    pixels = np.full((6, 1), 0xFF204060, dtype=np.uint32)
    draw_band(pixels, 0, np.array([1.0]), np.array([5.5]), 0xE08000, cover=0.5)
    whole, half = 0xFF806030, 0xFF505048  # a half of the colour, and a quarter of it
    found = pixels[:, 0].tolist()
    assert [found[0], *found[1:5], found[5]] == [0xFF204060, *[whole] * 4, half]


# ---- labels ------------------------------------------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(
    wanted=st.lists(st.floats(-50, 450), min_size=1, max_size=30),
    height=st.floats(4, 20),
)
def test_labels_never_overlap_and_stay_inside(wanted: list[float], height: float) -> None:
    places = spread(wanted, height, 0.0, 400.0)
    fitted = min(height, 400.0 / len(wanted))
    assert all(fitted / 2 - 1e-6 <= y <= 400 - fitted / 2 + 1e-6 for y in places)
    stacked = sorted(places)
    assert all(b - a >= fitted - 1e-6 for a, b in itertools.pairwise(stacked))
    order = np.argsort(wanted, kind="stable")
    assert [places[i] for i in order] == stacked


def test_labels_with_room_stay_where_they_are_wanted() -> None:
    assert spread([300.0, 20.0, 100.0], 16, 0, 400) == [300.0, 20.0, 100.0]
    assert spread([100.0, 100.0], 16, 0, 400) == [92.0, 108.0]
    assert spread([], 16, 0, 400) == []


# ---- ticks -------------------------------------------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(low=st.floats(-500, 500), span=st.floats(0.01, 1000), most=st.integers(1, 20))
def test_value_ticks_are_round_few_and_inside(low: float, span: float, most: int) -> None:
    ticks, decimals = value_ticks(low, low + span, most)
    assert len(ticks) <= most + 1
    for tick in ticks:
        assert low - 1e-6 * span <= tick <= low + span + 1e-6 * span
        assert round(tick, decimals) == pytest.approx(tick, abs=1e-9)


def test_ticks_by_hand() -> None:
    assert value_ticks(18.2, 61.0, 5) == ([20, 30, 40, 50, 60], 0)
    assert value_ticks(0.0, 0.5, 5) == ([0.0, 0.1, 0.2, 0.30000000000000004, 0.4, 0.5], 1)
    assert time_ticks(0.0, 3600.0, 8) == ([0, 600, 1200, 1800, 2400, 3000, 3600], 600)
    assert tick_text(0.5, 0.1) == "00:00.5"
    assert tick_text(3600, 600) == "1:00:00"


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        (12.48, "00:12.48"),
        (59.999, "01:00.00"),
        (3723.5, "1:02:03.50"),
        (-1.25, "−00:01.25"),
        (float("nan"), "--:--"),
    ],
)
def test_clock_text(time_s: float, text: str) -> None:
    assert clock_text(time_s) == text


def test_signed_numbers_have_no_minus_zero() -> None:
    assert signed(-0.04, 1, "+") == "0.0"
    assert signed(-0.06, 1, "+") == "−0.1"
    assert signed(2.0, 1, "+") == "+2.0"


# ---- time line ---------------------------------------------------------------------------------

ZOOMS = st.lists(
    st.one_of(
        st.tuples(st.just("zoom"), st.floats(0.3, 3.0), st.floats(0, 1)),
        st.tuples(st.just("pan"), st.floats(-100, 100), st.floats(0, 1)),
        st.tuples(st.just("reveal"), st.floats(0, 1), st.floats(0, 1)),
    ),
    max_size=12,
)


@settings(max_examples=150, deadline=None)
@given(moves=ZOOMS, last_s=st.floats(1, 5000))
def test_the_visible_stretch_never_leaves_the_film(
    moves: list[tuple[str, float, float]], last_s: float
) -> None:
    line = Timeline()
    line.set_film(0.0, last_s, live=False, follow=False)
    for kind, amount, share in moves:
        about_s = line.start_s + share * line.span_s
        if kind == "zoom":
            line.zoom(amount, about_s)
        elif kind == "pan":
            line.pan(amount)
        else:
            line.reveal(amount * last_s)
            assert line.start_s - 1e-9 <= amount * last_s <= line.end_s + 1e-9
        assert line.span_s > 0
        assert line.start_s >= -1e-9
        assert line.end_s <= last_s + 0.05 * line.span_s + 1e-6


def test_zoom_keeps_the_moment_under_the_cursor() -> None:
    line = Timeline()
    line.set_film(0.0, 100.0, live=False, follow=False)
    before = line.x_of(40.0, 1000)
    line.zoom(0.5, 40.0)
    assert line.x_of(40.0, 1000) == pytest.approx(before)
    assert line.time_of(before, 1000) == pytest.approx(40.0)
    assert line.span_s == pytest.approx(50.0)


def test_a_live_stretch_stands_still_between_steps() -> None:
    line = Timeline()
    stretches = set()
    for second in range(1, 61):
        line.set_film(0.0, float(second), live=True, follow=True)
        stretches.add((line.start_s, line.end_s))
        assert line.start_s <= second <= line.end_s
    assert sorted(stretches) == [(0, 10), (0, 20), (0, 30), (0, 60)]


def test_the_live_edge_stays_in_a_zoomed_view_only_when_followed() -> None:
    line = Timeline()
    line.set_film(0.0, 100.0, live=True, follow=True)
    line.zoom(0.1, 100.0)
    line.set_film(0.0, 130.0, live=True, follow=True)
    assert line.start_s <= 130.0 <= line.end_s
    before = (line.start_s, line.end_s)
    assert not line.set_film(0.0, 500.0, live=True, follow=False)
    assert (line.start_s, line.end_s) == before


def test_the_value_axis_and_its_inverse() -> None:
    axis = ValueAxis(20.0, 60.0, 10.0, 210.0)
    assert axis.y_of(60.0) == pytest.approx(10.0)
    assert axis.y_of(20.0) == pytest.approx(210.0)
    assert axis.value_of(axis.y_of(33.3)) == pytest.approx(33.3)
    assert steady_range((21.0, 59.0), (20.0, 60.0)) == (20.0, 60.0)
    assert steady_range((21.0, 61.0), (20.0, 60.0)) != (20.0, 60.0)
    assert steady_range((30.0, 40.0), (20.0, 60.0)) == pytest.approx((29.4, 40.6))


# ---- spans -------------------------------------------------------------------------------------


def test_held_and_missing_stretches() -> None:
    times_s = np.arange(10) / 10.0
    held = np.zeros(10, dtype=np.bool_)
    held[[2, 3, 9]] = True
    assert held_spans(times_s, held) == ((0.2, 0.4), (0.9, 0.9))
    assert held_spans(times_s, np.zeros(10, dtype=np.bool_)) == ()
    late = np.concatenate([times_s, times_s + 5.0])
    assert gap_spans(late, 0.4) == ((0.9, 5.0),)
