"""A live session from its first frame to its end, and what may come between."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
from session_fakes import FakeClock, Film, ScriptedSource, frame_at, info_of, until

from thermview.errors import OutputError, SourceLostError, UsageError
from thermview.frames import Frame, FrameFlag, MarkKind, SupplySample
from thermview.recording.reader import open_recording
from thermview.regions import Region, RegionSet, Spot
from thermview.session.live import QUEUE_FRAMES, LiveFeed
from thermview.session.losses import LossCounter
from thermview.session.session import Session
from thermview.session.states import EventKind, SessionState

SPOT = Region("U1", Spot(2, 2))


def state_of(session: Session) -> SessionState:
    """Read the state afresh (a type checker takes a property to stay as it was)."""
    return session.state


def test_frames_are_measured_as_they_come() -> None:
    source = ScriptedSource([frame_at(i, 300 + i) for i in range(5)])
    session = Session.live(source)
    session.set_regions(RegionSet((SPOT,)))
    assert state_of(session) is SessionState.IDLE
    session.start()
    source.end()
    assert session.wait(5)
    assert state_of(session) is SessionState.ENDED
    np.testing.assert_allclose(session.curves.column(SPOT.id, "max"), [300, 301, 302, 303, 304])
    latest = session.latest()
    assert latest is not None
    assert latest.index == 4
    assert session.losses.received == 5
    assert session.losses.lost == 0
    session.close()
    session.close()


def test_silence_is_a_stall_until_a_frame_comes() -> None:
    clock, source = FakeClock(), ScriptedSource([frame_at(0)])
    session = Session.live(source, clock=clock, stall_s=1.0)
    session.start()
    until(lambda: session.losses.received == 1)
    assert state_of(session) is SessionState.RUNNING
    assert session.trouble == ""
    clock.now_s += 1.5
    assert state_of(session) is SessionState.STALLED
    assert "cable" in session.trouble
    source.feed(frame_at(1))
    until(lambda: session.state is SessionState.RUNNING)
    session.close()


def test_lost_source_fails_and_goes_on_after_reconnecting() -> None:
    clock = FakeClock()
    first = ScriptedSource([frame_at(i) for i in range(3)])
    second = ScriptedSource([frame_at(i, 310) for i in range(2)])
    session = Session.live(first, reopen=lambda: second, clock=clock)
    session.set_regions(RegionSet((SPOT,)))
    session.start()
    until(lambda: session.losses.received == 3)
    first.feed(SourceLostError("unplugged"))
    assert session.wait(5)
    assert state_of(session) is SessionState.FAILED
    assert session.trouble == "unplugged; reconnect to go on"
    clock.now_s += 7.0
    session.reconnect()
    until(lambda: session.losses.received == 5)
    second.end()
    assert session.wait(5)
    np.testing.assert_allclose(session.footage.times_s, [0, 0.04, 0.08, 7.08, 7.12])
    assert [m.kind for m in session.marks] == [MarkKind.GAP]
    assert session.marks[0].time_s == pytest.approx(7.08)
    assert FrameFlag.GAP_BEFORE in session.footage.frame(3).flags
    assert session.losses.source_lost == 0
    np.testing.assert_allclose(session.curves.column(SPOT.id, "mean"), [300] * 3 + [310] * 2)
    states = [e.data for e in session.take_events() if e.kind is EventKind.STATE]
    assert states == [SessionState.ENDED]
    session.close()


def test_reconnecting_that_fails_says_why_and_can_be_tried_again() -> None:
    answers: list[ScriptedSource] = []

    def reopen() -> ScriptedSource:
        if not answers:
            raise SourceLostError("still unplugged")
        return answers.pop()

    first = ScriptedSource([frame_at(0), SourceLostError("unplugged")])
    session = Session.live(first, reopen=reopen)
    session.start()
    assert session.wait(5)
    session.reconnect()
    assert session.wait(5)
    assert "still unplugged" in session.trouble
    answers.append(ScriptedSource([frame_at(0)]))
    session.reconnect()
    until(lambda: session.losses.received == 2)
    until(lambda: session.state is SessionState.RUNNING)
    session.close()


def test_nothing_to_reconnect() -> None:
    session = Session.live(ScriptedSource())
    with pytest.raises(UsageError):
        session.reconnect()
    session.close()
    replay = Session.replay(Film([frame_at(0)]))
    with pytest.raises(UsageError):
        replay.reconnect()
    replay.close()


def test_a_drivers_own_error_is_told() -> None:
    class Broken(ScriptedSource):
        def read(self, timeout_s: float) -> None:
            raise ZeroDivisionError("the driver's own")

    session = Session.live(Broken())
    session.start()
    assert session.wait(5)
    assert state_of(session) is SessionState.FAILED
    assert "ZeroDivisionError" in session.trouble
    session.close()


def test_holes_repeats_and_damage_are_counted() -> None:
    frames = [
        frame_at(0),
        frame_at(3),
        frame_at(4, flags=FrameFlag.DAMAGED),
        frame_at(5, flags=FrameFlag.REPEATED),
        frame_at(5),
    ]
    source = ScriptedSource(frames)
    session = Session.live(source)
    session.set_regions(RegionSet((SPOT,)))
    session.start()
    source.end()
    assert session.wait(5)
    losses = session.losses
    assert (losses.received, losses.source_lost, losses.damaged, losses.repeated) == (5, 2, 2, 1)
    assert len(session.footage) == 4
    assert FrameFlag.GAP_BEFORE in session.footage.frame(1).flags
    assert np.isnan(session.curves.column(SPOT.id, "max")).tolist() == [False, False, True, False]
    assert session.curves.held.tolist() == [False, False, True, False]
    session.close()


def test_recording_with_frames_from_before(tmp_path: Path) -> None:
    source = ScriptedSource([frame_at(i, 300 + i) for i in range(10)])
    source.samples = [SupplySample(0.01 * i, 5.0, 0.1) for i in range(30)]
    session = Session.live(source)
    session.start()
    until(lambda: session.losses.received == 10 and session.supply is not None)
    until(lambda: len(session.footage) == 10)
    session.add_mark(MarkKind.POWER_ON, 0.3)
    path = tmp_path / "a.h5"
    session.start_recording(path, pre_trigger_s=0.1)
    with pytest.raises(UsageError):
        session.start_recording(tmp_path / "b.h5")
    source.feed(*(frame_at(i, 300 + i) for i in range(10, 15)))
    until(lambda: len(session.footage) == 15)
    session.add_mark(MarkKind.NOTE, 0.5, "seen")
    session.remove_mark(session.add_mark(MarkKind.PLAIN, 0.5, "a slip"))
    summary = session.stop_recording()
    assert summary is not None
    assert (summary.frames, summary.dropped, summary.trouble) == (8, 0, "")
    assert session.recording is None
    with pytest.raises(OutputError):
        session.start_recording(path)
    session.close()
    with open_recording(path) as film:
        np.testing.assert_allclose(film.times_s, np.arange(7, 15) * 0.04)
        assert [film.frame(i).counts[0, 0] for i in range(8)] == [30700 + 100 * i for i in range(8)]
        assert [m.kind for m in film.marks] == [MarkKind.POWER_ON, MarkKind.NOTE]
        assert film.supply is not None
        assert film.supply.time_s[0] >= 0.28 - 1e-9


def test_closing_in_the_middle_keeps_every_frame_received(tmp_path: Path) -> None:
    source = ScriptedSource([frame_at(i) for i in range(40)])
    session = Session.live(source)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    until(lambda: session.losses.received == 40)
    session.close()
    with open_recording(tmp_path / "a.h5") as film:
        assert len(film) == 40


def test_what_left_the_memory_is_read_from_the_recording(tmp_path: Path) -> None:
    one = frame_at(0).counts.nbytes
    source = ScriptedSource([frame_at(i, 300 + i) for i in range(50)])
    session = Session.live(source, history_bytes=4 * one)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    source.end()
    assert session.wait(5)
    footage = session.footage
    until(lambda: footage.first == 0)
    assert [footage.frame(i).counts[0, 0] for i in (0, 20, 49)] == [30000, 32000, 34900]
    session.stop_recording()
    assert footage.frame(10).counts[0, 0] == 31000
    session.close()


def test_a_recording_that_no_longer_reaches_the_memory_is_left_out(tmp_path: Path) -> None:
    source = ScriptedSource([frame_at(i) for i in range(10)])
    session = Session.live(source, history_bytes=4 * frame_at(0).counts.nbytes)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    until(lambda: len(session.footage) == 10)
    session.stop_recording()
    assert session.footage.first == 0
    source.feed(*(frame_at(i) for i in range(10, 14)))
    until(lambda: len(session.footage) == 14)
    assert session.footage.first == 0, "the file ends where the memory begins"
    source.feed(frame_at(14))
    until(lambda: len(session.footage) == 15)
    assert session.footage.first == 11
    session.close()


def test_without_a_recording_old_frames_go() -> None:
    one = frame_at(0).counts.nbytes
    source = ScriptedSource([frame_at(i) for i in range(50)])
    session = Session.live(source, history_bytes=4 * one)
    session.start()
    source.end()
    assert session.wait(5)
    assert session.footage.first == 46
    with pytest.raises(Exception, match="no longer held"):
        session.footage.frame(3)
    with pytest.raises(IndexError):
        session.footage.frame(50)
    session.close()


def test_regions_drawn_later_are_measured_on_past_frames() -> None:
    source = ScriptedSource([frame_at(i, 300 + i) for i in range(30)])
    session = Session.live(source)
    session.start()
    until(lambda: len(session.footage) == 30)
    session.set_regions(RegionSet((SPOT,)))
    source.feed(*(frame_at(i, 300 + i) for i in range(30, 60)))
    source.end()
    assert session.wait(5)
    assert session.wait_measured(5)
    np.testing.assert_allclose(session.curves.column(SPOT.id, "min"), 300 + np.arange(60))
    session.close()


def test_a_slow_pipeline_drops_and_counts_and_the_gap_shows() -> None:
    busy, go = threading.Event(), threading.Event()

    class Slow:
        frames: ClassVar[list[Frame]] = []

        def take_frame(self, frame: Frame, *, resumed: bool) -> None:
            busy.set()
            go.wait(5)
            self.frames.append(frame)

        def take_supply(self, samples: tuple[SupplySample, ...]) -> None:
            pass

        def take_warning(self, words: str) -> None:
            pass

    losses, taker = LossCounter(), Slow()
    source = ScriptedSource([frame_at(0)])
    feed = LiveFeed(source, taker, losses, reopen=None, clock=FakeClock(), stall_s=1.0)
    feed.start()
    assert busy.wait(5)
    source.feed(*(frame_at(i) for i in range(1, 100)))
    until(lambda: losses.now().received == 100)
    assert losses.now().queue_dropped == 99 - QUEUE_FRAMES
    go.set()
    until(lambda: len(taker.frames) == 1 + QUEUE_FRAMES)
    source.feed(frame_at(100))
    source.end()
    assert feed.wait(5)
    assert FrameFlag.GAP_BEFORE in taker.frames[-1].flags
    assert losses.now().received == len(taker.frames) + losses.now().queue_dropped
    feed.close()


def test_closing_while_the_source_is_being_opened_anew() -> None:
    asked, answer = threading.Event(), threading.Event()
    late = ScriptedSource([frame_at(0)])

    def reopen() -> ScriptedSource:
        asked.set()
        answer.wait(5)
        return late

    session = Session.live(ScriptedSource([SourceLostError("gone")]), reopen=reopen)
    session.start()
    assert session.wait(5)
    session.reconnect()
    assert asked.wait(5)
    session.reconnect()  # impatient: asks no second time
    closer = threading.Thread(target=session.close)
    closer.start()
    answer.set()
    closer.join(5)
    assert not closer.is_alive()
    assert late.closed
    session.close()


def test_closing_a_session_that_never_started_lets_go_of_the_source() -> None:
    source = ScriptedSource()
    session = Session.live(source)
    session.close()
    assert source.closed


def test_another_camera_is_not_taken_for_the_old_one() -> None:
    other = ScriptedSource(info=info_of((5, 5)))
    session = Session.live(ScriptedSource([SourceLostError("gone")]), reopen=lambda: other)
    session.start()
    assert session.wait(5)
    session.reconnect()
    assert session.wait(5)
    assert state_of(session) is SessionState.FAILED
    assert "5 x 5" in session.trouble
    assert other.closed
    session.close()


def test_recording_goes_on_over_a_reconnection(tmp_path: Path) -> None:
    clock = FakeClock()
    first = ScriptedSource([frame_at(i) for i in range(3)])
    second = ScriptedSource([frame_at(i) for i in range(2)])
    session = Session.live(first, reopen=lambda: second, clock=clock)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    first.feed(SourceLostError("unplugged"))
    assert session.wait(5)
    clock.now_s += 3.0
    session.reconnect()
    until(lambda: session.losses.received == 5)
    session.close()
    with open_recording(tmp_path / "a.h5") as film:
        np.testing.assert_allclose(film.times_s, [0, 0.04, 0.08, 3.08, 3.12])
        assert [m.kind for m in film.marks] == [MarkKind.GAP]
        assert FrameFlag.GAP_BEFORE in film.frame(3).flags


def test_a_recording_taken_away_meanwhile_is_told(tmp_path: Path) -> None:
    source = ScriptedSource([frame_at(i) for i in range(3)])
    session = Session.live(source)
    session.start_recording(tmp_path / "a.h5")
    session.start()
    source.end()
    assert session.wait(5)
    (tmp_path / "a.h5").unlink()
    summary = session.stop_recording()
    assert summary is not None
    assert any(e.kind is EventKind.WARNING for e in session.take_events())
    session.close()
