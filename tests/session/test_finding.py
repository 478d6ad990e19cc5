"""Which stretch of a session is looked at, how it is thinned, and the answer from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import partial

import numpy as np
import pytest

from thermview.analysis.prepare import gather
from thermview.errors import CancelledError
from thermview.frames import Frame, Mark, MarkKind, Scale, SourceInfo, SupplyLog
from thermview.paths import sample_recordings
from thermview.regions.carried import mapped
from thermview.session.boards import Board, board_of
from thermview.session.finding import (
    AFTER_S,
    BEFORE_S,
    Lack,
    Window,
    carried_view,
    find,
    power_cycle,
    window_of,
    with_expected,
)
from thermview.session.following import Poses
from thermview.session.stretch import MOST, Stretch
from thermview.simulation.trials import random_film
from thermview.sources import OpenOptions, open_footage


class Shown:
    """Frames in memory as a footage."""

    marks: tuple[Mark, ...] = ()
    first = 0

    def __init__(self, frames: list[Frame], supply: SupplyLog | None) -> None:
        self._frames, self.supply = frames, supply
        rows, columns = frames[0].shape
        start = datetime(2026, 1, 1, tzinfo=UTC)
        self.info = SourceInfo("a", "a", columns, rows, frames[0].scale, False, start)
        self.times_s = np.array([frame.time_s for frame in frames])

    def __len__(self) -> int:
        return len(self._frames)

    def frame(self, number: int) -> Frame:
        return self._frames[number]

    def close(self) -> None: ...


class Film:
    """Frames of noise; the supply is on in the given intervals."""

    def __init__(self, seconds: float, on_s: list[tuple[float, float]], rate_hz: float = 5) -> None:
        self.info = SourceInfo(
            name="invented",
            address="invented",
            width_px=8,
            height_px=6,
            scale=Scale(0.01),
            live=True,
            start_time=datetime(2026, 1, 1, tzinfo=UTC),
        )
        self.times_s = np.arange(0.0, seconds, 1 / rate_hz)
        self.first = 0
        self.marks: tuple[Mark, ...] = ()
        log_s = np.arange(0.0, seconds, 0.1)
        volts = np.zeros(len(log_s))
        for start, end in on_s:
            volts[(log_s >= start) & (log_s < end)] = 5.0
        self.supply: SupplyLog | None = SupplyLog(log_s, volts, volts / 10)
        self.held: set[int] = set()
        self.frozen: set[int] = set()

    def __len__(self) -> int:
        return len(self.times_s)

    def frame(self, number: int) -> Frame:
        source = number - 1 if number in self.frozen else number
        counts = np.random.default_rng(source).integers(29000, 30000, (6, 8)).astype(np.uint16)
        held = number in self.held
        return Frame(counts, float(self.times_s[number]), number, self.info.scale, held)

    def close(self) -> None:
        pass


def test_the_newest_cycle_of_the_power_is_looked_at() -> None:
    film = Film(300.0, [(30.0, 60.0), (100.0, 120.0), (120.5, 250.0)])
    window = window_of(film, ())
    assert isinstance(window, Window)
    # the gap of half a second at 120 s begins nothing new
    assert window.power_on_s == pytest.approx(100.0, abs=0.11)
    assert window.start_s == pytest.approx(100.0 - BEFORE_S, abs=0.11)
    assert window.end_s == pytest.approx(100.0 + AFTER_S, abs=0.11)


def test_marks_of_the_power_decide_where_they_are_newer() -> None:
    film = Film(100.0, [(10.0, 20.0)])
    marks = [Mark(50.0, MarkKind.POWER_ON), Mark(70.0, MarkKind.POWER_OFF)]
    window = window_of(film, marks)
    assert window == Window(30.0, 70.0, 50.0, marked=True)
    film.supply = None
    assert window_of(film, marks) == window
    assert power_cycle((), None) is None


def test_what_is_lacking_is_told() -> None:
    assert window_of(Film(4.0, []), ()) is Lack.NOT_ENOUGH
    assert window_of(Film(31.0, [(30.0, 99.0)]), ()) is Lack.NOT_ENOUGH
    assert window_of(Film(40.0, [(0.0, 99.0)]), ()) is Lack.NO_BASELINE
    film = Film(40.0, [])
    film.supply = None
    assert window_of(film, [Mark(0.2, MarkKind.POWER_ON)]) is Lack.NO_BASELINE
    film.info = replace(film.info, scale=Scale(1.0, relative=True))
    assert window_of(film, ()) is Lack.BRIGHTNESS


def test_off_for_ten_seconds_then_on_gives_a_baseline() -> None:
    window = window_of(Film(60.0, [(0.0, 20.0), (30.0, 99.0)]), ())
    assert isinstance(window, Window)
    assert window.power_on_s == pytest.approx(30.0, abs=0.11)


def test_a_pulsed_supply_is_known_by_its_log() -> None:
    window = window_of(Film(60.0, [(t, t + 1.0) for t in np.arange(5.0, 60.0, 2.0)]), ())
    assert isinstance(window, Window)
    assert window.period_s == pytest.approx(2.0, abs=0.02)
    assert window.power_on_s == pytest.approx(5.0, abs=0.11)


def test_a_long_stretch_is_thinned_by_averaging() -> None:
    film = Film(1000.0, [], rate_hz=10.0)
    film.held, film.frozen = {31}, {2005}
    stretch = Stretch(film, 0.0, 1000.0)
    assert len(stretch) <= MOST
    group = len(film) // len(stretch)
    frames = [film.frame(n) for n in range(40 * group, 41 * group)]
    mean = np.mean([frame.counts for frame in frames], axis=0)
    np.testing.assert_allclose(stretch.frame(40).counts, mean, rtol=1e-6)
    assert stretch.times_s[40] == pytest.approx(np.mean([f.time_s for f in frames]))
    assert stretch.frame(31 // group).held
    assert stretch.frame(2005 // group).held
    assert not stretch.frame(40).held


@pytest.mark.parametrize("every", [2, 3])
def test_a_slow_sensor_behind_a_faster_stream_is_no_shutter(every: int) -> None:
    """Each picture comes several times; one in every group is taken, and none counts as held."""
    rng = np.random.default_rng(every)
    pictures = rng.integers(29000, 29100, (2000, 24, 32), dtype=np.uint16)
    frames = [
        Frame(pictures[n // every], n / 25.0, n, Scale(0.01)) for n in range(every * len(pictures))
    ]
    stretch = Stretch(Shown(frames, None), 0.0, 1e9)
    group = len(frames) // len(stretch)
    assert group > every
    assert not any(stretch.frame(number).held for number in range(len(stretch)))
    distinct = sorted({n // every for n in range(5 * group, 6 * group)})
    mean = pictures[distinct].astype(np.float32).mean(axis=0)
    np.testing.assert_allclose(stretch.frame(5).counts, mean, rtol=1e-6)
    shots = gather(Shown(frames[: 60 * every], None))
    assert len(shots.times_s) == 60  # each picture once
    assert shots.segment.max() == 0
    closed = 60 * every
    shown = [*frames[:closed], *[frames[closed - 1]] * 25, *frames[closed : 2 * closed]]
    timed = [replace(frame, time_s=number / 25.0) for number, frame in enumerate(shown)]
    shots = gather(Shown(timed, None))
    assert list(shots.segment) == [0] * 60 + [1] * 60  # a whole second is a shutter's


def test_the_worked_example_is_answered_from_its_window() -> None:
    path = sample_recordings() / "short.h5"
    footage = open_footage(str(path), OpenOptions())
    try:
        window = window_of(footage, footage.marks)
        assert isinstance(window, Window)
        told: list[tuple[int, int]] = []
        located = find(footage, board_of(footage, path), window, lambda *step: told.append(step))
    finally:
        footage.close()
    assert located.heated
    assert located.suspects[0].part == "C12"
    assert told[-1] == (100, 100)  # of all its stages
    expected = with_expected(located, {"C12"})
    assert expected.suspects[-1].part == "C12"
    assert expected.suspects[-1].expected
    assert [s.rank for s in expected.suspects] == list(range(1, len(expected.suspects) + 1))


def test_with_the_picture_held_still_places_are_those_of_the_anchor() -> None:
    """A hand-held trial: landmarks of a later frame, the answer in that frame's pixels."""
    film = random_film(0, "shaky")
    frames = [
        Frame(counts, float(time_s), n, film.scale)
        for n, (counts, time_s) in enumerate(zip(film.counts, film.times_s, strict=True))
    ]
    shown = Shown(frames, film.supply)
    anchor = 60
    poses = Poses(shown, anchor)
    back = poses.take(0, frames[0])
    assert back is not None
    way = np.linalg.inv(back)  # from the first frame's pixels to the anchor's
    first = Board.of(film.parts, film.landmarks)
    later = replace(first, view=carried_view(first.view, np.asarray(way)))
    window = Window(float(film.times_s[0]), float(film.times_s[-1]))
    plain = find(shown, first, window)
    held = find(shown, later, window, poses=poses)
    assert held.suspects[0].part == plain.suspects[0].part == film.truth.part
    one, other = held.suspects[0], plain.suspects[0]
    expected = mapped(np.asarray(way), (other.x_px, other.y_px))
    np.testing.assert_allclose((one.x_px, one.y_px), expected, atol=1.0)


def test_a_look_tells_how_far_it_is_and_ends_where_it_is_no_longer_wanted() -> None:
    footage = open_footage(str(sample_recordings() / "short.h5"), OpenOptions())
    board = board_of(footage)
    window = window_of(footage, footage.marks)
    assert isinstance(window, Window)
    shares: list[float] = []

    def told(done: int, total: int, stop: float = 2.0) -> None:
        shares.append(done / total)
        if shares[-1] >= stop:
            raise CancelledError("no longer wanted")

    find(footage, board, window, told)
    assert shares == sorted(shares)
    assert shares[0] < 0.05
    assert shares[-1] == 1.0
    assert len({share for share in shares if share > 0.4}) >= 5  # not in the reading only
    for stop in (0.2, 0.6, 0.9):
        shares.clear()
        with pytest.raises(CancelledError):
            find(footage, board, window, partial(told, stop=stop))
        assert shares[-1] < stop + 0.15
    footage.close()
