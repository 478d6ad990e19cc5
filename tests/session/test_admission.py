"""What a source delivers, on one axis of time; nothing is lost without being counted."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from session_fakes import SCALE, picture

from thermview.frames import Frame, FrameFlag
from thermview.session.admission import Admission
from thermview.session.losses import LossCounter

PICTURE = picture(300.0)
TIMES = st.floats(-1e3, 1e6) | st.sampled_from([math.nan, math.inf])
STEPS = st.lists(st.tuples(TIMES, st.integers(0, 10**6), st.booleans()), max_size=40)


@given(steps=STEPS)
def test_times_always_increase_and_every_frame_is_counted(
    steps: list[tuple[float, int, bool]],
) -> None:
    losses = LossCounter()
    admission, taken = Admission(losses), []
    for arrival_s, (time_s, index, reopened) in enumerate(steps):
        if reopened:
            admission.reopened()
        frame = admission.take(Frame(PICTURE, time_s, index, SCALE), float(arrival_s))
        if frame is not None:
            taken.append(frame)
    times = [f.time_s for f in taken]
    assert all(np.isfinite(times))
    assert all(np.diff(times) > 0)
    counts = losses.now()
    assert counts.received == len(steps) == len(taken) + counts.damaged


def test_holes_in_the_numbering_are_counted_and_flagged() -> None:
    losses = LossCounter()
    admission = Admission(losses)
    frames = [
        admission.take(Frame(PICTURE, time_s, index, SCALE), 0.0)
        for time_s, index in ((0.0, 7), (0.1, 8), (0.4, 11))
    ]
    flags = [f.flags for f in frames if f is not None]
    assert flags == [FrameFlag.NONE, FrameFlag.NONE, FrameFlag.GAP_BEFORE]
    assert losses.now().source_lost == 2


def test_opened_anew_goes_on_after_the_time_that_passed() -> None:
    admission = Admission(LossCounter())
    admission.take(Frame(PICTURE, 50.0, 1000, SCALE), 10.0)
    admission.reopened()
    first = admission.take(Frame(PICTURE, 3.0, 0, SCALE), 14.5)
    second = admission.take(Frame(PICTURE, 3.1, 1, SCALE), 14.6)
    assert first is not None
    assert second is not None
    np.testing.assert_allclose([first.time_s, second.time_s], [54.5, 54.6])
    assert (first.index, second.index) == (1001, 1002)
    assert first.flags == FrameFlag.GAP_BEFORE
