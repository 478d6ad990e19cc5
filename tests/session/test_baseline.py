"""Zero now: the interval, its mean picture, and the warning while the board is not still."""

from __future__ import annotations

import numpy as np
from session_fakes import SCALE, Film

from thermview.frames import Frame, MarkKind
from thermview.regions import Region, RegionSet, Spot
from thermview.session.session import Session

SPOT = Region("U1", Spot(1, 1))


def session_of(rate_k_per_s: float, regions: RegionSet) -> Session:
    """Ten seconds at 25 frames per second, warming evenly, with the noise of a camera."""
    rng = np.random.default_rng(3)
    frames = []
    for number in range(250):
        kelvin = 300 + rate_k_per_s * number * 0.04 + rng.normal(0, 0.04, (8, 10))
        counts = np.rint(kelvin / SCALE.k_per_count).astype(np.uint16)
        frames.append(Frame(counts, number * 0.04, number, SCALE, shutter=number in (240, 241)))
    session = Session.replay(Film(frames))
    session.set_regions(regions)
    session.start()
    assert session.wait_measured(10)
    return session


def test_a_still_board_is_zeroed_without_a_word() -> None:
    for regions in (RegionSet((SPOT,)), RegionSet()):
        session = session_of(0.0, regions)
        assert session.baseline_image() is None
        assert session.zero_now(9.96) is None
        assert session.baseline == (8.96, 9.96)
        image = session.baseline_image()
        assert image is not None
        whole = [session.footage.frame(i) for i in range(224, 250) if i not in (240, 241)]
        wanted = np.mean([f.kelvin() for f in whole], axis=0)
        np.testing.assert_allclose(image, wanted, atol=1e-3)
        assert [m.kind for m in session.marks] == [MarkKind.ZERO]
        session.close()


def test_a_cooling_board_is_told() -> None:
    for regions, name in ((RegionSet((SPOT,)), "U1"), (RegionSet(), "the picture")):
        session = session_of(-0.1, regions)
        warning = session.zero_now(8.0)
        assert warning is not None
        assert f"{name} cools by" in warning
        assert "wait" in warning
        session.close()


def test_rises_are_measured_from_the_zero() -> None:
    session = session_of(0.5, RegionSet((SPOT,)))
    session.zero_now(1.0)
    rise = session.curves.rise(SPOT.id, "mean")
    np.testing.assert_allclose(rise[:230:40], 0.5 * (np.arange(0, 230, 40) * 0.04 - 0.5), atol=0.2)
    session.close()


def test_zero_where_there_is_no_frame() -> None:
    session = session_of(0.0, RegionSet((SPOT,)))
    assert session.zero_now(-5.0) is None
    assert session.baseline_image() is None
    assert np.isnan(session.curves.rise(SPOT.id, "max")).all()
    session.close()
