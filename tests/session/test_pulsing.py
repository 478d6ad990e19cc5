"""The pulse test over growing footage, on a recording of another simulator."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermview.board import part_outline_px
from thermview.session.boards import board_of
from thermview.session.finding import Window, window_of
from thermview.session.pulsing import Pulsed, PulseTest, later_power_w
from thermview.sources import OpenOptions, open_footage


def silent(done: int, total: int) -> None:
    pass


def test_in_pieces_as_in_one_and_the_limit_is_an_honest_one(samples: Path) -> None:
    path = samples / "ramp-pulsed.h5"
    truth = json.loads((samples / "truth.json").read_text())["ramp-pulsed"]
    footage = open_footage(str(path), OpenOptions())
    try:
        window = window_of(footage, footage.marks)
        assert isinstance(window, Window)
        assert window.period_s == pytest.approx(truth["period_s"], rel=0.01)
        once = PulseTest(window).advance(footage, window.end_s, silent)
        test = PulseTest(window)
        assert test.advance(footage, window.start_s + 6.0, silent) is None  # no two periods yet
        halfway = test.advance(footage, window.start_s + 22.0, silent)
        found = test.advance(footage, window.end_s, silent)
    finally:
        footage.close()
    assert isinstance(once, Pulsed)
    assert isinstance(halfway, Pulsed)
    assert isinstance(found, Pulsed)
    np.testing.assert_array_equal(once.harmonic.amplitude_k, found.harmonic.amplitude_k)

    board = board_of(footage, path)
    assert board is not None
    part = next(p for p in board.parts if p.designator == truth["part"])
    x, y = part_outline_px(part, board.view).mean(axis=0)
    row, column = np.unravel_index(
        int(np.argmax(found.harmonic.amplitude_k)), found.harmonic.amplitude_k.shape
    )
    assert np.hypot(column + 0.5 - x, row + 0.5 - y) < 2.0
    # what shows there is worth its power in limits, within a factor of two
    seen = found.harmonic.amplitude_k[row, column] / (3.0 * np.median(found.harmonic.noise_k))
    assert 0.5 < truth["power_W"] / (seen * found.least_w) < 2.0
    # what was promised halfway came true
    more_s = found.span_s - halfway.span_s
    assert found.least_w == pytest.approx(later_power_w(halfway, more_s), rel=0.1)


def test_what_drift_leaves_stays(samples: Path) -> None:
    """The camera's noise falls as 1/√t (2·NETD/√N), what drift adds does not: a/t + b."""
    footage = open_footage(str(samples / "ramp-pulsed.h5"), OpenOptions())
    try:
        window = window_of(footage, footage.marks)
        assert isinstance(window, Window)
        test = PulseTest(window)
        found = test.advance(footage, window.start_s + 20.0, silent)
    finally:
        footage.close()
    assert isinstance(found, Pulsed)
    white = replace(found, span_s=20.0, least_w=0.01, stays=0.0)
    assert later_power_w(white, 60.0) == pytest.approx(0.005)
    for share in (0.0, 0.5, 0.9, 1.0):
        drifting = replace(white, stays=share)
        expected = 0.01 * np.sqrt((1 - share**2) * 20.0 / 80.0 + share**2)
        assert later_power_w(drifting, 60.0) == pytest.approx(expected)
