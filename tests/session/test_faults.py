"""Marks of an intermittent fault against the regions' temperatures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.frames import Mark, MarkKind
from thermview.session.faults import fault_table, separating
from thermview.units import TemperatureUnit

TIMES = np.arange(0, 400, 0.5)
APPEARS, GONE = MarkKind.FAULT_APPEARS, MarkKind.FAULT_GONE


def cycles() -> tuple[dict[str, NDArray[np.float64]], list[Mark]]:
    """Four heatings and coolings of uneven speed; the fault lives in U7, at 48 to 51 °C."""
    u7, marks, limits = np.empty_like(TIMES), [], [48.2, 50.9, 49.5, 48.8]
    for n, limit in enumerate(limits):
        inside = slice(200 * n, 200 * (n + 1))
        phase = TIMES[inside] - TIMES[inside][0]
        u7[inside] = 25 + 40 * np.minimum(phase / (30 + 10 * n), (100 - phase) / (70 - 10 * n))
        up = phase[np.argmax(u7[inside] >= limit)]
        down = phase[len(phase) - 1 - np.argmax(u7[inside][::-1] >= limit - 6)]
        marks += [Mark(100 * n + up, APPEARS), Mark(100 * n + down, GONE, "loose?")]
    random = np.random.default_rng(1)
    curves = {
        "U3": 300 + np.cumsum(random.normal(0, 0.5, TIMES.size)),  # wanders by itself
        "U7": u7 + 273.15,
        "cold": np.full(TIMES.size, 296.0),
        "out of view": np.full(TIMES.size, math.nan),
    }
    return curves, marks


def test_table_names_the_region_and_its_band() -> None:
    curves, marks = cycles()
    table = fault_table([*marks, Mark(3.0), Mark(4.0, MarkKind.POWER_ON)], TIMES, curves)
    assert table[0].region == "U7"
    assert table[0].sentence() == "fault appears with U7 at 48–51 °C, 4 of 4"
    assert table[0].low_k == pytest.approx(48.2 + 273.15, abs=0.7)
    assert {row.region for row in table} == {"U3", "U7", "cold"}
    assert [row.kind for row in table] == [APPEARS] * 3 + [GONE] * 3
    assert table[0].narrowness < 0.25 < table[1].narrowness
    assert math.isnan(table[2].narrowness)
    best = separating(table)
    assert best is not None
    assert best.region == "U7"


def test_sentences_in_other_units_and_below_zero() -> None:
    curves = {"U7": np.array([250.0, 260.0, 270.0])}
    marks = [Mark(0.5, APPEARS), Mark(1.0, APPEARS)]
    (row,) = fault_table(marks, [0.0, 1.0, 2.0], curves)
    assert row.temperatures_k == (255.0, 260.0)
    assert row.sentence() == "fault appears with U7 at -18 to -13 °C, 2 of 2"
    assert row.sentence(TemperatureUnit.KELVIN) == "fault appears with U7 at 255–260 K, 2 of 2"


def test_held_frames_are_bridged_and_long_gaps_are_not() -> None:
    times = np.arange(0, 20, 0.5)
    curve = 300 + times
    curve[(times > 4) & (times < 5.5)] = math.nan
    curve[(times > 10) & (times < 15)] = math.nan
    marks = [Mark(4.9, APPEARS), Mark(12.0, APPEARS), Mark(19.6, APPEARS), Mark(30.0, APPEARS)]
    (row,) = fault_table(marks, times, {"U7": curve})
    np.testing.assert_allclose(row.temperatures_k, (304.9, math.nan, 319.5, math.nan))
    assert row.sentence() == "fault appears with U7 at 32–46 °C, 2 of 4"


def test_nothing_marked_nothing_tabulated() -> None:
    assert fault_table([], TIMES, cycles()[0]) == ()
    assert fault_table([Mark(1.0, APPEARS)], [], {"U7": []}) == ()
    (row,) = fault_table([Mark(99.0, GONE)], [0.0, 1.0], {"U7": [300.0, 301.0]})
    assert row.sentence() == "fault gone: temperature of U7 not known, 0 of 1"
    assert separating([row]) is None


@pytest.mark.parametrize("number", [3, 4, 8])
def test_narrowness_is_about_one_by_chance(number: int) -> None:
    random = np.random.default_rng(number)
    times = np.arange(1001.0)
    found = []
    for _ in range(400):
        marks = [Mark(t, APPEARS) for t in random.uniform(0, 1000, number)]
        found.append(fault_table(marks, times, {"U7": 300 + times / 10})[0].narrowness)
    assert np.mean(found) == pytest.approx(1, abs=float(4 * np.std(found) / 20))
