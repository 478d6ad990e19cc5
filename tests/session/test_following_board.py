"""Regions that go along with the board, live, in replay and for the command."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, shift
from session_fakes import SCALE, Film, ScriptedSource, info_of

from thermview.frames import Frame
from thermview.regions import Rectangle, Region, RegionSet
from thermview.session.curve_table import write_curve_table
from thermview.session.following import Poses, moves
from thermview.session.session import Session

SHAPE = (96, 128)
PART = Rectangle(70, 40, 8, 6)
WARM = Region("warm", PART)
COUNT = 70


def way(number: int) -> tuple[float, float]:
    """Where the hand has brought the camera: (dx, dy), px."""
    return 9.0 * np.sin(number / 9.0), 6.0 * np.sin(number / 6.0)


def frames(*, hand: bool = True) -> list[Frame]:
    """Pictures of a board; the part under `PART` warms by 4 K after the 20th."""
    rng = np.random.default_rng(5)
    scene = np.full((SHAPE[0] + 40, SHAPE[1] + 40), 294.0)
    scene[24:-24, 24:-24] = 295.0
    for _ in range(60):
        y, x = rng.integers(26, SHAPE[0]), rng.integers(26, SHAPE[1])
        scene[y : y + rng.integers(3, 9), x : x + rng.integers(3, 9)] += rng.uniform(-0.5, 0.5)
    scene = gaussian_filter(scene, 0.7)
    scene[53:73, 83:105] = 295.0  # around the part all is alike
    made = []
    for number in range(COUNT):
        now = scene.copy()
        now[57:69, 87:101] = 295.0 + 4.0 * min(max(number - 20, 0) / 30.0, 1.0)
        dx, dy = way(number) if hand else (0.0, 0.0)
        view = shift(now, (dy, dx), order=1)[20:-20, 20:-20]
        view = view + rng.normal(0, 0.03, SHAPE)
        made.append(Frame(np.rint(view / 0.01).astype(np.uint16), number * 0.04, number, SCALE))
    return made


def means(rows: str) -> NDArray[np.float64]:
    lines = [line for line in rows.splitlines() if not line.startswith("#")]
    return np.array([float(row["warm_mean_C"]) for row in csv.DictReader(lines)])


def test_the_table_follows_the_board() -> None:
    shown = frames()
    film, out, still = Film(shown), io.StringIO(), io.StringIO()
    list(write_curve_table(film, RegionSet((WARM,)), out, poses=Poses(film, 0)))
    assert "follow the board" in out.getvalue()
    list(write_curve_table(Film(frames(hand=False)), RegionSet((WARM,)), still))
    apart = means(out.getvalue()) - means(still.getvalue())
    assert np.abs(apart).max() < 0.1
    assert np.abs(apart).mean() < 0.05
    unmoved = io.StringIO()
    list(write_curve_table(film, RegionSet((WARM,)), unmoved))
    assert np.abs(means(unmoved.getvalue()) - means(still.getvalue())).max() > 2.0


def test_replay_and_live_measure_alike_and_anchor_anywhere() -> None:
    shown = frames()
    replay = Session.replay(Film(shown))
    replay.set_regions(RegionSet((WARM,)))
    replay.start()
    try:
        assert replay.wait(20)
        plain = replay.curves.column(WARM.id, "mean").copy()
        replay.follow(0)
        assert replay.wait(20)
        followed = replay.curves.column(WARM.id, "mean").copy()
        places = replay.curves.column(WARM.id, "max_x")[40:]
        assert (np.abs(places - 74) <= 5).all()  # told where the region was drawn
        picture = replay.pictures.frame(50).kelvin()
        assert picture[43, 74] == pytest.approx(299.0, abs=0.5)
        replay.follow(None)
        assert replay.wait(20)
        np.testing.assert_array_equal(replay.curves.column(WARM.id, "mean"), plain)
        # placed in the middle of the film, where the camera is elsewhere
        dx, dy = way(35)
        moved = Region("warm", PART.moved(dx, dy))
        replay.set_regions(RegionSet((moved,)))
        replay.follow(35)
        assert replay.wait(20)
        other = replay.curves.column(moved.id, "mean")
        np.testing.assert_allclose(other, followed, atol=0.1)
    finally:
        replay.close()
    assert np.abs(plain - followed).max() > 2.0

    source = ScriptedSource(shown[:1], info_of(SHAPE))
    live = Session.live(source)
    live.set_regions(RegionSet((WARM,)))
    live.start()
    try:
        for _ in range(200):
            if len(live.footage):
                break
            live.wait(0.02)
        live.follow(0)
        source.feed(*shown[1:])
        source.end()
        assert live.wait(20)
        assert live.wait_measured(20)
        column, times_s = live.curves.column(WARM.id, "mean"), live.curves.times_s
        same = np.searchsorted([frame.time_s for frame in shown], times_s)
        assert len(column) > 40  # a queue that is filled at once loses some
        np.testing.assert_allclose(column, followed[same], atol=0.1)
    finally:
        live.close()


def test_a_lost_board_is_no_number_and_is_said() -> None:
    shown = frames()
    blank = np.full(SHAPE, 29500, np.uint16)
    blank += np.random.default_rng(2).integers(0, 6, SHAPE).astype(np.uint16)
    shown[30] = Frame(blank, shown[30].time_s, 30, SCALE)
    session = Session.replay(Film(shown))
    session.set_regions(RegionSet((WARM,)))
    session.start()
    try:
        session.follow(0)
        assert session.wait(20)
        assert session.poses is not None
        assert session.poses.lost(30)
        lacking = np.isnan(session.curves.column(WARM.id, "mean"))
        assert np.flatnonzero(lacking).tolist() == [30]
    finally:
        session.close()


def test_a_hand_is_noticed_and_a_stand_is_none() -> None:
    assert moves(Film(frames()))
    assert not moves(Film(frames(hand=False)))
    assert moves(Film(frames()), 60)
    assert not moves(Film(frames()[:3]))
