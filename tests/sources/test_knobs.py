"""What can be set on an open camera, wherever it is plugged in now."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fake_node import Delivered, FakeControl, FakeNode

from thermview.errors import DeviceError, UsageError
from thermview.sources import OpenOptions
from thermview.sources import v4l2_abi as abi
from thermview.sources.camera_opening import Openers, open_camera
from thermview.sources.cameras import FoundCamera
from thermview.sources.kept_layouts import kept_layout
from thermview.sources.knobs import CameraKnobs
from thermview.sources.v4l2_node import PictureFormat, PictureSize, VideoNode

ROOM = (18950 + np.arange(48)).astype("<u2").reshape(6, 8)
Y16 = (PictureFormat("Y16", "raw", (PictureSize(8, 6, (25.0,)),)),)
SHUTTER_LAYOUT = """
note = "raw counts, a control for its shutter"
format = "Y16"
k_per_count = 0.015625
[shutter]
control = "Shutter"
value = 3
"""


class Bench:
    """One camera that may move to another port, with the controls of its device."""

    def __init__(self, serial: str = "A100") -> None:
        self.found = [FoundCamera(0, "Bench camera", serial, "1-1", Y16)]
        self.asked: list[Path] = []
        self.controls = [
            FakeControl(1, b"Brightness", abi.CTRL_TYPE_INTEGER, -10, 10, 0),
            FakeControl(2, b"Shutter", abi.CTRL_TYPE_INTEGER, 0, 5, 0),
        ]

    def node(self, path: Path) -> VideoNode:
        self.asked.append(path)
        node = FakeNode()
        node.controls = self.controls
        node.ready += [Delivered(ROOM.tobytes(), n, 1e6 + 0.04 * n) for n in range(3)]
        return node

    def knobs(self, layout: str | None = None) -> CameraKnobs:
        openers = Openers(capture=lambda _: None, node=self.node, find=lambda: self.found)
        camera = open_camera("0", OpenOptions(profile=layout), openers)
        camera.close()
        return CameraKnobs(camera, openers)


def test_controls_are_reached_where_the_camera_is_now() -> None:
    bench = Bench()
    knobs = bench.knobs()
    assert [c.name for c in knobs.controls()] == ["Brightness", "Shutter"]
    bench.found = [FoundCamera(4, "Bench camera", "A100", "2-3", Y16)]
    knobs.set("brightness", -4)
    assert bench.asked[-1] == Path("/dev/video4")
    assert knobs.controls()[0].value == -4
    with pytest.raises(UsageError, match="-10 to 10"):
        knobs.set("Brightness", 11)
    bench.found = []
    with pytest.raises(DeviceError, match="Bench camera is not plugged in"):
        knobs.controls()


def test_the_shutter_is_worked_by_what_the_layout_names(tmp_path: Path) -> None:
    bench = Bench()
    plain = bench.knobs()
    assert not plain.has_shutter
    with pytest.raises(UsageError, match="names no control"):
        plain.work_shutter()
    file = tmp_path / "with-shutter.toml"
    file.write_text(SHUTTER_LAYOUT)
    knobs = bench.knobs(str(file))
    assert knobs.has_shutter
    knobs.work_shutter()
    assert bench.controls[1].value == 3


def test_a_layout_is_kept_by_serial_and_can_be_forgotten() -> None:
    bench = Bench()
    knobs = bench.knobs("y16-decikelvin")
    assert (knobs.layout, knobs.reason, knobs.is_kept) == ("y16-decikelvin", "chosen by you", False)
    knobs.keep()
    assert knobs.is_kept
    again = bench.knobs()
    assert again.reason == "kept for the camera with serial A100"
    assert again.is_kept
    again.keep()  # nothing to do, and no error
    again.forget()
    assert kept_layout("A100") is None
    assert not again.is_kept


def test_without_a_serial_nothing_can_be_kept() -> None:
    knobs = Bench(serial="").knobs("y16-decikelvin")
    assert not knobs.is_kept
    with pytest.raises(UsageError, match="no serial"):
        knobs.keep()
