"""The shiny map on rendered boards, the camera check, and what is said about touching."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Frame, Scale
from thermview.radiometry import Setting, apparent_temperature
from thermview.radiometry.camera_check import (
    Verdict,
    check_depth,
    check_focus,
    check_hand,
    check_warm,
)
from thermview.radiometry.noise import measure_noise
from thermview.radiometry.shiny import ShinyMap, ShinyMeter
from thermview.radiometry.size import Spread
from thermview.radiometry.touch import METAL_NOTE, touch_caution
from thermview.radiometry.uncertainty import Reading

SCALE = Scale(0.01)
SHAPE = (60, 80)
ROOM_K, NETD_K = 296.15, 0.05


def _can() -> NDArray[np.bool_]:
    mask = np.zeros(SHAPE, dtype=np.bool_)
    mask[20:32, 30:50] = True
    return mask


def _map(
    board_k: float,
    *,
    hand: bool = False,
    can_eps: float = 0.15,
    contact_k: float | None = None,
    frames: int = 60,
    shake: bool = False,
    seed: int = 1,
) -> ShinyMap:
    """Film an unpowered board: solder mask .92, one metal can, perhaps a hand above it."""
    rng = np.random.default_rng(seed)
    eps = np.where(_can(), can_eps, 0.92)
    meter = ShinyMeter()
    board = float(apparent_temperature(board_k, Setting(0.92, ROOM_K)))
    for number in range(frames):
        mirrored_k = ROOM_K + (9.0 * max(0.0, math.sin(number / 9.0)) if hand else 0.0)
        can = float(apparent_temperature(board_k, Setting(can_eps, mirrored_k)))
        mask = float(apparent_temperature(board_k, Setting(0.92, mirrored_k))) if hand else board
        # the hand is mirrored by a part of the board only
        kelvin = np.where(eps < 0.5, can, board)
        kelvin[20:32, :30] = mask if hand else board
        if shake:
            kelvin += 2.0 * math.sin(number / 9.0) * np.sin(np.indices(SHAPE)[1])
        kelvin += NETD_K * rng.standard_normal(SHAPE) + 0.002 * number
        meter.take(Frame(np.round(kelvin * 100).astype(np.uint16), number / 25, number, SCALE))
    return meter.map(ROOM_K, contact_k=contact_k, u_camera_k=0.3)


def test_metal_departs_from_the_contact_reading() -> None:
    found = _map(306.0, contact_k=306.0)
    assert found.known
    np.testing.assert_array_equal(found.mask, _can())
    assert float(np.median(found.emissivity[_can()])) == pytest.approx(0.15, abs=0.03)
    assert "contact reading" in found.how


def test_moving_reflection_gives_metal_away() -> None:
    found = _map(ROOM_K, hand=True)
    assert found.known
    np.testing.assert_array_equal(found.mask, _can())
    assert "changed while nothing was powered" in found.how


def test_faint_reflection_is_not_enough() -> None:
    found = _map(ROOM_K, hand=True, can_eps=0.9)
    assert not found.known
    assert "nearer" in found.how
    assert not found.mask.any()


def test_does_not_know_is_said() -> None:
    for contact_k, words in ((None, "no contact reading"), (ROOM_K + 0.4, "too alike")):
        found = _map(ROOM_K + 0.4, contact_k=contact_k)
        assert not found.known
        assert not found.mask.any()
        assert found.how.startswith("not known")
        assert words in found.how
        assert "wave a hand" in found.how


@pytest.mark.parametrize("seed", range(5))
def test_noise_and_drift_alone_are_no_mirror(seed: int) -> None:
    found = _map(306.0, contact_k=306.0, can_eps=0.92, seed=seed, frames=200)
    assert not found.mask.any()
    assert found.known


def test_moved_camera_is_not_a_mirror() -> None:
    found = _map(ROOM_K, shake=True)
    assert not found.known
    assert "hold the camera still" in found.how


def test_shiny_needs_frames() -> None:
    meter = ShinyMeter()
    with pytest.raises(UsageError, match="16 frames"):
        meter.map(ROOM_K)
    meter.take(Frame(np.zeros((3, 4), dtype=np.uint16), 0.0, 0, SCALE, shutter=True))
    with pytest.raises(UsageError, match="not 0"):
        meter.map(ROOM_K)


def _frames(counts: NDArray[np.uint16], scale: Scale = SCALE) -> list[Frame]:
    return [Frame(counts, 0.0, 0, scale)]


def test_depth() -> None:
    rng = np.random.default_rng(1)
    rich = (30_000 + 100 * rng.standard_normal((50, 50))).astype(np.uint16)
    bytes_only = rng.integers(0, 256, (50, 50)).astype(np.uint16)
    assert check_depth(_frames(rich)).verdict is Verdict.GOOD
    assert check_depth(_frames(bytes_only)).verdict is Verdict.BAD
    assert check_depth(_frames(bytes_only * np.uint16(257))).verdict is Verdict.BAD
    assert check_depth(_frames(rich, Scale(1.0, relative=True))).verdict is Verdict.BAD
    even = (30_000 + 4 * rng.standard_normal((50, 50))).astype(np.uint16)  # an even wall
    assert check_depth(_frames(even)).verdict is Verdict.GOOD
    assert check_depth([]).verdict is Verdict.UNKNOWN
    decimal = [Frame(np.full((3, 3), 300.0, dtype=np.float32), 0.0, 0, Scale(1.0))]
    assert check_depth(decimal).verdict is Verdict.GOOD


def test_warm_up() -> None:
    rng = np.random.default_rng(2)
    times_s = np.arange(250) / 25.0
    noise = 300.0 + NETD_K * rng.standard_normal((250, 20, 20))
    still = measure_noise(noise.astype(np.float32), times_s, Scale(1.0))
    drifting = noise + (times_s / 60.0)[:, None, None]
    cold = measure_noise(drifting.astype(np.float32), times_s, Scale(1.0))
    assert check_warm(still).verdict is Verdict.GOOD
    assert check_warm(cold).verdict is Verdict.BAD
    assert check_warm(None).verdict is Verdict.UNKNOWN


def test_focus_and_hand() -> None:
    assert check_focus(Spread(0.8, 0.02)).verdict is Verdict.GOOD
    assert check_focus(Spread(2.5, 0.1)).verdict is Verdict.BAD
    assert check_focus(None).verdict is Verdict.UNKNOWN
    # a palm is near 33 °C (common practice, no source)
    assert check_hand(np.full(20, 306.15)).verdict is Verdict.GOOD
    assert check_hand(np.full(20, 296.15)).verdict is Verdict.BAD
    assert check_hand(np.full(20, np.nan)).verdict is Verdict.UNKNOWN


def _reading(value_k: float, u_k: float = 0.5, *, readable: bool = True) -> Reading:
    low_k, high_k = value_k - 2 * u_k, value_k + 2 * u_k
    return Reading(value_k, u_k, low_k, high_k, "noise", readable, "", True)


def test_nothing_is_ever_called_safe() -> None:
    # thresholds for bare metal: ISO 13732-1, from memory; they are thresholds, not limits
    assert touch_caution(_reading(300.0), shiny=True) == METAL_NOTE
    assert "may be hot" in touch_caution(_reading(300.0, readable=False), shiny=False)
    assert touch_caution(_reading(300.0), shiny=False) == ""
    assert "10 s of touch" in touch_caution(_reading(330.0), shiny=False)
    assert "a touch may burn" in touch_caution(_reading(340.0), shiny=False)
    assert touch_caution(_reading(318.0, u_k=4.0), shiny=False) != ""  # its upper end counts
    for kelvin in range(280, 400, 5):
        for shiny in (True, False):
            words = touch_caution(_reading(float(kelvin)), shiny=shiny).lower()
            assert "safe" not in words.replace("take no cool-looking metal for safe", "")
