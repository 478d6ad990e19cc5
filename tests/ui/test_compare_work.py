"""What the comparison's page is given: films in step, pictures on one grid, landmarks borrowed."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform, warp
from window_kit import write_warming

from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.equals import range_of
from thermview.analysis.pair.readings import Compared
from thermview.board import Landmark, fit_homography, format_landmarks
from thermview.session.boards import Board
from thermview.session.finding import Cycle
from thermview.sources import OpenOptions, open_footage
from thermview.ui.compare.films import Films, brought, rises_at
from thermview.ui.compare.live import live_state
from thermview.ui.compare.question import Answer, By
from thermview.ui.compare.result import summary_of
from thermview.ui.compare.table import range_text
from thermview.ui.compare.work import landmarks_of

CORNERS = ((0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0))
GOOD_PX = ((20.0, 130.0), (170.0, 125.0), (165.0, 20.0), (25.0, 22.0))
BAD_PX = ((30.0, 120.0), (150.0, 128.0), (158.0, 30.0), (22.0, 24.0))


def board(pixels: tuple[tuple[float, float], ...]) -> Board:
    marks = tuple(Landmark(mm, px) for mm, px in zip(CORNERS, pixels, strict=True))
    return Board((), fit_homography(marks), ("", format_landmarks(marks)))


def test_brought_agrees_with_scikit_image() -> None:
    rng = np.random.default_rng(5)
    picture = rng.normal(size=(40, 60)).astype(np.float32)
    there = np.array([[0.9, 0.05, 4.0], [-0.04, 1.05, 2.0], [2e-4, -1e-4, 1.0]])
    ours = brought(picture, there, 1.0, (40, 60))
    # its pixel centres are whole numbers, ours are halves: the same transform, shifted by a half
    half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    through = ProjectiveTransform(np.linalg.inv(half) @ there @ half)
    theirs = warp(picture, through, order=1, cval=np.nan)
    both = np.isfinite(ours) & np.isfinite(theirs)
    assert both.mean() > 0.8
    # OpenCV places pixels to a 32nd; two neighbours of unit noise then differ by some hundredths
    assert float(np.abs(ours - theirs)[both].max()) < 0.12
    assert float(np.sqrt(np.mean((ours - theirs)[both] ** 2))) < 0.02
    assert np.isnan(ours).any()  # beside the picture there is nothing


def test_a_finer_picture_is_blurred_to_the_grid() -> None:
    fine = np.zeros((80, 80), np.float32)
    fine[40, 40] = 1.0
    there = np.diag([2.0, 2.0, 1.0])
    coarse = brought(fine, there, 2.0, (40, 40))
    # a Gaussian of √((2·0.8)² - 0.8²) px spreads a point to 1/(2πσ²) at its middle
    assert float(np.nanmax(coarse)) < 1.0 / (2 * np.pi * (1.6**2 - 0.8**2)) * 1.05


def test_rises_are_those_of_the_file(tmp_path: Path) -> None:
    write_warming(tmp_path / "w.h5")
    footage = open_footage(str(tmp_path / "w.h5"), OpenOptions())
    try:
        rises = rises_at(footage, 1.0, np.array([-0.5, 0.4, 0.8]))
    finally:
        footage.close()
    # 10 K a second in the square from 1 s on, nothing elsewhere
    np.testing.assert_allclose(rises[:, 22, 44], [0.0, 4.0, 8.0], atol=0.02)
    np.testing.assert_allclose(rises[:, 5, 5], 0.0, atol=0.001)


def test_difference_has_what_is_common_taken_out() -> None:
    good = np.zeros((1, 10, 10), np.float32)
    bad = np.full((1, 10, 10), 0.4, np.float32)
    bad[0, 3, 3] = 5.4
    apart = Films(np.zeros(1), good, bad, 5.0, 5.0).difference_k(0)
    assert apart[3, 3] == pytest.approx(5.0)
    assert apart[0, 0] == pytest.approx(0.0)


def test_landmarks_come_through_matching_points() -> None:
    good, bad = board(GOOD_PX), board(BAD_PX)
    matching = tuple(zip(GOOD_PX, BAD_PX, strict=True))
    known = landmarks_of(good, bad, ())
    assert [m.pixel for m in known[0]] == list(GOOD_PX)
    for one, other in ((good, None), (None, bad)):
        marks = landmarks_of(one, other, matching)
        for mine, pixels in zip(marks, (GOOD_PX, BAD_PX), strict=True):
            for mark in mine:
                at = CORNERS[pixels.index(mark.pixel)]
                assert mark.board_mm == pytest.approx(at, abs=1e-6)


def test_an_unmoved_camera_lends_its_landmarks() -> None:
    marks = landmarks_of(board(GOOD_PX), None, ())
    assert marks[0] == marks[1]
    assert marks[0]


def test_the_answer_among_equals_in_one_line() -> None:
    """Three of four warm: said in words, whichever way the fourth differs."""

    def said(*verdicts: str) -> str:
        names = [f"U{n}" for n in range(1, len(verdicts) + 1)]
        subjects = tuple(
            Compared(name, 0, 0, 1, 1, 0.1, 0.1, 0.01, verdict)
            for name, verdict in zip(names, verdicts, strict=True)
        )
        found = cast(Comparison, SimpleNamespace(subjects=subjects))
        films = Films(np.zeros(1), None, np.zeros((1, 1, 1), np.float32), 1.0, 1.0)
        return summary_of(Answer(found, By.EQUAL_PARTS, {}, films, None, equals=(tuple(names),)))

    assert said("alike", "alike", "alike", "colder") == "3 of 4 equal parts warm, U4 does not"
    assert said("hotter", "alike", "alike") == "2 of 3 equal parts stay cooler, U1 is hotter"
    assert said("alike", "unreadable", "alike") == ("2 parts do as their equals, 1 cannot be told")
    assert said("colder", "hotter", "alike") == "1 colder and 1 hotter than their equals"


def test_the_least_and_the_largest_of_several_good_boards() -> None:
    def board_of_rise(rise_k: float) -> Comparison:
        one = Compared("U1", 0, 0, rise_k, 1.0, 0.2, 0.2, 0.01, "alike")
        return cast(Comparison, SimpleNamespace(subjects=(one,)))

    seen = [board_of_rise(0.51), board_of_rise(0.42), board_of_rise(0.47)]
    assert range_of(seen, "rise_good_k") == {"U1": (0.42, 0.51)}
    assert range_of(seen[:1], "rise_good_k") == {}
    words = range_text((0.42, 0.51), 0.5, lambda k: f"+{k:.2f} K")
    assert words == "+0.42 … +0.51 K"


def test_a_live_board_is_compared_when_there_is_something_new() -> None:
    times_s = np.arange(0.0, 20.0, 0.1)
    on = Cycle(5.0, None)
    assert live_state(None, times_s, None, None)[0].startswith("switch the board on")
    assert live_state(on, times_s[:80], None, None) == ("the board is warming up …", False)
    assert live_state(on, times_s, None, None)[1]
    assert not live_state(on, times_s, (5.0, 18.0), 13.0)[1]  # only two seconds are new
    assert live_state(on, times_s, (5.0, 16.0), 11.0)[1]
    assert "all of the known-good" in live_state(on, times_s, (5.0, 16.0), 8.0)[0]
    off = Cycle(5.0, 18.0)
    assert live_state(off, times_s, (5.0, 17.0), 11.0)[0].startswith("the power is off")
