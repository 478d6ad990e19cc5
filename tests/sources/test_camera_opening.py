"""Which camera is opened, by which reader, and how it is found again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from fake_node import Delivered, FakeNode

from thermview.errors import DeviceError, UsageError
from thermview.sources import OpenOptions, reopener
from thermview.sources.camera_opening import Openers, open_camera
from thermview.sources.cameras import FoundCamera, find_camera
from thermview.sources.hotplug import CameraWatch
from thermview.sources.kept_layouts import keep_layout
from thermview.sources.knobs import CameraKnobs
from thermview.sources.v4l2_node import PictureFormat, PictureSize, VideoNode

Y16 = (PictureFormat("Y16", "raw", (PictureSize(8, 6, (25.0,)),)),)
BENCH = FoundCamera(0, "Bench camera", "A100", "1-1", Y16)
OTHER = FoundCamera(2, "Bench camera", "A200", "1-2", Y16)
PORTLESS = FoundCamera(4, "Webcam", "", "1-3", Y16)
ALL = (BENCH, OTHER, PORTLESS)
ROOM = (18950 + np.arange(48)).astype("<u2").reshape(6, 8)


class Machine:
    """Cameras that come and go, each with a node that has a picture ready."""

    def __init__(self, *cameras: FoundCamera) -> None:
        self.cameras: Sequence[FoundCamera] = cameras
        self.nodes: dict[Path, FakeNode] = {}

    def node(self, path: Path) -> VideoNode:
        self.nodes[path] = FakeNode()
        self.nodes[path].ready += [Delivered(ROOM.tobytes(), n, 1e6 + 0.04 * n) for n in range(3)]
        return self.nodes[path]

    @property
    def openers(self) -> Openers:
        return Openers(capture=lambda _: None, node=self.node, find=lambda: self.cameras)


@pytest.mark.parametrize(
    ("selector", "index"),
    [("0", 0), ("2", 2), ("A200", 2), ("1-1", 0), ("web", 4), ("Webcam", 4)],
)
def test_a_camera_is_named_by_number_serial_port_or_name(selector: str, index: int) -> None:
    assert find_camera(selector, ALL).index == index


@pytest.mark.parametrize(
    ("selector", "words"),
    [
        ("bench", "more than one .*camera:0 .*serial A100.*camera:2 .*give a number"),
        ("9", "no camera:9; found: camera:0"),
        ("A300", "no camera:A300"),
    ],
)
def test_none_or_several_lists_what_there_is(selector: str, words: str) -> None:
    with pytest.raises(DeviceError, match=words) as caught:
        find_camera(selector, ALL)
    assert caught.value.exit_code == 3


def test_the_direct_reader_serves_what_it_can_and_tells_the_layout() -> None:
    machine = Machine(*ALL)
    camera = open_camera("A100", None, machine.openers)
    assert camera.info.address == "camera:A100"
    assert camera.info.rate_hz == 25.0
    assert camera.info.notes[0].startswith("layout y16-linear: half of the raw values are above")
    frame = camera.read(0.0)
    assert frame is not None
    np.testing.assert_array_equal(frame.counts, ROOM)
    camera.close()
    assert machine.nodes[Path("/dev/video0")].closed


def test_a_chosen_layout_beats_a_kept_one_and_that_the_guess() -> None:
    machine = Machine(*ALL)
    keep_layout("A100", "y16-centikelvin")
    reasons = []
    for options in (OpenOptions(profile="y16-decikelvin"), OpenOptions()):
        camera = open_camera("0", options, machine.openers)
        reasons.append(camera.info.notes[0])
        camera.close()
    assert reasons == [
        "layout y16-decikelvin: chosen by you",
        "layout A100: kept for the camera with serial A100",
    ]


def test_a_camera_is_found_again_by_its_serial_whatever_its_number() -> None:
    machine = Machine(BENCH, OTHER)
    camera = open_camera("0", None, machine.openers)
    again = reopener(camera, "camera:0")
    camera.close()
    machine.cameras = (OTHER, FoundCamera(3, "Bench camera", "A100", "2-4", Y16))
    from thermview.sources.camera_opening import camera_again

    back = camera_again(camera, machine.openers)()
    assert back.origin is not None
    assert back.origin.found.index == 3
    assert back.zero_s == camera.zero_s
    back.close()
    with pytest.raises(DeviceError, match="not plugged in"):
        again()


def test_trouble_is_told_with_the_cameras_name() -> None:
    barred = FoundCamera(0, "Bench camera", trouble="/dev/video0 may not be read by this user")
    with pytest.raises(DeviceError, match=r"camera:0 \(Bench camera\): /dev/video0 may not"):
        open_camera("0", None, Machine(barred).openers)
    video = FoundCamera(0, "Webcam", formats=(PictureFormat("MJPG", "video"),))
    with pytest.raises(DeviceError, match=r"\(Webcam\) is busy"):
        open_camera("0", None, Machine(video).openers)


def test_a_shutter_without_a_named_control_is_told() -> None:
    camera = open_camera("0", None, Machine(BENCH).openers)
    with pytest.raises(UsageError, match="y16-linear names no control"):
        CameraKnobs(camera, Machine(BENCH).openers).work_shutter()
    camera.close()


def test_plugging_shows_without_waiting(tmp_path: Path) -> None:
    """On the folder of the test's own instead of /dev: the kernel tells of files alike."""
    watch = CameraWatch(tmp_path)
    assert not watch.poll()
    (tmp_path / "null").touch()
    assert not watch.poll()
    (tmp_path / "video0").touch()
    assert watch.poll()
    assert not watch.poll()
    (tmp_path / "video0").unlink()
    assert watch.poll()
    watch.close()
    watch.close()


def test_where_nothing_tells_of_plugging_the_list_is_looked_at_every_few_seconds(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("sys.platform", "darwin")
    moments = iter([0.0, 1.0, 2.9, 3.1, 3.1, 4.0])
    watch = CameraWatch(tmp_path, clock=lambda: next(moments))
    assert [watch.poll() for _ in range(4)] == [False, False, True, False]
    watch.close()
