"""Replay: measuring in the background, again only where something changed."""

from __future__ import annotations

import numpy as np
import pytest
from session_fakes import Film, frame_at

from thermview.frames import FrameFlag, Scene
from thermview.radiometry import object_temperature, setting_for
from thermview.regions import Difference, Ellipse, Rectangle, Region, RegionSet, Spot
from thermview.session.session import Session
from thermview.session.states import SessionState

A = Region("a", Spot(1, 1))
B = Region("b", Rectangle(2, 2, 4, 4))


def film_of(count: int) -> Film:
    frames = [frame_at(i, 300 + i % 90, shutter=i % 50 == 49) for i in range(count)]
    return Film(frames)


def test_everything_is_measured_once_then_only_what_changed() -> None:
    film = film_of(200)
    session = Session.replay(film)
    session.set_regions(RegionSet((A,)))
    session.start()
    assert session.wait_measured(10)
    assert session.progress() == (200, 200)
    assert session.state is SessionState.RUNNING
    assert film.reads == 200
    held = np.flatnonzero(session.curves.held)
    assert held.tolist() == [49, 99, 149, 199]
    assert np.flatnonzero(np.isnan(session.curves.column(A.id, "max"))).tolist() == held.tolist()

    session.set_regions(RegionSet((A, B), (Difference("d", B.id, A.id, id="D"),)))
    assert session.wait_measured(10)
    assert film.reads == 400
    assert np.nanmax(np.abs(session.curves.difference("D", "mean"))) == 0

    renamed = Region("another name", A.shape, limit_k=330.0, id=A.id)
    session.set_regions(RegionSet((renamed, B)))
    assert session.wait_measured(10)
    assert film.reads == 400, "a name or a limit changes no number"

    session.set_scene(Scene(emissivity=0.5, reflected_k=300.0))
    assert session.wait_measured(10)
    assert film.reads == 600
    setting = setting_for(0.5, 300.0, Scene())
    assert setting is not None
    wanted = object_temperature(np.array([360.0]), setting)[0]
    assert session.curves.value(A.id, "max", 60) == pytest.approx(wanted, abs=1e-3)
    session.close()
    assert film.closed


def test_a_drag_of_many_changes_ends_with_the_last_place() -> None:
    session = Session.replay(film_of(500))
    session.start()
    for step in range(60):
        session.set_regions(RegionSet((Region("a", Ellipse(2 + step / 20, 3, 2, 2), id="A"),)))
    assert session.wait_measured(10)
    column = session.curves.column("A", "mean")
    known = ~session.curves.held
    np.testing.assert_allclose(column[known], (300 + np.arange(500) % 90)[known])
    session.close()


def test_closing_in_the_middle_of_measuring() -> None:
    session = Session.replay(film_of(20000))
    session.set_regions(RegionSet((A, B)))
    session.start()
    session.close()
    session.close()


def test_a_frame_that_cannot_be_read_is_a_hole() -> None:
    from thermview.errors import InputError
    from thermview.frames import Frame

    class Torn(Film):
        def frame(self, number: int) -> Frame:
            if number == 3:
                raise InputError("frame 3 is damaged")
            return super().frame(number)

    frames = [frame_at(i) for i in range(6)]
    frames[4] = frame_at(4, flags=FrameFlag.DAMAGED)
    session = Session.replay(Torn(frames))
    session.set_regions(RegionSet((A,)))
    session.start()
    assert session.wait_measured(10)
    assert np.flatnonzero(np.isnan(session.curves.column(A.id, "max"))).tolist() == [3, 4]
    assert session.curves.held.tolist() == [False, False, False, True, True, False]
    session.close()
