"""A camera that is unplugged and plugged in again goes on in the same session and recording."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
from session_fakes import FakeClock, ScriptedSource, frame_at, info_of, until

from thermview.errors import DeviceError, SourceLostError
from thermview.frames import Frame, FrameFlag, MarkKind
from thermview.recording.reader import open_recording
from thermview.session.admission import Admission
from thermview.session.losses import LossCounter
from thermview.session.session import Session
from thermview.session.states import EventKind, SessionState

RETRY_S = 0.002


def later(number: int, zero_s: float) -> Frame:
    """Return a frame of a source whose own times go on from the first opening."""
    return replace(frame_at(number), time_s=zero_s + number * 0.04)


def test_twenty_returns_in_one_recording(tmp_path: Path) -> None:
    clock = FakeClock()
    sources = [
        ScriptedSource([later(i, 5.0 * n) for i in range(3)] + [SourceLostError("unplugged")])
        for n in range(20)
    ]
    sources.append(ScriptedSource([later(0, 100.0)]))
    waiting = iter(sources[1:])
    refusals = iter([True, True, False] * 21)

    def reopen() -> ScriptedSource:
        if next(refusals):
            raise DeviceError("not plugged in")
        clock.now_s += 5.0 - 0.08
        return next(waiting)

    session = Session.live(sources[0], reopen=reopen, clock=clock, retry_s=RETRY_S)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    until(lambda: session.losses.received == 61)
    assert session.state is SessionState.RUNNING
    session.close()
    with open_recording(tmp_path / "a.h5") as film:
        assert len(film) == 61
        wanted = [5.0 * n + 0.04 * i for n in range(20) for i in range(3)] + [100.0]
        np.testing.assert_allclose(film.times_s, wanted)
        assert [m.time_s for m in film.marks] == [5.0 * n for n in range(1, 21)]
        assert {m.kind for m in film.marks} == {MarkKind.GAP}
        gaps = [n for n in range(61) if FrameFlag.GAP_BEFORE in film.frame(n).flags]
        assert gaps == list(range(3, 61, 3))


def test_the_loss_is_told_at_once_and_waiting_can_be_ended() -> None:
    asked = threading.Event()

    def reopen() -> ScriptedSource:
        asked.set()
        raise DeviceError("not plugged in")

    source = ScriptedSource([frame_at(0), SourceLostError("the camera is gone; plug it in again")])
    session = Session.live(source, reopen=reopen, retry_s=RETRY_S)
    session.start()
    assert asked.wait(5)
    assert session.state is SessionState.RECONNECTING
    assert session.trouble == "the camera is gone; plug it in again; it will go on by itself"
    states = [e.data for e in session.take_events() if e.kind is EventKind.STATE]
    assert states == [SessionState.RECONNECTING]
    session.reconnect()  # is on its way already
    session.close()


def test_another_camera_in_its_place_is_not_taken() -> None:
    other = ScriptedSource(info=info_of((5, 5)))
    source = ScriptedSource([SourceLostError("gone")])
    session = Session.live(source, reopen=lambda: other, retry_s=RETRY_S)
    session.start()
    until(lambda: session.state is SessionState.FAILED)
    assert "5 x 5" in session.trouble
    session.close()


def test_what_a_source_notices_is_told() -> None:
    class Noticing(ScriptedSource):
        words: tuple[str, ...] = ("the whole picture jumped",)

        def take_warnings(self) -> list[str]:
            words, self.words = list(self.words), ()
            return words

    session = Session.live(Noticing([frame_at(0)]))
    session.start()
    until(lambda: session.losses.received == 1)
    told: list[str] = []

    def heard() -> bool:
        told.extend(e.text for e in session.take_events() if e.kind is EventKind.WARNING)
        return bool(told)

    until(heard)
    assert told == ["the whole picture jumped"]
    session.close()


def test_late_frames_are_counted_apart_from_lost_ones() -> None:
    losses = LossCounter()
    admission = Admission(losses)
    moments = [0.04 * n for n in range(10)]
    moments += [moments[-1] + 0.1, moments[-1] + 0.14]  # late, then in time
    frames = [replace(frame_at(n), time_s=t) for n, t in enumerate(moments)]
    frames.append(replace(frame_at(14), time_s=moments[-1] + 0.12))  # two lost: not late
    for frame in frames:
        admission.take(frame, frame.time_s)
    assert (losses.now().late, losses.now().source_lost) == (1, 2)
