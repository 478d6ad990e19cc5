"""When the power came on: curves that answer to it, among parts that mirror a hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.heat.switching import (
    LEAST_BEFORE_S,
    Series,
    Switching,
    course_of_switchings,
    find_switchings,
)
from thermview.analysis.responses import offsets, orthonormal
from thermview.analysis.waveform import Course

Floats = NDArray[np.float64]

TIMES = np.arange(0.0, 14.0, 0.08)
NOISE_K = 0.04
ON_S = 4.0
IDLE = offsets(np.zeros(len(TIMES), np.int64), TIMES - TIMES.mean())


def warming(lag_s: float, on_s: float = ON_S) -> Floats:
    """Return what one pole answers to a step: 1 - exp(-t/τ)."""
    return np.asarray(-np.expm1(-np.maximum(TIMES - on_s, 0.0) / lag_s))


def hand(seed: int, begin_s: float) -> Floats:
    """Return how a hand shows that comes within half a second, stays and trembles."""
    rng = np.random.default_rng(seed)
    here = np.clip((TIMES - begin_s) / 0.5, 0.0, 1.0)
    return np.asarray(here * (1.0 + 0.05 * np.cumsum(rng.normal(size=len(TIMES))) / 5.0))


def told(heats: dict[int, float], mirrors_k: float, seed: int) -> Course:
    """Return the course told by 24 parts, 40 px apart, of which some heat and all mirror.

    Around them the picture shows the hand that they mirror 0.3 s before.
    """
    rng = np.random.default_rng(seed)
    centres = np.stack(np.meshgrid(np.arange(6), np.arange(4)), axis=-1).reshape(-1, 2) * 40.0 + 20
    values = rng.normal(0.0, NOISE_K, (len(TIMES), len(centres)))
    values += np.outer(hand(seed, 8.0), mirrors_k * rng.uniform(0.2, 2.0, len(centres)))
    for part, rise_k in heats.items():
        values[:, part] += rise_k * warming(rng.uniform(1.0, 3.0))
    ring = hand(seed, 7.7)[:, None]
    around = [orthonormal(ring - IDLE @ (IDLE.T @ ring))] * len(centres)
    names = [f"P{at}" for at in range(len(centres))]
    series = Series(values, names, np.asarray(centres, np.float64))
    found = find_switchings(series, around, TIMES, IDLE, noise_k=NOISE_K)
    return course_of_switchings(found, TIMES, NOISE_K)


@pytest.mark.parametrize("seed", range(4))
def test_a_hand_that_all_parts_mirror_does_not_hide_the_step_of_the_one_that_heats(
    seed: int,
) -> None:
    assert told({9: 0.5}, 1.0, seed).on_s == pytest.approx(ON_S, abs=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_parts_that_heat_at_once_tell_the_step_that_they_share(seed: int) -> None:
    heats = {0: 1.5, 4: 0.8, 9: 2.0, 14: 1.2, 17: 0.6, 21: 1.0, 23: 1.8}
    assert told(heats, 0.0, seed).on_s == pytest.approx(ON_S, abs=0.5)


@pytest.mark.parametrize("alone", [False, True])
def test_no_switching_is_told_nearer_to_the_beginning_than_one_can_see(alone: bool) -> None:
    """What began to move before the recording, or just after, is no step of the supply's."""
    curve = warming(3.0, 0.3) + 0.5 * warming(0.5, 0.9)
    curve -= IDLE @ (IDLE.T @ curve)
    early = Switching(1.6, "P0", 50.0, 5000.0, curve, IDLE, calm=True, alone=alone)
    assert course_of_switchings([early], TIMES, NOISE_K).on_s >= LEAST_BEFORE_S


def test_a_recording_too_short_for_stairs_still_tells() -> None:
    short = TIMES[TIMES < 4.2]
    idle = offsets(np.zeros(len(short), np.int64))
    curve = np.sin(2.0 * short)
    curve -= idle @ (idle.T @ curve)
    one = Switching(2.0, "P0", 50.0, 5000.0, curve, idle, calm=True)
    assert LEAST_BEFORE_S <= course_of_switchings([one], short, NOISE_K).on_s < short[-1]
