"""Glowing tracks as paths: against the track that was drawn, and against what is none."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.sparse import lil_matrix
from scipy.sparse.csgraph import dijkstra

from thermview.analysis.heat.locate import analyse, footprints_of
from thermview.analysis.heat.nature import Nature
from thermview.analysis.heat.paths import _median_of_seven, _steps_through, _ways_from, find_paths
from thermview.analysis.prepare import Shots, take_of
from thermview.board import fit_homography
from thermview.simulation.trials import random_film, random_story

SHAPE = (120, 160)
Floats = NDArray[np.float64]


def glowing(corners: list[tuple[float, float]], noise_k: float, seed: int) -> Floats:
    """Heat spread from a line: exp(-r/L) around it, as a thin sheet with film loss has it.

    Carslaw & Jaeger, Conduction of Heat in Solids, on fins: steady heat across a line source.
    """
    rows, columns = SHAPE
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    away = np.full(SHAPE, np.inf)
    for (ax, ay), (bx, by) in pairwise(corners):
        along = (bx - ax) ** 2 + (by - ay) ** 2
        t = np.clip(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / along, 0, 1)
        away = np.minimum(away, np.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)))
    rise = gaussian_filter(np.exp(-away / 6.0), 0.8)
    return np.asarray(rise + np.random.default_rng(seed).normal(0, noise_k, SHAPE))


@pytest.mark.parametrize("seed", range(20))
def test_a_track_is_a_path_with_its_end(seed: int) -> None:
    rng = np.random.default_rng(seed)
    corner = (rng.uniform(50, 110), rng.uniform(40, 80))
    end = (corner[0] + rng.uniform(-25, 25), corner[1] + rng.choice([-1, 1]) * 28.0)
    drawn = [(0.0, corner[1] + rng.uniform(-10, 10)), corner, end]
    paths = find_paths(glowing(drawn, 0.02, seed))
    assert len(paths) == 1
    assert np.hypot(*(paths[0].points_px[-1] - end)) < 3.0
    along = [np.linspace(a, b, 30) for a, b in pairwise(drawn)]
    away = [paths[0].away_px(x, y) for x, y in np.concatenate(along).tolist()]
    assert np.mean(away) < 1.0  # pixels; a bend is cut by a few
    assert max(away) < 7.0
    length = sum(np.hypot(*np.subtract(a, b)) for a, b in pairwise(drawn))
    assert paths[0].length_px == pytest.approx(length, rel=0.15)


@pytest.mark.parametrize("radius_px", [1.0, 3.0, 8.0, 20.0])
def test_a_disc_is_none(radius_px: float) -> None:
    y, x = np.mgrid[0:120, 0:160] + 0.5
    for seed in range(10):
        rng = np.random.default_rng(seed)
        away = np.hypot(x - rng.uniform(30, 130), y - rng.uniform(30, 90))
        rise = np.exp(-np.maximum(away - radius_px, 0) / 8.0) + rng.normal(0, 0.02, SHAPE)
        assert find_paths(rise) == []


def test_neither_noise_nor_a_board_s_edge_nor_a_row_of_warm_parts_is_one() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        assert find_paths(gaussian_filter(rng.normal(0, 0.05, SHAPE), rng.uniform(0.3, 2.0))) == []
    edge = rng.normal(0, 0.02, SHAPE)
    edge[:, 60:] += 1.0
    assert find_paths(edge) == []
    row, outlines = np.zeros(SHAPE), []
    for x in range(30, 130, 9):
        row[50:54, x : x + 6] = 1.0
        outlines.append(np.array([[x, 50], [x + 6, 50], [x + 6, 54], [x, 54]], np.float64))
    row = gaussian_filter(row, 0.8) + rng.normal(0, 0.02, SHAPE)
    assert find_paths(row, outlines) == []


def test_on_a_simulated_board_the_track_is_told_and_no_part_is_blamed() -> None:
    """Trial 2 of its kind: a track from the board's edge to its edge, on one bend."""
    story, film = random_story(2, "track"), random_film(2, "track")
    kelvin = film.counts.astype(np.float32) * np.float32(film.scale.k_per_count)
    take = take_of(Shots(kelvin, film.times_s, np.zeros(len(kelvin), np.int64)))
    view = fit_homography(film.landmarks)
    prints = footprints_of(film.parts, view, take.shape)
    answer = analyse(take, prints, view.mm_per_px, view=view, supply=film.supply)
    tracks = [place for place in answer.elsewhere if place.path_px]
    assert len(tracks) == 1
    drawn = np.array(story.circuit.tracks[0].corners_mm)
    course = np.array(tracks[0].path_mm)
    bend_away = np.hypot(*(course - drawn[1]).T).min()
    assert bend_away < 4.0
    assert tracks[0].nature is Nature.HEATING
    assert (tracks[0].x_mm, tracks[0].y_mm) == tracks[0].path_mm[-1]
    assert not any(s.nature is Nature.HEATING for s in answer.suspects)


def test_the_median_of_seven_is_the_median() -> None:
    """All orders of noughts and ones: a network that sorts these sorts anything (Knuth's 0-1
    principle, The Art of Computer Programming 3, 5.3.4; from memory)."""
    rows = np.array(list(product((0.0, 1.0), repeat=7)), np.float32).T
    assert np.array_equal(_median_of_seven(rows), np.median(rows, axis=0))


@pytest.mark.parametrize("seed", range(5))
def test_ways_through_a_patch_are_the_shortest(seed: int) -> None:
    """Against SciPy's `sparse.csgraph.dijkstra`."""
    random = np.random.default_rng(seed)
    mask = random.random((14, 17)) < 0.7
    hidden = mask & (random.random(mask.shape) < 0.2)
    steps = _steps_through(mask, random.random(mask.shape) + 0.1, hidden)
    graph = lil_matrix((len(steps), len(steps)))
    for here, nexts in enumerate(steps):
        for there, cost in nexts:
            graph[here, there] = cost
    away, before = _ways_from(0, steps)
    assert away == pytest.approx(dijkstra(graph.tocsr(), indices=0))
    for here in np.flatnonzero(np.isfinite(away))[1:]:
        cost = dict(steps[before[here]])[here]
        assert away[before[here]] + cost == pytest.approx(away[here])
