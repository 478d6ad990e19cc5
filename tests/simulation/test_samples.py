"""The worked example's recordings: whole, said to be simulated, and made by the present program."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermview.board import fit_homography, load_landmarks, load_placement
from thermview.paths import sample_recordings
from thermview.recording.reader import open_recording
from thermview.regions import load_regions
from thermview.simulation.scene import STORIES, story
from thermview.sources import catalog
from thermview.sources.make_samples import SENSOR, write_story


def test_addresses_and_stories_are_the_same() -> None:
    assert set(catalog.STORIES) == set(STORIES)


@pytest.mark.parametrize("name", list(STORIES))
def test_recordings_come_with_all_that_belongs_to_them(name: str) -> None:
    folder = sample_recordings()
    film = open_recording(folder / f"{name}.h5")
    try:
        assert "simulated" in film.info.title
        assert film.info.simulated
        assert film.supply is not None
        assert film.supply.current_a[film.supply.time_s < 3.9].max() < 0.01
        assert film.supply.current_a.max() > 0.09
        assert len(film) == math.ceil(story(name).length_s * SENSOR[2])
        parts = load_placement(folder / f"{name}.parts.csv")
        view = fit_homography(load_landmarks(folder / f"{name}.landmarks.json"))
        regions = load_regions(folder / f"{name}.regions.json")
        assert len(parts) > 60
        assert view.residual_mm < 0.05
        assert len(regions.regions) >= 4
    finally:
        film.close()


@pytest.mark.parametrize("name", list(STORIES))
def test_recordings_are_what_the_program_makes_now(name: str, tmp_path: Path) -> None:
    path = write_story(replace(story(name), length_s=5.0), tmp_path)
    made, kept = open_recording(path), open_recording(sample_recordings() / f"{name}.h5")
    try:
        for number in (0, 10, len(made) - 1):
            now = made.frame(number).counts.astype(int)
            then = kept.frame(number).counts.astype(int)
            assert np.abs(now - then).max() <= 1  # another processor may round the other way
    finally:
        made.close()
        kept.close()


def test_all_together_stay_small() -> None:
    assert sum(f.stat().st_size for f in sample_recordings().iterdir()) < 15e6
