"""The playhead, driven by a clock that stands until it is moved."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.session.player import Player


class Film:
    def __init__(self, times: list[float], first: int = 0) -> None:
        self.times_s = np.array(times)
        self.first = first

    def __len__(self) -> int:
        return len(self.times_s)


def test_frames_are_due_by_their_own_uneven_times() -> None:
    player = Player(Film([0.0, 0.1, 0.5, 0.6, 2.0]))
    player.play()
    shown = [player.tick(50.0 + t) for t in (0.0, 0.05, 0.1, 0.49, 0.5, 0.7, 1.99, 2.0, 9.0)]
    assert shown == [0, 0, 1, 1, 2, 3, 3, 4, 4]
    assert not player.playing


def test_late_ticks_skip_frames_and_hold_the_rate() -> None:
    player = Player(Film((np.arange(3000) * 0.04).tolist()))
    player.play()
    rng = np.random.default_rng(0)
    now = 10.0
    assert player.tick(now) == 0
    while now < 60:
        now += rng.uniform(0.001, 0.2)
        assert abs(player.tick(now) - (now - 10.0) / 0.04) <= 1.0 + 1e-6


@pytest.mark.parametrize(("speed", "shown"), [(0.25, 25), (1.0, 100), (4.0, 400)])
def test_speed(speed: float, shown: int) -> None:
    player = Player(Film((np.arange(1000) / 100 + 1e-9).tolist()))
    player.speed = speed
    player.play()
    player.tick(0.0)
    assert player.tick(1.0 + 1e-6) == shown


def test_changing_speed_does_not_jump() -> None:
    player = Player(Film((np.arange(1000) / 100).tolist()))
    player.play()
    player.tick(0.0)
    at = player.tick(1.001)
    player.speed = 8.0
    assert player.tick(1.002) == at


def test_stepping_holds_and_stays_inside() -> None:
    player = Player(Film([0, 1, 2, 3], first=1))
    player.seek(2)
    player.step(1)
    assert player.tick(0) == 3
    player.step(5)
    assert player.tick(0) == 3
    player.step(-9)
    assert player.tick(0) == 1
    player.seek_time(2.7)
    assert player.number == 2


def test_seeking_while_playing_goes_on_from_there() -> None:
    player = Player(Film([0.0, 1.0, 2.0, 3.0]))
    player.play()
    player.tick(0.0)
    player.seek(2)
    assert player.tick(10.0) == 2
    assert player.tick(11.0) == 3


def test_loop_shows_the_last_frame_as_long_as_the_others() -> None:
    player = Player(Film([0.0, 1.0, 2.0]))
    player.loop = True
    player.play()
    assert [player.tick(t) for t in (0.0, 1.0, 2.0, 2.9, 3.0, 4.0, 5.5, 6.0)] == [
        0, 1, 2, 2, 0, 1, 2, 0,
    ]  # fmt: skip


def test_play_at_the_end_begins_anew() -> None:
    player = Player(Film([0.0, 1.0]))
    player.seek(1)
    player.play()
    assert player.tick(5.0) == 0


def test_following_a_growing_film() -> None:
    film = Film([])
    player = Player(film, follow=True)
    assert player.tick(0) == -1
    film.times_s = np.array([0.0, 0.1])
    assert player.tick(1) == 1
    film.times_s = np.array([0.0, 0.1, 0.2])
    assert player.tick(2) == 2
    player.step(-1)
    assert not player.follow
    assert player.tick(3) == 1
    film.first = 2  # the frame held was let go of: the oldest that can be had stands for it
    assert player.tick(4) == 2
    player.toggle()
    assert player.playing
    player.follow = True
    assert not player.playing
