"""Random trials: reproducible, in range, true to what they say."""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest

from thermview.board import fit_homography
from thermview.simulation.motion import Shake
from thermview.simulation.scene import story
from thermview.simulation.story import Run
from thermview.simulation.trials import (
    KINDS,
    film,
    random_board,
    random_film,
    random_pair,
    random_story,
)


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_tells_a_consistent_story(kind: str) -> None:
    for seed in range(4):
        told = random_story(seed, kind)
        names = [p.designator for p in told.circuit.parts]
        assert "simulated" in told.title
        assert len(set(names)) == len(names)
        truth = told.truth
        assert truth.power_on_s is not None
        off = told.programme.powers_w(truth.power_on_s - 0.01, told.circuit.places)
        assert not off.any()
        on = told.programme.powers_w(truth.power_on_s + 9.0, told.circuit.places)
        if truth.part is not None and kind != "pulsed":
            assert on[names.index(truth.part)] == pytest.approx(truth.power_w, rel=1e-6)
        assert truth.heated == (kind != "quiet")
        assert bool(on.any() or kind == "pulsed") == truth.heated
        assert set(truth.meant_warm) <= set(names)
        rows, columns = told.camera.height_px, told.camera.width_px
        for corner in told.view.board_to_pixel(
            [(0, 0), (told.circuit.width_mm, 0), (0, told.circuit.height_mm)]
        ):
            assert -0.12 * columns < corner[0] < 1.12 * columns
            assert -0.12 * rows < corner[1] < 1.12 * rows


def test_boards_differ_and_their_parts_lie_apart() -> None:
    boards = [random_board(seed) for seed in range(6)]
    assert len({b.copper_um for b in boards}) == 6
    for board in boards:
        assert len(board.parts) > 60
        for one, other in itertools.combinations(board.parts, 2):
            a, b = one.outline_mm(), other.outline_mm()
            apart = (a.min(0) > b.max(0)) | (b.min(0) > a.max(0))
            assert apart.any(), (one, other)


def test_same_seed_same_film() -> None:
    told = replace(random_story(3, "shaky").sized(64, 48, 5.0), length_s=1.0)
    one, two = film(told, 3), film(told, 3)
    assert np.array_equal(one.counts, two.counts)
    assert np.array_equal(one.times_s, two.times_s)
    assert not np.array_equal(one.counts, film(told, 4).counts)


def test_fault_is_where_the_truth_says() -> None:
    trial = random_film(2, "others")
    assert trial.truth.power_on_s is not None
    kelvin = trial.scale.kelvin(trial.counts)
    rise = kelvin[-5:].mean(0) - kelvin[trial.times_s < trial.truth.power_on_s].mean(0)
    part = next(p for p in trial.parts if p.designator == trial.truth.part)
    u, v = fit_homography(trial.landmarks).board_to_pixel((part.x_mm, part.y_mm))
    around = rise[int(v) - 2 : int(v) + 3, int(u) - 2 : int(u) + 3]
    assert around.max() == rise.max()


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(KINDS))
def test_films_compute(kind: str) -> None:
    trial = random_film(11, kind)
    assert (np.diff(trial.times_s) > 0).all()
    assert trial.counts.shape[0] == len(trial.times_s) == len(trial.shutter)
    kelvin = trial.scale.kelvin(trial.counts[::20])
    assert kelvin.min() > 280
    assert kelvin.max() < 481


def test_pairs_are_one_model_with_one_cold_part() -> None:
    good, bad = random_pair(5)
    assert good.circuit == bad.circuit
    assert good.truth.part is None
    assert bad.truth.part is not None
    cold = bad.circuit.number(bad.truth.part)
    assert good.truth.power_on_s is not None
    healthy = good.programme.powers_w(8.0, good.circuit.places)
    faulty = bad.programme.powers_w(8.0, bad.circuit.places)
    assert healthy[cold] > 0 == faulty[cold]
    others = (healthy > 0) & (faulty > 0)
    assert others.sum() >= 3
    assert np.abs(faulty[others] / healthy[others] - 1).max() < 0.4


def test_shake_starts_at_rest_and_moves_as_far_as_it_says() -> None:
    rng = np.random.default_rng(0)
    travels = []
    for _ in range(20):
        shake = Shake.random(rng, (128.0, 96.0), 3.0, 0.5, 0.01)
        np.testing.assert_allclose(shake.at(0.0), np.eye(3), atol=1e-12)
        middle = [(shake.at(t) @ [128.0, 96.0, 1.0])[:2] for t in np.arange(0, 30, 0.1)]
        travels.append(np.std(middle, axis=0))
    assert np.mean(travels) == pytest.approx(3.0, rel=0.15)


def test_board_runs_well_under_half_a_core_at_25_frames_a_second() -> None:
    run = Run(story("good"), 0)  # 120 × 80 mm in cells of 0.5 mm, 256 × 192
    assert run.story.circuit.cell_mm <= 0.5
    began = time.process_time()
    while run.next_time_s < 4.0:
        run.frame()
    share = (time.process_time() - began) / 4.0
    print(f"the simulated board takes {share:.0%} of a core at 25 frames/s")
    assert share < 0.4
