"""What tells two boards' parts apart, on pictures drawn from closed solutions.

A disc on a sheet follows Carslaw & Jaeger's K0; a body by itself 1 - exp(-t/τ) (Incropera, chapter
5); blurs are SciPy's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.special import k0

from thermview.analysis.pair.align import Aligned, Aligner, View
from thermview.analysis.pair.apart import Change, apart_from_power, change_of
from thermview.analysis.pair.clock import Courses, find_power_on, warm_up
from thermview.analysis.pair.elsewhere import Elsewhere
from thermview.analysis.pair.fit import EDGE, JointFit
from thermview.analysis.pair.onto import onto
from thermview.analysis.pair.plane import Plane, Subject, highpass, mapped
from thermview.analysis.pair.softness import evened
from thermview.analysis.pair.templates import NARROW
from thermview.analysis.pair.verdict import Limits, verdicts, weigh
from thermview.analysis.prepare import Take

Floats = NDArray[np.float64]

PITCH_MM = 0.5
SHAPE = (60, 80)
NOISE_K = 0.05
ON_S = 4.0


def part(name: str, x: float, y: float, width: float, height: float) -> Subject:
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return Subject(name, corners * [width / 2, height / 2] + np.array([x, y]), 1e-3)


SUBJECTS = [
    part("U1", 10, 10, 5, 4),
    part("R1", 20, 8, 1.6, 0.8),
    part("C1", 25, 20, 2, 1.2),
    part("R2", 32, 10, 1.0, 0.5),
]
PLANE = Plane(np.zeros(2), PITCH_MM, SHAPE)


def drawn(subject: Subject) -> Floats:
    """Return a part's warm body, 1 K, as the share of each cell that it covers."""
    fine = 10
    rows, columns = SHAPE
    y, x = (np.mgrid[0 : rows * fine, 0 : columns * fine] + 0.5) / fine * PITCH_MM
    low, high = subject.outline_mm.min(axis=0), subject.outline_mm.max(axis=0)
    inside = (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])
    return np.asarray(inside.reshape(rows, fine, columns, fine).mean(axis=(1, 3)))


@pytest.mark.parametrize(("good", "bad"), [(0.7, 1.1), (1.0, 0.6), (0.8, 0.8)])
def test_the_softer_camera_is_found_whatever_the_parts_dissipate(good: float, bad: float) -> None:
    rng = np.random.default_rng(3)
    block = []
    for blur, powers in ((good, (20, 9, 30, 12)), (bad, (18, 20, 33, 13))):
        sharp = sum(p * drawn(s) for p, s in zip(powers, SUBJECTS, strict=True))
        seen = gaussian_filter(sharp, blur) + rng.normal(0, 0.02, SHAPE)
        block.append(seen[None])
    even, added = evened(np.stack(block).astype(np.float32), PLANE, SUBJECTS, 0.02)
    assert added == pytest.approx(abs(bad**2 - good**2), abs=0.1)
    soft = [i for i, before in enumerate(block) if not np.allclose(even[i], before, atol=0.2)]
    assert soft == ([] if good == bad else [int(good > bad)])


def test_parts_beside_one_that_differs_tell_nothing_of_blur() -> None:
    rng = np.random.default_rng(5)
    other = part("Q1", 21.5, 10, 2.4, 1.6)
    block = []
    for watts in (0.0, 200.0):
        sharp = sum(20 * drawn(s) for s in SUBJECTS) + watts * drawn(other)
        block.append((gaussian_filter(sharp, 0.8) + rng.normal(0, 0.02, SHAPE))[None])
    assert evened(np.stack(block).astype(np.float32), PLANE, SUBJECTS, 0.02)[1] < 0.1


TIMES_S = np.arange(0, 34, 0.16)
VIEW = View(np.diag([2.0, 2.0, 1.0]), PITCH_MM, np.zeros((0, 2)), exact=True)
COURSES = Courses.of_step(29.0)


@pytest.mark.parametrize("off_mm", [(0.25, -0.15), (-0.4, 0.1), (0.0, 0.0)])
def test_a_picture_is_laid_onto_the_other_whatever_the_parts_dissipate(
    off_mm: tuple[float, float],
) -> None:
    """The parts are drawn so far beside where the view has them."""
    rng = np.random.default_rng(5)
    beside = [replace(s, outline_mm=s.outline_mm + np.array(off_mm)) for s in SUBJECTS]
    pictures = [
        sum(p * gaussian_filter(drawn(s), 0.8) for p, s in zip(powers, parts, strict=True))
        + rng.normal(0, 0.02, SHAPE)
        for powers, parts in (((20, 9, 30, 12), SUBJECTS), ((18, 20, 33, 2), beside))
    ]
    still, moved = (p[None].astype(np.float32) for p in pictures)
    view = replace(VIEW, exact=False)
    laid = onto(
        Aligner(PLANE, SUBJECTS, COURSES),
        still,
        Aligned(view, np.zeros((8, 8)), 0.0, 0.0),
        lambda now: PLANE.rectify(moved, now.matrix, PITCH_MM),
        doubt=0.3**2 * np.eye(8),
        noise_k=0.02,
    )
    middles = np.stack([s.centre_mm for s in SUBJECTS])
    found = PITCH_MM * mapped(laid.view.matrix, middles) - middles
    assert found == pytest.approx(np.tile(off_mm, (len(middles), 1)), abs=0.04)


@pytest.fixture(scope="module")
def fit() -> JointFit:
    return JointFit(PLANE, SUBJECTS, COURSES)


def told(fit: JointFit, seen: Floats) -> list[str]:
    """Return the verdicts on what two boards show, shape (2, course, row, column)."""
    block = highpass(seen.reshape(-1, *SHAPE).astype(np.float32), NARROW).reshape(seen.shape)
    known = View(np.eye(3), PITCH_MM, np.zeros((0, 2)), exact=True)
    aligned = Aligned(known, np.zeros((8, 8)), 0.0, 0.0)
    weighed = weigh(fit.by_edges(block), PLANE, fit.subjects, (aligned, aligned), 0.01)
    return verdicts(weighed, Limits())


def test_a_parts_own_heat_has_its_edges_and_its_neighbours_does_not(fit: JointFit) -> None:
    """What a neighbour 5 mm off spreads, K0(r/Λ), is smooth under a part that stays as it was."""
    rows, columns = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5
    x, y = SUBJECTS[2].centre_mm / PITCH_MM
    away = np.hypot(columns - x - 10, rows - y)
    course = COURSES.body[3][:, None, None]
    warm = 5 * course * gaussian_filter(drawn(SUBJECTS[2]), 0.8)
    spread = 10 * course * k0(np.maximum(away, 3.0) / 20)
    rng = np.random.default_rng(4)
    still = rng.normal(0, 0.01, (2, COURSES.count, *SHAPE))
    assert told(fit, still + np.stack([warm, 0.2 * warm]))[2] == "colder"
    assert told(fit, still + np.stack([warm, 2.2 * warm]))[2] == "hotter"
    assert told(fit, still + np.stack([warm, warm + spread]))[2] == "alike"
    assert told(fit, still + np.stack([warm + spread, warm]))[2] == "alike"
    assert told(fit, still + np.stack([warm, 0.2 * warm + spread]))[2] == "colder"


def test_a_part_that_is_warm_in_its_middle_only_is_told(fit: JointFit) -> None:
    """What the model gets wrong of a part's shape goes with that part's own power."""
    course = COURSES.body[3][:, None, None]
    middle = 5 * course * gaussian_filter(drawn(part("middle", 10, 10, 1.5, 4)), 0.8)
    still = np.random.default_rng(8).normal(0, 0.01, (2, COURSES.count, *SHAPE))
    for ratio, verdict in ((0.2, "colder"), (1.0, "alike"), (2.2, "hotter")):
        said = told(fit, still + np.stack([middle, ratio * middle]))
        assert said == [verdict, "alike", "alike", "alike"]


def test_what_is_wrong_with_a_neighbours_shape_accuses_no_other() -> None:
    """A cold chip stands 0.5 mm beside a warm part that the model gets wrong, and that changes."""
    beside = [SUBJECTS[0], part("R9", 13.3, 10, 0.5, 1.0), *SUBJECTS[1:]]
    course = COURSES.body[3][:, None, None]
    still = np.random.default_rng(9).normal(0, 0.01, (2, COURSES.count, *SHAPE))
    for x_mm, width_mm in ((10, 1.5), (11.5, 2), (8.5, 2)):
        warm = 5 * course * gaussian_filter(drawn(part("half", x_mm, 10, width_mm, 4)), 0.8)
        for ratio in (0.1, 2.2):
            seen = still + np.stack([warm, ratio * warm])
            assert told(JointFit(PLANE, beside, COURSES), seen)[1:] == ["alike"] * 4


def test_a_shift_that_both_boards_share_is_little_doubt_of_their_difference(
    fit: JointFit,
) -> None:
    """A hot part 0.5 mm off its outline, on both boards alike, moves powers but not their ratio."""
    course = COURSES.body[3][:, None, None]
    moved = [replace(s, outline_mm=s.outline_mm + np.array([0.5, 0.3])) for s in SUBJECTS]
    sizes = np.array([(30, 5, 8, 3), (30, 5, 0.5, 3)])
    seen = np.array([[course * gaussian_filter(drawn(s), 0.8) for s in moved]])
    seen = np.einsum("bs,xscij->bcij", sizes, seen)
    seen = seen + np.random.default_rng(10).normal(0, 0.01, seen.shape)
    block = np.stack([highpass(p.astype(np.float32), NARROW) for p in seen])
    doubt = np.diag([0.5**2, 0, 0, 0.3**2, 0, 0, 0, 0])
    view = View(np.eye(3), PITCH_MM, np.zeros((0, 2)))
    alone = Aligned(view, doubt, 0.0, 0.5)
    laid = replace(alone, apart=1e-3 * doubt)
    by_itself, shared = (
        weigh(fit.by_edges(block), PLANE, SUBJECTS, pair, 0.01)
        for pair in ((alone, alone), (alone, laid))
    )
    assert shared.presence_w == pytest.approx(by_itself.presence_w)
    healthy = [0, 1, 3]
    assert np.all(shared.sigma_w[healthy] < by_itself.sigma_w[healthy])
    apart = np.abs(shared.power_w[1] - shared.level * shared.power_w[0])[healthy]
    assert np.all(apart < 3 * shared.sigma_w[healthy])
    assert verdicts(shared, Limits()) == ["alike", "alike", "colder", "alike"]


def test_the_model_is_as_wrong_at_a_part_as_close_by(fit: JointFit) -> None:
    """White noise moved over: a template's powers scatter by σ/|template| (least squares)."""
    noise = np.random.default_rng(6).normal(0, 0.05, (2, COURSES.count, *SHAPE))
    edges = np.stack([highpass(p.astype(np.float32), EDGE) for p in noise])
    found = fit.by_edges(np.zeros_like(edges))
    energy = np.einsum("scyx,scyx->syx", found.columns, found.columns)
    scattered = Elsewhere(replace(found, left=edges), PLANE, SUBJECTS, energy)
    for one, column in zip(scattered.powers_w, found.columns, strict=True):
        # what is left was high-passed as the template is: no more than white noise's
        white = 0.05 / np.sqrt(float(np.sum(column**2)))
        assert 0.4 * white < one.std() < 1.2 * white


def film(course: Floats, size_k: float, jump_s: float | None = None) -> Take:
    """Return pictures of one part that follows a course; the shutter may close at a moment."""
    rng = np.random.default_rng(7)
    picture = gaussian_filter(drawn(SUBJECTS[0]), 0.8)
    pictures = size_k * course[:, None, None] * picture + rng.normal(
        0, NOISE_K, (len(TIMES_S), *SHAPE)
    )
    segment = np.zeros(len(TIMES_S), dtype=np.int64)
    if jump_s is not None:
        pictures[jump_s < TIMES_S] += 0.4
        segment[jump_s < TIMES_S] = 1
    first = np.zeros(SHAPE, np.float32)
    return Take(
        pictures.astype(np.float32),
        first,
        TIMES_S,
        segment,
        NOISE_K,
        0,
        np.zeros((len(TIMES_S), 0)),
    )


def warming(tau_s: float) -> Floats:
    return np.asarray(1 - np.exp(-np.maximum(TIMES_S - ON_S, 0) / tau_s))


TALL = replace(SUBJECTS[0], height_m=6e-3)


def stepping(step_s: float, lag_s: float = 0.01) -> Floats:
    return np.asarray(1 - np.exp(-np.maximum(TIMES_S - step_s, 0) / lag_s))


def change(subject: Subject, seen: Take) -> Change:
    return change_of(subject, VIEW, seen, ON_S, COURSES)


@pytest.mark.parametrize("tau_s", [0.5, 3.0, 15.0])
def test_what_warms_with_the_power_follows_it(tau_s: float) -> None:
    assert not apart_from_power(change(SUBJECTS[0], film(warming(tau_s), 0.5)), Change())


@pytest.mark.parametrize("step_s", [1.5, 9.0, 20.0])
def test_what_is_mirrored_follows_the_room(step_s: float) -> None:
    """It is fainter than what passes: that is left out of the warm-up, and of this."""
    assert apart_from_power(change(SUBJECTS[0], film(stepping(step_s), 0.25)), Change())


@pytest.mark.parametrize("late_s", [-0.6, 0.0, 0.8])
def test_a_tall_body_is_no_quicker_than_its_mass(late_s: float) -> None:
    mirrored = film(stepping(ON_S + late_s, 0.3), 0.5)
    assert apart_from_power(change(TALL, mirrored), Change())
    assert not apart_from_power(change(SUBJECTS[0], mirrored), Change())
    assert not apart_from_power(change(TALL, film(warming(4.0), 0.5)), Change())


def test_a_step_down_on_the_other_board_makes_no_part_warmer() -> None:
    heat = change(SUBJECTS[0], film(warming(3.0), 1.0))
    both = change(SUBJECTS[0], film(warming(3.0) - stepping(15.0), 1.0))
    assert both.step_k == pytest.approx(-1.0, abs=0.3)
    assert apart_from_power(heat, both)
    assert not apart_from_power(heat, Change())


def test_a_hand_that_passes_is_no_step() -> None:
    seen = film(warming(3.0), 3.0)
    inner, hand = drawn(SUBJECTS[0]) > 0, np.flatnonzero(TIMES_S[-1] - 4.0 < TIMES_S)
    seen.rise_k[np.ix_(hand, *map(np.unique, np.nonzero(inner)))] += 6.0
    assert not apart_from_power(change(SUBJECTS[0], seen), Change())


@pytest.mark.parametrize("after_s", [0.3, 6.0])
def test_a_shutter_soon_after_the_power_leaves_the_warm_up(after_s: float) -> None:
    whole = warm_up(film(warming(3.0), 20.0), ON_S, COURSES)
    broken = warm_up(film(warming(3.0), 20.0, ON_S + after_s), ON_S, COURSES)
    size = float(np.abs(whole.coefficients).max())
    assert np.abs(broken.coefficients - whole.coefficients).max() < 0.05 * size
    assert np.abs(broken.rise_k - whole.rise_k).max() < 0.2


@pytest.mark.parametrize("tau_s", [0.5, 3.0, 15.0])
def test_power_on_is_found_within_a_frame_or_two(tau_s: float) -> None:
    assert find_power_on(film(warming(tau_s), 20.0)) == pytest.approx(ON_S, abs=0.33)


@pytest.mark.parametrize("gone_s", [2.0, ON_S + 1.5])
def test_a_hand_that_leaves_is_no_power(gone_s: float) -> None:
    """It is in the picture as the recording begins, warmer than the board by 10 K."""
    seen = film(warming(3.0), 20.0)
    seen.rise_k[gone_s > TIMES_S, :30, :20] += 10.0
    assert find_power_on(seen) == pytest.approx(ON_S, abs=0.33)


def test_a_strong_parts_first_seconds_look_half_like_a_step() -> None:
    """As a simulated driver of 0.7 W did, 8 s after power-on; a room's steps are weaker."""
    assert not apart_from_power(Change(1.7, 2.5), Change())
    assert apart_from_power(Change(0.3, 0.6), Change())
    assert apart_from_power(Change(1.7, 1.5), Change())
