"""A recording plays at its own times, without the test waiting for them."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from thermview.errors import SourceEndedError, UsageError
from thermview.frames import Frame, Scale, SourceInfo, SupplyFeed, SupplySample
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer
from thermview.sources.replay import FootagePlayer

TIMES = [10.0, 10.5, 12.0]


class Clock:
    """A clock that moves only when somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "r.h5"
    info = SourceInfo("c", "c", 4, 3, Scale(0.01), True, datetime.now(UTC), 2.0)
    with Writer(path, info) as writer:
        for n, time_s in enumerate(TIMES):
            writer.take(Frame(np.full((3, 4), n, np.uint16), time_s, n, info.scale))
        writer.take_supply([SupplySample(t, t, 0.1) for t in (9.0, 10.2, 11.0, 13.0)])
    return path


def player(film: Path, clock: Clock, speed: float = 1.0) -> FootagePlayer:
    return FootagePlayer(open_recording(film), speed, clock=clock, sleep=clock.sleep)


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0])
def test_frames_come_when_they_are_due(film: Path, speed: float) -> None:
    clock = Clock()
    source = player(film, clock, speed)
    assert source.info.live
    due = []
    for _ in TIMES:
        frame = source.read(10.0)
        assert frame is not None
        due.append(clock.now_s - 100.0)
    np.testing.assert_allclose(due, (np.array(TIMES) - 10.0) / speed)
    with pytest.raises(SourceEndedError, match="after 3 frames"):
        source.read(1.0)
    source.close()


def test_a_read_waits_no_longer_than_told(film: Path) -> None:
    clock = Clock()
    source = player(film, clock)
    assert source.read(0.1) is not None
    assert source.read(0.2) is None
    assert clock.now_s == pytest.approx(100.2)
    assert source.read(0.2) is None
    frame = source.read(0.2)
    assert frame is not None
    assert frame.time_s == 10.5
    source.close()


def test_the_supply_comes_with_the_frames(film: Path) -> None:
    source = player(film, Clock())
    assert isinstance(source, SupplyFeed)
    assert source.take_supply() == []
    seen = []
    for _ in TIMES:
        source.read(10.0)
        seen.append([sample.time_s for sample in source.take_supply()])
    assert seen == [[9.0], [10.2], [11.0]]
    source.close()


def test_a_closed_player_has_ended(film: Path) -> None:
    source = player(film, Clock())
    source.close()
    source.close()
    with pytest.raises(SourceEndedError):
        source.read(1.0)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), float("inf")])
def test_a_speed_must_be_above_zero(film: Path, speed: float) -> None:
    with open_recording(film) as footage, pytest.raises(UsageError, match="above 0"):
        FootagePlayer(footage, speed)
