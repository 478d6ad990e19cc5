"""The direct reader on a node that a test plays, and its structures against the kernel's header."""

from __future__ import annotations

import ctypes
import errno
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from fake_node import Delivered, FakeControl, FakeNode

from thermview.errors import DeviceError, SourceLostError, UsageError
from thermview.sources import v4l2_abi as abi
from thermview.sources.controls import ControlKind, controls_of, set_control
from thermview.sources.grabber import Stream
from thermview.sources.v4l2 import V4l2Grabber
from thermview.sources.v4l2_node import (
    KernelNode,
    captures_video,
    formats_of,
    holders_of,
    open_node,
    why_not,
)

RAW = np.arange(48, dtype="<u2").reshape(6, 8) * 1361
Y16 = Stream("Y16", 0, 0)

STRUCTURES: dict[str, type[ctypes.Structure]] = {
    "v4l2_capability": abi.Capability,
    "v4l2_fmtdesc": abi.FmtDesc,
    "v4l2_frmsizeenum": abi.FrmSizeEnum,
    "v4l2_frmivalenum": abi.FrmIvalEnum,
    "v4l2_format": abi.Format,
    "v4l2_streamparm": abi.StreamParm,
    "v4l2_requestbuffers": abi.RequestBuffers,
    "v4l2_buffer": abi.Buffer,
    "v4l2_queryctrl": abi.QueryCtrl,
    "v4l2_querymenu": abi.QueryMenu,
    "v4l2_control": abi.ControlValue,
}
PLACES = {
    ("v4l2_capability", "device_caps"): abi.Capability.device_caps,
    ("v4l2_fmtdesc", "pixelformat"): abi.FmtDesc.pixelformat,
    ("v4l2_frmsizeenum", "discrete.width"): abi.FrmSizeEnum.width,
    ("v4l2_frmivalenum", "discrete.denominator"): abi.FrmIvalEnum.denominator,
    ("v4l2_format", "fmt.pix.width"): abi.Format.width,
    ("v4l2_format", "fmt.pix.bytesperline"): abi.Format.bytesperline,
    ("v4l2_format", "fmt.pix.sizeimage"): abi.Format.sizeimage,
    ("v4l2_streamparm", "parm.capture.timeperframe.denominator"): abi.StreamParm.denominator,
    ("v4l2_buffer", "bytesused"): abi.Buffer.bytesused,
    ("v4l2_buffer", "timestamp.tv_sec"): abi.Buffer.seconds,
    ("v4l2_buffer", "timestamp.tv_usec"): abi.Buffer.microseconds,
    ("v4l2_buffer", "sequence"): abi.Buffer.sequence,
    ("v4l2_buffer", "m"): abi.Buffer.m,
    ("v4l2_buffer", "length"): abi.Buffer.length,
    ("v4l2_queryctrl", "flags"): abi.QueryCtrl.flags,
    ("v4l2_querymenu", "name"): abi.QueryMenu.name,
}
NUMBERS = {
    name: getattr(abi, name.removeprefix("VIDIOC_").removeprefix("V4L2_"))
    for name in [
        "VIDIOC_QUERYCAP",
        "VIDIOC_ENUM_FMT",
        "VIDIOC_G_FMT",
        "VIDIOC_S_FMT",
        "VIDIOC_REQBUFS",
        "VIDIOC_QUERYBUF",
        "VIDIOC_QBUF",
        "VIDIOC_DQBUF",
        "VIDIOC_STREAMON",
        "VIDIOC_STREAMOFF",
        "VIDIOC_G_PARM",
        "VIDIOC_S_PARM",
        "VIDIOC_G_CTRL",
        "VIDIOC_S_CTRL",
        "VIDIOC_QUERYCTRL",
        "VIDIOC_QUERYMENU",
        "VIDIOC_ENUM_FRAMESIZES",
        "VIDIOC_ENUM_FRAMEINTERVALS",
        "V4L2_CAP_VIDEO_CAPTURE",
        "V4L2_CAP_DEVICE_CAPS",
        "V4L2_BUF_FLAG_ERROR",
        "V4L2_BUF_FLAG_TIMESTAMP_MASK",
        "V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC",
        "V4L2_CTRL_FLAG_DISABLED",
        "V4L2_CTRL_FLAG_READ_ONLY",
        "V4L2_CTRL_FLAG_INACTIVE",
        "V4L2_CTRL_FLAG_WRITE_ONLY",
        "V4L2_CTRL_FLAG_NEXT_CTRL",
        "V4L2_CTRL_TYPE_INTEGER",
        "V4L2_CTRL_TYPE_BOOLEAN",
        "V4L2_CTRL_TYPE_MENU",
        "V4L2_CTRL_TYPE_BUTTON",
    ]
}


def test_structures_and_numbers_are_the_kernels(tmp_path: Path) -> None:
    """Against linux/videodev2.h of this machine, through its C compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or not Path("/usr/include/linux/videodev2.h").exists():
        pytest.skip("no C compiler or no kernel header here")
    lines = [f"sizeof(struct {name})" for name in STRUCTURES]
    lines += [f"offsetof(struct {name}, {place})" for name, place in PLACES]
    lines += [f"(unsigned){name}" for name in NUMBERS]
    body = "".join(f'printf("%lu\\n", (unsigned long)({line}));' for line in lines)
    source = tmp_path / "abi.c"
    source.write_text(
        "#include <stdio.h>\n#include <stddef.h>\n#include <linux/videodev2.h>\n"
        f"int main(void) {{ {body} return 0; }}\n"
    )
    subprocess.run([compiler, source, "-o", tmp_path / "abi"], check=True)
    answer = subprocess.run([tmp_path / "abi"], check=True, capture_output=True, text=True)
    ours = [ctypes.sizeof(s) for s in STRUCTURES.values()]
    ours += [place.offset for place in PLACES.values()]
    ours += list(NUMBERS.values())
    theirs = [int(line) for line in answer.stdout.split()]
    assert dict(zip(lines, ours, strict=True)) == dict(zip(lines, theirs, strict=True))


# -- the stream --------------------------------------------------------------------------------


def test_pictures_numbers_and_times_come_as_the_driver_says() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Y16)
    assert grabber.stream == Stream("Y16", 8, 6, 25.0)
    assert grabber.grab(0.0) is None
    for sequence in (0, 1, 4):
        node.ready.append(Delivered((RAW + sequence).tobytes(), sequence, 12.5 + 0.04 * sequence))
        grab = grabber.grab(0.0)
        assert grab is not None
        np.testing.assert_array_equal(grab.picture, RAW + sequence)
        assert grab.picture.dtype == np.uint16
        assert (grab.sequence, grab.damaged, grab.exact) == (sequence, False, True)
        assert grab.stamp_s == pytest.approx(12.5 + 0.04 * sequence, abs=1e-6)
    assert not node.out, "every buffer is given back"
    grabber.close()
    grabber.close()
    assert node.closed
    assert all(memory.closed for memory in node.maps)


def test_short_and_flagged_pictures_are_damaged_and_filled_with_zeros() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Y16)
    half = RAW.tobytes()[:48]
    node.ready += [
        Delivered(half),
        Delivered(RAW.tobytes(), flags=abi.BUF_FLAG_ERROR | abi.BUF_FLAG_TIMESTAMP_MONOTONIC),
        Delivered(b""),
        Delivered(RAW.tobytes()),
    ]
    grabs = [grabber.grab(0.0) for _ in range(4)]
    assert [g is not None and g.damaged for g in grabs] == [True, True, True, False]
    assert grabs[0] is not None
    assert grabs[0].picture.tobytes() == half + bytes(48)
    grabber.close()


def test_stamps_of_another_clock_are_not_taken() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Y16)
    node.ready.append(Delivered(RAW.tobytes(), flags=0))
    grab = grabber.grab(0.0)
    assert grab is not None
    assert (grab.stamp_s, grab.exact) == (None, False)
    grabber.close()


def test_padded_rows_and_packed_video() -> None:
    node = FakeNode({"YUYV": [(8, 6)]}, stride=20)
    grabber = V4l2Grabber(node, Stream("YUYV", 8, 6))
    rows = np.full((6, 20), 0xEE, np.uint8)
    rows[:, :16] = RAW.view(np.uint8).reshape(6, 16)
    node.ready.append(Delivered(rows.tobytes()))
    grab = grabber.grab(0.0)
    assert grab is not None
    assert grab.picture.shape == (6, 8, 2)
    np.testing.assert_array_equal(np.ascontiguousarray(grab.picture).view("<u2")[..., 0], RAW)
    grabber.close()


def test_an_unplugged_camera_is_lost_and_lets_go() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Y16)
    node.gone = True
    with pytest.raises(SourceLostError):
        grabber.grab(0.0)
    grabber.close()
    assert node.closed
    assert all(memory.closed for memory in node.maps)


def test_the_last_picture_before_the_cable_came_out_is_kept() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Y16)
    node.ready.append(Delivered(RAW.tobytes(), 3))
    node.refuses[abi.QBUF] = errno.ENODEV  # pulled between fetching it and giving it back
    grab = grabber.grab(0.0)
    assert grab is not None
    assert grab.sequence == 3
    node.gone = True
    with pytest.raises(SourceLostError):
        grabber.grab(0.0)
    grabber.close()


@pytest.mark.parametrize("request_", [abi.S_FMT, abi.REQBUFS, abi.STREAMON])
def test_a_busy_camera_says_so_and_is_let_go(request_: int) -> None:
    node = FakeNode()
    node.refuses[request_] = errno.EBUSY
    with pytest.raises(DeviceError, match="video7 is busy: close the program") as caught:
        V4l2Grabber(node, Y16)
    assert caught.value.exit_code == 3
    assert node.closed


@pytest.mark.parametrize("wanted", [Stream("Y16", 8, 6), Stream("YUYV", 9, 9)])
def test_what_the_camera_lacks_is_refused(wanted: Stream) -> None:
    node = FakeNode({"YUYV": [(8, 6)]})
    with pytest.raises(DeviceError, match="gives YUYV 8 × 6 when asked for"):
        V4l2Grabber(node, wanted)
    assert node.closed


def test_the_rate_is_asked_for_and_read_back() -> None:
    node = FakeNode()
    grabber = V4l2Grabber(node, Stream("Y16", 0, 0, 9.0))
    assert node.rate == (1000, 9000)
    assert grabber.stream.rate_hz == 9.0
    grabber.close()
    node = FakeNode()
    node.refuses[abi.G_PARM] = errno.ENOTTY
    grabber = V4l2Grabber(node, Y16)
    assert grabber.stream.rate_hz is None
    grabber.close()


# -- what a node tells of itself ---------------------------------------------------------------


def test_formats_sizes_and_rates() -> None:
    node = FakeNode({"YUYV": [(256, 192), (256, 384)], "Y16": [(256, 192)]})
    formats = formats_of(node)
    assert [each.code for each in formats] == ["YUYV", "Y16"]
    assert str(formats[0]) == ("YUYV (words for YUYV): 256 × 192 at 25, 9/s; 256 × 384 at 25, 9/s")
    assert captures_video(node)
    assert not captures_video(FakeNode(caps=0x0080_0000))  # metadata


def test_refusals_in_words(tmp_path: Path) -> None:
    path = Path("/dev/video0")
    assert "usermod -aG video" in why_not(path, PermissionError(errno.EACCES, "no"))
    assert "plug the camera in" in why_not(path, OSError(errno.ENODEV, "no"))
    assert "unplug the camera" in why_not(path, OSError(errno.EIO, "I/O error"))
    with pytest.raises(DeviceError, match="is gone"):
        open_node(tmp_path / "video9")


def test_who_holds_a_file_is_named(tmp_path: Path) -> None:
    for number, held in ((41, "/dev/video7"), (40, "/dev/video7"), (42, "/dev/null")):
        descriptors = tmp_path / str(number) / "fd"
        descriptors.mkdir(parents=True)
        (descriptors / "3").symlink_to(held)
        (tmp_path / str(number) / "comm").write_text(f"viewer{number}\n")
    (tmp_path / "43").mkdir()
    assert holders_of(Path("/dev/video7"), tmp_path) == [("viewer40", 40), ("viewer41", 41)]


def test_a_plain_file_answers_nothing(tmp_path: Path) -> None:
    (tmp_path / "video0").touch()
    node = KernelNode(tmp_path / "video0")
    assert captures_video(node) is None
    assert formats_of(node) == ()
    node.close()
    node.close()


# -- controls ----------------------------------------------------------------------------------


def node_with_controls() -> FakeNode:
    node = FakeNode()
    node.controls = [
        FakeControl(0x98_0001, b"User Controls", abi.CTRL_TYPE_CTRL_CLASS),
        FakeControl(0x98_0900, b"Brightness", abi.CTRL_TYPE_INTEGER, -64, 64, 3),
        FakeControl(
            0x98_0918,
            b"Power Line Frequency",
            abi.CTRL_TYPE_MENU,
            0,
            3,
            1,
            choices={0: b"off", 1: b"50 Hz", 3: b"auto"},
        ),
        FakeControl(0x98_0999, b"Flat Field", abi.CTRL_TYPE_BUTTON),
        FakeControl(0x9A_0901, b"Focus", abi.CTRL_TYPE_INTEGER, flags=abi.CTRL_FLAG_INACTIVE),
        FakeControl(0x9A_0902, b"Broken", abi.CTRL_TYPE_INTEGER, flags=abi.CTRL_FLAG_DISABLED),
    ]
    return node


def test_controls_are_listed_as_the_driver_offers_them() -> None:
    brightness, power, flat, focus = controls_of(node_with_controls())
    assert str(brightness) == "Brightness: 3 (-64 … 64)"
    assert str(power) == "Power Line Frequency: 1 (0 off, 1 50 Hz, 3 auto)"
    assert (flat.kind, flat.value) == (ControlKind.BUTTON, None)
    assert (focus.settable, brightness.settable) == (False, True)


def test_controls_are_set_by_name_and_never_clipped() -> None:
    node = node_with_controls()
    set_control(node, "brightness", -64)
    assert node.controls[1].value == -64
    set_control(node, "Flat Field", 1)
    assert node.controls[3].value == 1
    with pytest.raises(UsageError, match="must be -64 to 64"):
        set_control(node, "Brightness", 65)
    assert node.controls[1].value == -64
    with pytest.raises(UsageError, match="it has Brightness, Power"):
        set_control(node, "Contrast", 1)
    node.refuses[abi.S_CTRL] = errno.EBUSY
    with pytest.raises(DeviceError, match="Brightness"):
        set_control(node, "Brightness", 1)
