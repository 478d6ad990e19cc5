"""A view sharpened by the picture: against the simulator's own view, and from differing clicks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform

from thermview.analysis.pair.refine import refined_landmarks
from thermview.board import Landmark, Part, load_landmarks, load_placement
from thermview.errors import InputError
from thermview.frames import Footage, Frame, SourceInfo
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer
from thermview.simulation.trials import random_film

Clicks = list[Landmark]


def clicked(marks: Clicks, sigma_px: float, seed: int) -> Clicks:
    rng = np.random.default_rng(seed)
    return [
        Landmark(m.board_mm, (m.pixel[0] + float(dx), m.pixel[1] + float(dy)))
        for m, (dx, dy) in zip(marks, rng.normal(0.0, sigma_px, (len(marks), 2)), strict=True)
    ]


def middles(marks: Sequence[Landmark], places_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where scikit-image's own homography puts places, px."""
    view = ProjectiveTransform.from_estimate(
        np.array([m.board_mm for m in marks]), np.array([m.pixel for m in marks])
    )
    return np.asarray(view(places_mm))


def opened(samples: Path, name: str) -> tuple[Footage, list[Landmark], list[Part]]:
    footage = open_recording(samples / f"{name}.h5")
    marks = list(load_landmarks(samples / f"{name}.landmarks.json"))
    return footage, marks, list(load_placement(samples / f"{name}.parts.csv"))


@pytest.mark.parametrize("name", ["ramp-strong", "ramp-quiet", "pair-good"])
def test_differing_clicks_come_to_one_view(samples: Path, name: str) -> None:
    """On another program's recordings: the clicks' spread of a pixel shrinks to a third."""
    footage, marks, parts = opened(samples, name)
    places = np.array([(p.x_mm, p.y_mm) for p in parts])
    try:
        before, after = [], []
        for seed in range(3):
            given = clicked(marks, 1.0, seed)
            refined = refined_landmarks(given, parts, footage)
            before.append(middles(given, places))
            after.append(middles(refined.landmarks, places))
            assert 0 < refined.sigma_mm < 0.4
    finally:
        footage.close()
    spread = [float(np.std(np.stack(views), axis=0).mean()) for views in (before, after)]
    assert spread[1] < spread[0] / 3


def test_a_moving_camera_is_refused(samples: Path) -> None:
    footage, marks, parts = opened(samples, "ramp-handheld")
    try:
        with pytest.raises(InputError, match="hold it still"):
            refined_landmarks(marks, parts, footage)
    finally:
        footage.close()


def test_too_few_parts_are_refused(samples: Path) -> None:
    footage, marks, parts = opened(samples, "ramp-strong")
    try:
        with pytest.raises(InputError, match="3 parts are in view"):
            refined_landmarks(marks, parts[:3], footage)
    finally:
        footage.close()


def test_the_simulators_own_view_is_found(tmp_path: Path) -> None:
    """Clicks a pixel off come to within a third of a pixel of the true view (simulated boards)."""
    for seed in (3, 4, 5):
        film = random_film(seed, "strong")
        path = tmp_path / f"{seed}.h5"
        rows, columns = film.counts.shape[1:]
        info = SourceInfo("trial", "", columns, rows, film.scale, True, datetime.now(UTC))
        with Writer(path, info) as writer:
            for number, (counts, time_s) in enumerate(zip(film.counts, film.times_s, strict=True)):
                writer.take(Frame(counts, float(time_s), number, film.scale))
        true = list(film.landmarks)
        given = clicked(true, 1.0, seed)
        places = np.array([(p.x_mm, p.y_mm) for p in film.parts])
        footage = open_recording(path)
        try:
            refined = refined_landmarks(given, film.parts, footage, on_s=film.truth.power_on_s)
        finally:
            footage.close()
        off = [
            middles(marks, places) - middles(true, places) for marks in (given, refined.landmarks)
        ]
        before, after = (float(np.sqrt(np.mean(np.sum(apart**2, axis=1)))) for apart in off)
        assert after < 0.5 * before
        assert after < 0.5
