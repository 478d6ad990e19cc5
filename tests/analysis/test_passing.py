"""What passes through a picture is left out of it, and does not pass for power."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.pair.clock import Courses, find_power_on, warm_up
from thermview.analysis.pair.passing import without_passing
from thermview.analysis.prepare import Take

Floats = NDArray[np.float64]

ON_S, SECONDS, RATE_FPS = 3.0, 20.0, 8.0
NOISE_K = 0.05
SHAPE = (60, 80)


def warming(*, hand: bool) -> Take:
    """Return two parts that warm with one pole of 4 s; a hand comes over the fainter meanwhile."""
    rng = np.random.default_rng(4)
    times_s = np.arange(int(SECONDS * RATE_FPS)) / RATE_FPS
    rise = np.where(times_s > ON_S, -np.expm1(-(times_s - ON_S) / 4.0), 0.0)
    pictures = rng.normal(0, NOISE_K, (len(times_s), *SHAPE))
    pictures[:, 20:30, 20:32] += 5 * rise[:, None, None]
    pictures[:, 40:46, 60:66] += 2 * rise[:, None, None]
    if hand:
        there = (times_s > 11) & (times_s < 14)
        pictures[there, 30:60, 50:80] = 10.0 + rng.normal(0, NOISE_K, (there.sum(), 30, 30))
    zero = np.zeros(len(times_s), dtype=np.int64)
    block = pictures.astype(np.float32)
    return Take(block, block[0], times_s, zero, NOISE_K, 0, np.zeros((len(times_s), 0)))


def test_a_hand_does_not_pass_for_power() -> None:
    assert find_power_on(warming(hand=True)) == pytest.approx(ON_S, abs=2 / RATE_FPS)


def test_a_hand_over_every_part_does_not_pass_for_power() -> None:
    take = warming(hand=False)
    there = (take.times_s > 12) & (take.times_s < 16)
    take.rise_k[there] += np.float32(10.0) * (np.indices(SHAPE)[0] > 15)
    assert find_power_on(take) == pytest.approx(ON_S, abs=2 / RATE_FPS)


def test_a_part_under_a_passing_hand_reads_as_without_it() -> None:
    courses = Courses.of_step(SECONDS - ON_S)
    plain, passed = (warm_up(warming(hand=h), ON_S, courses) for h in (False, True))
    part = (slice(40, 46), slice(60, 66))
    apart = np.abs(passed.coefficients - plain.coefficients)[:, *part].mean(axis=(1, 2))
    size = np.abs(plain.coefficients[:, *part]).max()
    assert float(apart.max()) < 0.03 * size
    assert float(passed.rise_k[part].mean()) == pytest.approx(2.0, abs=0.1)


def test_without_a_hand_nothing_is_touched() -> None:
    take = warming(hand=False)
    courses = Courses.of_step(SECONDS - ON_S)
    table = [np.interp(take.times_s - ON_S, courses.times_s, c) for c in courses.active.T]
    table.append(np.ones(len(take.times_s)))
    assert without_passing(take.rise_k, np.stack(table, axis=1), NOISE_K) is take.rise_k


def test_heat_that_begins_a_frame_early_does_not_pass() -> None:
    take = warming(hand=False)
    quick = np.where(take.times_s > ON_S, -np.expm1(-(take.times_s - ON_S) / 0.2), 0.0)
    take.rise_k[:, 20:30, 20:32] += (3 * quick[:, None, None]).astype(np.float32)
    courses = Courses.of_step(SECONDS - ON_S)
    late_s = take.times_s - ON_S - 0.1
    late = [np.interp(late_s, courses.times_s, course) for course in courses.active.T]
    table = np.column_stack([*late, np.ones(len(late_s))])
    kept = without_passing(take.rise_k, table, NOISE_K) is take.rise_k
    assert kept  # compared by itself: the arrays are long
