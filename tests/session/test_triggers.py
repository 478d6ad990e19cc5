"""Triggers: the machine against a plain reading of its rules, and the words there and back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermview.errors import UsageError
from thermview.frames import Frame, MarkKind, Scale
from thermview.session.triggers import (
    Action,
    DepartureState,
    Direction,
    Fired,
    Quantity,
    TriggerRule,
    TriggerState,
    parse_trigger,
)

NAN = math.nan
STEP_S = 0.1


def run(rule: TriggerRule, values: list[float], step_s: float = STEP_S) -> list[tuple[int, int]]:
    """Return (frame of the crossing, frame in which it fired) of all that fired."""
    state = TriggerState(rule)
    fired = [state.step(n * step_s, value) for n, value in enumerate(values)]
    return [(round(f.crossed_s / step_s), round(f.fired_s / step_s)) for f in fired if f]


def rise(threshold: float = 2.0, **settings: float) -> TriggerRule:
    return TriggerRule("U3", threshold, quantity=Quantity.RISE, **settings)  # type: ignore[arg-type]


def test_fires_once_at_the_crossing() -> None:
    assert run(rise(), [0, 1, 2, 2.1, 3, 4, 3]) == [(3, 3)]


def test_equal_is_not_beyond() -> None:
    assert run(rise(), [0, 2, 2, 2]) == []


def test_beyond_from_the_start_is_no_crossing() -> None:
    assert run(rise(), [5, 5, 1, 5]) == [(3, 3)]


def test_downwards() -> None:
    rule = TriggerRule("U3", 290.0, direction=Direction.DOWN, hysteresis=1.0)
    assert run(rule, [300, 290, 289.9, 290.5, 289, 291, 289]) == [(2, 2), (6, 6)]


def test_armed_anew_only_after_the_hysteresis() -> None:
    assert run(rise(hysteresis=0.5), [1, 3, 1.8, 3, 1.5, 3]) == [(1, 1), (5, 5)]
    assert run(rise(hysteresis=0.5), [1.8, 3, 1.8, 3, 1.4, 3]) == [(5, 5)]


def test_mark_stands_at_the_crossing_and_fires_when_it_stayed() -> None:
    assert run(rise(duration_s=0.3), [0, 3, 3, 3, 3, 3]) == [(1, 4)]
    assert run(rise(duration_s=0.3), [0, 3, 3, 1, 3, 3, 3, 3]) == [(4, 7)]


def test_short_excursion_leaves_it_armed() -> None:
    """Back over the threshold, but not by the hysteresis: nothing had fired, so it may."""
    assert run(rise(duration_s=0.2, hysteresis=1), [0, 3, 1.9, 3, 3, 3]) == [(3, 5)]


def test_frames_without_value_change_nothing() -> None:
    assert run(rise(), [0, NAN, NAN, 3]) == [(3, 3)]
    assert run(rise(), [NAN, 3, NAN, 3]) == []
    assert run(rise(duration_s=0.3), [0, 3, NAN, NAN, NAN, 3, 3]) == [(1, 5)]
    assert run(rise(duration_s=0.3), [0, 3, NAN, NAN, NAN, NAN]) == []


def test_crossings_in_the_hold_off_are_passed_over() -> None:
    rule = rise(hold_off_s=0.5)
    assert run(rule, [0, 3, 0, 3, 0, 3, 0, 3]) == [(1, 1), (7, 7)]
    # crossed at 4 within the hold-off and stays: passed over for good, until it crosses anew
    assert run(rule, [0, 3, 0, 0, 3, 3, 3, 3, 3, 0, 3]) == [(1, 1), (10, 10)]


walks = st.lists(
    st.one_of(st.sampled_from([0.0, 1.0, 1.5, 1.9, 2.0, 2.1, 3.0, NAN]), st.floats(-1, 5)),
    max_size=60,
)


@given(walks, st.sampled_from([0.0, 0.5, 1.0]), st.sampled_from([0.0, 0.2, 0.5]))
def test_whatever_comes_it_keeps_its_rules(
    values: list[float], hysteresis: float, duration_s: float
) -> None:
    fired = run(rise(hysteresis=hysteresis, duration_s=duration_s), values)
    last = -1
    for crossed, at in fired:
        stretch = [v for v in values[crossed : at + 1] if not math.isnan(v)]
        assert all(v > 2 for v in stretch)
        assert (at - crossed) * STEP_S >= duration_s - 1e-9
        assert not math.isnan(values[at])
        assert any(v <= 2 - hysteresis for v in values[last + 1 : crossed])  # it was armed
        known = [v for v in values[:crossed] if not math.isnan(v)]
        assert known[-1] <= 2  # so that this is where it crossed
        last = at


@given(walks, st.sampled_from([0.0, 0.2, 0.5]))
def test_downwards_is_upwards_in_the_mirror(values: list[float], duration_s: float) -> None:
    down = TriggerRule(
        "U3", -2.0, quantity=Quantity.RISE, direction=Direction.DOWN, duration_s=duration_s
    )
    assert run(down, [-v for v in values]) == run(rise(duration_s=duration_s), values)


@given(walks)
def test_longer_hold_off_never_fires_more(values: list[float]) -> None:
    counts = [len(run(rise(hold_off_s=seconds), values)) for seconds in (0.0, 0.5, 2.0, 60.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] <= 1


def test_marks_say_what_was_watched() -> None:
    rule = parse_trigger('"U3 left" max above 60 C for 0.5 s then mark, tone')
    mark = Fired(rule, 3.0, 3.5, 334.0).mark()
    assert (mark.time_s, mark.kind) == (3.0, MarkKind.TRIGGER)
    assert mark.text == '"U3 left" max above 60 C for 0.5 s'
    departed = Fired(parse_trigger("picture departs by 5 sigma"), 1.0, 1.1, 9.0, 12.4, 7.6).mark()
    assert departed.text == "picture departs by 5 sigma at x 12, y 8"


# --- words


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("U3 max above 60 C", TriggerRule("U3", 333.15)),
        ("U3 above 60°C", TriggerRule("U3", 333.15)),
        ("U3 min temperature below 300 K", TriggerRule("U3", 300, "min", Quantity.TEMPERATURE,
                                                       Direction.DOWN)),
        ("U3 mean rise above 2 K", TriggerRule("U3", 2, "mean", Quantity.RISE)),
        ("U3 max rise above 3.6 F", TriggerRule("U3", 2, "max", Quantity.RISE)),
        ("U3 max rate above 0.5 K/s", TriggerRule("U3", 0.5, "max", Quantity.RATE)),
        (
            "U3 max above 60 C for 0.5 s, hysteresis 1 K, hold-off 10 s then start recording, tone",
            TriggerRule(
                "U3", 333.15, duration_s=0.5, hysteresis=1, hold_off_s=10,
                actions=(Action.START_RECORDING, Action.TONE),
            ),
        ),
        ("picture max above 85 C", TriggerRule(None, 358.15)),
        ('"picture" max above 85 C', TriggerRule("picture", 358.15)),
        ('"U 3, \\"hot\\"" max above 85C', TriggerRule('U 3, "hot"', 358.15)),
        ("picture departs by 5 sigma", TriggerRule(None, 5, quantity=Quantity.DEPARTURE)),
    ],
)  # fmt: skip
def test_words_are_read(text: str, rule: TriggerRule) -> None:
    read = parse_trigger(text)
    assert read.threshold == pytest.approx(rule.threshold, abs=1e-9)
    assert parse_trigger(str(read)) == read
    assert str(read) == str(rule)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "expected a region's name or 'picture', got 'the end'"),
        ("U3", "expected min, mean or max, then temperature, rise or rate, then above or below"),
        ("U3 median above 3 K", "got 'median'"),
        ("U3 max above", "expected a number and its unit (K or C or F), got 'the end'"),
        ("U3 max above 60", "got '60'"),
        ("U3 max rate above 60 K", "(K/s or C/s or F/s), got '60 K'"),
        ("U3 max above 60 C for 3 min", "expected a number and its unit (s), got '3 min'"),
        ("U3 max above 60 C then dance", "expected mark, start recording, stop recording, still"),
        ("U3 max above 60 C then start", "expected recording, got 'the end'"),
        ("U3 max above 60 C 5", "expected for, hysteresis, hold-off, then or the end, got '5'"),
        ('"U3 max above 60 C', "expected a closing quote"),
        ("U3 max above -300 C", "a temperature must be above 0 K"),
        ("U3 max above 1e999 C", "must be a number"),
        ("U3 max above 6 C for -1 s", "duration must be 0 or more"),
        ("U3 departs by 5 sigma", "got 'departs'"),
        ("picture departs by 0 sigma", "more than 0 sigma"),
        ('"" max above 60 C', "must name a region"),
    ],
)
def test_words_that_make_no_rule(text: str, words: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_trigger(text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


numbers = st.floats(0, 1e6)
rules = st.one_of(
    st.builds(
        TriggerRule,
        region=st.none() | st.text(min_size=1, max_size=8).filter(str.strip)
        | st.sampled_from(["picture", "max", "above", "U3 B", 'a"b', "a\\"]),
        threshold=st.floats(1e-3, 1e6) | st.integers(200, 400).map(lambda c: c + 0.15),
        statistic=st.sampled_from(["min", "mean", "max"]),
        quantity=st.sampled_from([Quantity.TEMPERATURE, Quantity.RISE, Quantity.RATE]),
        direction=st.sampled_from(Direction),
        hysteresis=numbers,
        duration_s=numbers,
        hold_off_s=numbers,
        actions=st.lists(st.sampled_from(Action), min_size=1, unique=True).map(tuple),
    ),
    st.builds(
        TriggerRule,
        region=st.none(),
        threshold=st.floats(0.1, 100),
        quantity=st.just(Quantity.DEPARTURE),
        duration_s=numbers,
        hold_off_s=numbers,
    ),
)  # fmt: skip


@given(rules)
def test_words_there_and_back(rule: TriggerRule) -> None:
    back = parse_trigger(str(rule))
    if rule.quantity is Quantity.DEPARTURE:
        assert (back.threshold, back.duration_s) == (rule.threshold, rule.duration_s)
    else:
        assert back == rule


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse_trigger(text)
    except UsageError:
        return


# --- the whole picture


def test_departure_fires_with_its_place_and_holds_off() -> None:
    random = np.random.default_rng(4)
    scale = Scale(0.01)
    fired: list[Fired] = []
    state = DepartureState(parse_trigger("picture departs by 5 sigma hold-off 60 s"))
    for n in range(900):
        counts = 29600 + random.normal(0, 5, (48, 64))
        if 300 <= n < 600:  # on at 12 s, off at 24 s: both depart, the second in the hold-off
            counts[20:23, 30:33] += 60
        found = state.step(Frame(np.rint(counts).astype(np.uint16), n / 25, n, scale))
        fired += [found] if found else []
    assert len(fired) == 1
    assert fired[0].crossed_s == 12.0
    assert 12.0 <= fired[0].fired_s <= 12.2
    assert fired[0].x_px == pytest.approx(31.5, abs=1)
    assert fired[0].y_px == pytest.approx(21.5, abs=1)
