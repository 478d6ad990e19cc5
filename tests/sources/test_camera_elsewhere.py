"""Where there is no Linux: cameras through OpenCV alone, by what can be shown without a device.

Only the ways of this program are tried, by a capture of our own in OpenCV's place; no camera on
Windows or macOS has been.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from thermview.errors import DeviceError, UsageError
from thermview.sources import OpenOptions, capture
from thermview.sources.camera_opening import Openers, camera_again, open_camera
from thermview.sources.cameras import FoundCamera, find_cameras
from thermview.sources.knobs import CameraKnobs
from thermview.sources.v4l2_abi import fourcc

ROOM = (18950 + np.arange(48)).astype(np.uint16).reshape(6, 8)


class Plugged:
    """A capture that goes on giving one 16-bit picture."""

    def __init__(self) -> None:
        self.released = False

    def read(self) -> tuple[bool, Any]:
        return True, ROOM.copy()

    def set(self, prop: int, value: float) -> bool:
        return True

    def get(self, prop: int) -> float:
        return float(fourcc("Y16")) if prop == cv2.CAP_PROP_FOURCC else -1.0

    def release(self) -> None:
        self.released = True


@pytest.fixture(params=["win32", "darwin"])
def plugged(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> dict[int, Plugged]:
    """Return the captures that open, by number, on a machine that is no Linux."""
    made: dict[int, Plugged] = {}
    monkeypatch.setattr("sys.platform", request.param)
    monkeypatch.setattr(capture, "open_capture", made.get)
    return made


def test_numbers_are_tried_and_let_go_again(plugged: dict[int, Plugged]) -> None:
    assert find_cameras() == []
    plugged |= {0: Plugged(), 1: Plugged()}
    assert find_cameras() == [FoundCamera(0, "camera 0"), FoundCamera(1, "camera 1")]
    assert plugged[0].released
    assert plugged[1].released


def test_a_camera_behind_one_that_another_program_holds_is_found(
    plugged: dict[int, Plugged],
) -> None:
    plugged[1] = Plugged()
    assert [camera.address for camera in find_cameras()] == ["camera:1"]


def test_counts_come_through_and_the_camera_is_found_again(plugged: dict[int, Plugged]) -> None:
    plugged[0] = Plugged()
    openers = Openers(capture=plugged.get)
    camera = open_camera("0", OpenOptions(profile="y16-linear"), openers)
    frame = camera.read(0.1)
    assert frame is not None
    np.testing.assert_array_equal(frame.counts, ROOM)
    assert not camera.info.scale.relative
    camera.close()
    held = plugged.pop(0)
    assert held.released
    with pytest.raises(DeviceError, match="not plugged in"):
        camera_again(camera, openers)()
    plugged[0] = Plugged()
    again = camera_again(camera, openers)()
    assert again.zero_s == camera.zero_s
    again.close()


def test_one_that_does_not_open_is_said_to_be_busy(plugged: dict[int, Plugged]) -> None:
    plugged[0] = Plugged()
    with pytest.raises(DeviceError, match="is busy; close the program that uses it"):
        open_camera("0", openers=Openers(capture=lambda _: None))


def test_there_are_no_controls_and_setting_one_says_so(plugged: dict[int, Plugged]) -> None:
    plugged[0] = Plugged()
    openers = Openers(capture=plugged.get)
    camera = open_camera("0", OpenOptions(profile="y16-linear"), openers)
    camera.close()
    knobs = CameraKnobs(camera, openers)
    assert knobs.controls() == ()
    with pytest.raises(UsageError, match="on Linux only"):
        knobs.set("Brightness", 1)
