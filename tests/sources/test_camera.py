"""A camera through OpenCV's capture, played by a stand-in that answers as the real one does.

What OpenCV does with 16-bit cameras on Linux was measured with OpenCV 4.14 and 5.0 on a UVC camera
in a virtual machine: `set` says yes to everything, 16-bit raw comes as uint16 (rows, columns) once
conversion is off, packed video as uint8 (rows, columns, 2), an unplugged camera fails at once, a
silent one after the time-out, `isOpened` stays true in both.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from thermview.errors import DeviceError, InputError, SourceEndedError, SourceLostError, UsageError
from thermview.frames import Frame, FrameFlag, Scale
from thermview.sources import OpenOptions
from thermview.sources.camera_opening import Openers, open_camera
from thermview.sources.cameras import FoundCamera, find_cameras
from thermview.sources.capture import OpenCvGrabber
from thermview.sources.grabber import Grab, Stream
from thermview.sources.guessing import Guess
from thermview.sources.layouts import Shutter, layout_named, layouts, read_layout
from thermview.sources.rescaling import RescalingWatch
from thermview.sources.sequence import Sequencer
from thermview.sources.shutter_watch import ShutterWatch
from thermview.sources.uvc import Camera
from thermview.sources.v4l2_abi import fourcc, fourcc_text

RAW = np.random.default_rng(7).integers(17000, 23000, (12, 16), dtype=np.uint16)


class Clock:
    def __init__(self) -> None:
        self.now_s = 50.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class StandIn:
    """A capture that gives pictures; None is a read that fails."""

    def __init__(
        self,
        pictures: Iterable[Any],
        formats: tuple[str, ...] = ("Y16",),
        clock: Clock | None = None,
        fails_after_s: float = 0.0,
    ) -> None:
        self._pictures = iter(pictures)
        self._formats = formats
        self._format = formats[0]
        self._clock = clock or Clock()
        self._fails_after_s = fails_after_s
        self.asked: dict[int, float] = {}
        self.released = 0

    def set(self, prop: int, value: float) -> bool:
        self.asked[prop] = value
        if prop == cv2.CAP_PROP_FOURCC and fourcc_text(value) in self._formats:
            self._format = fourcc_text(value)
        return True

    def get(self, prop: int) -> float:
        if prop == cv2.CAP_PROP_FOURCC:
            return float(fourcc(self._format))
        if prop == cv2.CAP_PROP_POS_MSEC:
            return 1000.0 * (self._clock.now_s + 7000.0)
        return 25.0 if prop == cv2.CAP_PROP_FPS else -1.0

    def read(self) -> tuple[bool, Any]:
        picture = next(self._pictures, None)
        self._clock.now_s += 0.04 if picture is not None else self._fails_after_s
        return picture is not None, picture

    def release(self) -> None:
        self.released += 1


def camera(
    stand_in: StandIn,
    options: OpenOptions | None = None,
    clock: Clock | None = None,
    present: Callable[[], bool] = lambda: True,
) -> Camera:
    clock = clock or stand_in._clock
    options = options or OpenOptions()
    chosen = Guess(layout_named(options.profile), "chosen") if options.profile else None
    wanted = Stream(chosen.layout.format if chosen else "", 0, 0)
    grabber = OpenCvGrabber(stand_in, wanted, present=present, clock=clock, sleep=clock.sleep)
    return Camera(grabber, "camera:0", "stand-in", options, chosen=chosen, clock=clock)


def openers(capture: Callable[[int], StandIn]) -> Openers:
    """Return what finds one camera that only OpenCV can read."""
    return Openers(capture=capture, find=lambda: [FoundCamera(0, "stand-in")])


def packed(raw: Any) -> Any:
    """Return uint16 counts as the two bytes a pixel of packed video."""
    return raw.astype("<u2").view(np.uint8).reshape(*raw.shape, 2)


def test_raw_counts_come_through_bit_by_bit() -> None:
    stand_in = StandIn([RAW, RAW + 1], ("YUYV", "Y16"))
    source = camera(stand_in, OpenOptions(scale_k=0.01))
    assert stand_in.asked[cv2.CAP_PROP_CONVERT_RGB] == 0
    assert source.info.scale == Scale(0.01)
    assert source.info.live
    assert source.info.camera == "stand-in (Y16)"
    for expected in (RAW, RAW + 1):
        frame = source.read(1.0)
        assert frame is not None
        np.testing.assert_array_equal(frame.counts, expected)
    source.close()
    assert stand_in.released == 1


def test_raw_counts_without_a_scale_are_brightness() -> None:
    source = camera(StandIn([RAW]))
    assert source.info.scale.relative
    assert any("--scale" in note for note in source.info.notes)
    source.close()


def test_colour_video_is_never_in_degrees() -> None:
    picture = np.zeros((12, 16, 3), np.uint8)
    picture[..., 2] = 100  # OpenCV's order is blue, green, red; BT.601 gives red 0.299
    stand_in = StandIn([picture], ("MJPG",))
    source = camera(stand_in, OpenOptions(scale_k=0.01))
    assert stand_in.asked[cv2.CAP_PROP_CONVERT_RGB] == 1
    assert source.info.scale.relative
    assert any("no temperatures" in note for note in source.info.notes)
    frame = source.read(1.0)
    assert frame is not None
    assert frame.counts.dtype == np.uint16
    assert (frame.counts == 30).all()
    source.close()


@pytest.mark.parametrize(
    ("profile", "picture"),
    [
        ("y16-linear", RAW),
        ("y16-big-endian", RAW.byteswap()),
        ("double-height-lower-raw", packed(np.vstack([RAW * 0 + 9, RAW]))),
        ("double-height-upper-raw", packed(np.vstack([RAW, RAW * 0 + 9]))),
    ],
)
def test_layouts_unpack_the_raw_half(profile: str, picture: Any) -> None:
    source = camera(StandIn([picture], ("YUYV", "Y16")), OpenOptions(profile=profile))
    frame = source.read(1.0)
    assert frame is not None
    np.testing.assert_array_equal(frame.counts, RAW)
    assert (source.info.height_px, source.info.width_px) == RAW.shape
    if profile != "y16-big-endian":
        assert source.info.scale == Scale(1 / 64)
    source.close()


def test_a_layout_that_does_not_fit_the_stream() -> None:
    stand_in = StandIn([np.zeros((12, 16, 3), np.uint8)])
    with pytest.raises(DeviceError, match="does not fit"):
        open_camera("0", OpenOptions(profile="y16-linear"), openers(lambda _: stand_in))
    assert stand_in.released == 1


def test_an_unknown_layout_is_told_before_the_camera_is_touched() -> None:
    with pytest.raises(UsageError, match="y16-linear"):
        open_camera("0", OpenOptions(profile="nonsense"), openers(lambda _: pytest.fail("touched")))


def test_every_layout_that_comes_with_the_program_is_sound() -> None:
    assert len(layouts()) >= 6
    assert all(layout.note for layout in layouts().values())


@pytest.mark.parametrize(
    "text",
    [
        "",
        "format = 16",
        'format = "Y16"\nraw_rows = "left"',
        'format = "Y16"\nbyte_order = "middle"',
        'format = "Y16"\nk_per_count = 0.0',
        'format = "Y16"\nwidth = -3',
        'format = "Y16"\ncolour = "red"',
        "not toml",
    ],
)
def test_a_users_layout_with_a_mistake(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=r"mine\.toml"):
        read_layout(path)


def test_a_silent_camera_is_a_stall_and_comes_back() -> None:
    stand_in = StandIn([RAW, None, None, RAW], fails_after_s=1.0)
    source = camera(stand_in)
    assert source.read(0.5) is not None
    assert source.read(0.5) is None
    assert source.read(0.5) is None
    assert source.read(0.5) is not None
    source.close()


def test_an_unplugged_camera_is_lost() -> None:
    source = camera(StandIn([RAW, None]), present=lambda: False)
    source.read(0.5)
    with pytest.raises(SourceLostError, match="stand-in is gone"):
        source.read(0.5)
    source.close()


def test_where_presence_is_unknown_failing_at_once_again_and_again_is_lost() -> None:
    clock = Clock()
    source = camera(StandIn([RAW], clock=clock))
    source.read(0.5)
    begun = clock.now_s
    reads = (source.read(0.5) for _ in range(100))
    with pytest.raises(SourceLostError):
        list(reads)
    assert 0.5 < clock.now_s - begun < 2.0  # no busy loop, and no long wait
    source.close()


def test_a_camera_without_pictures_is_a_device_error() -> None:
    stand_in = StandIn([], fails_after_s=1.0)
    with pytest.raises(DeviceError, match="gives no picture"):
        camera(stand_in)


def test_a_closed_camera_has_ended() -> None:
    stand_in = StandIn([RAW] * 3)
    source = camera(stand_in)
    source.close()
    source.close()
    with pytest.raises(SourceEndedError):
        source.read(0.1)
    assert stand_in.released == 1


def test_a_stream_that_changes_its_size_is_told() -> None:
    source = camera(StandIn([RAW, RAW[:6]]))
    source.read(0.1)
    with pytest.raises(SourceLostError, match="16 × 6"):
        source.read(0.1)
    source.close()


# -- times, gaps, repetitions ------------------------------------------------------------------


def numbered(n: int) -> Any:
    return np.full((2, 2), n, np.uint16)


def test_lost_frames_show_as_jumps_of_the_number() -> None:
    sequencer = Sequencer(Scale(1.0))
    stamps = [0.04 * n + 3 for n in range(10)] + [0.04 * n + 3 for n in range(13, 16)]
    frames = [
        sequencer.frame(numbered(n), stamp - 3 + 0.002, stamp) for n, stamp in enumerate(stamps)
    ]
    assert [f.index for f in frames] == [*range(10), 13, 14, 15]
    gaps = [bool(f.flags & FrameFlag.GAP_BEFORE) for f in frames]
    assert gaps == [False] * 10 + [True] + [False] * 2


def test_an_uneven_reader_is_no_gap() -> None:
    """The driver's stamps are even although we read late."""
    sequencer = Sequencer(Scale(1.0))
    late = [0.0, 0.0, 0.3, 0.3, 0.0, 0.1, 0.4, 0.0]
    frames = [sequencer.frame(numbered(n), 0.04 * n + late[n], 9.0 + 0.04 * n) for n in range(8)]
    assert [f.index for f in frames] == list(range(8))
    np.testing.assert_allclose(np.diff([f.time_s for f in frames]), 0.04)


@pytest.mark.parametrize("stamp", [lambda n: None, lambda n: 0.0, lambda n: 5.0, lambda n: 9.0 - n])
def test_without_usable_stamps_our_clock_serves(stamp: Callable[[int], float | None]) -> None:
    sequencer = Sequencer(Scale(1.0))
    times = [sequencer.frame(numbered(n), 0.1 * n, stamp(n)).time_s for n in range(6)]
    assert (np.diff(times) > 0).all()
    np.testing.assert_allclose(times, 0.1 * np.arange(6), atol=1e-3)


def test_identical_counts_are_flagged_as_repeated() -> None:
    sequencer = Sequencer(Scale(1.0))
    flags = [sequencer.frame(numbered(v), 0.1 * n, None).flags for n, v in enumerate([1, 1, 2])]
    assert flags == [FrameFlag.NONE, FrameFlag.REPEATED, FrameFlag.NONE]


# -- the camera's own rescaling ------------------------------------------------------------------


def scene(n: int) -> Any:
    rng = np.random.default_rng(n)
    y, x = np.mgrid[:48, :64]
    return (
        20000
        + 10 * x
        + 2000 * np.exp(-((x - 30) ** 2 + (y - 20) ** 2) / 50)
        + rng.normal(0, 5, (48, 64))
    )


def warnings_of(pictures: Iterable[Any], *, eight_bit: bool = False) -> list[str]:
    watch = RescalingWatch(eight_bit=eight_bit)
    return [
        words
        for n, picture in enumerate(pictures)
        for words in watch.look(picture.astype(np.uint16), n / 25)
    ]


def test_a_steady_or_warming_scene_gives_no_warning() -> None:
    assert warnings_of(scene(n) for n in range(60)) == []
    spot = np.zeros((48, 64))
    spot[10:20, 10:20] = 1.0
    assert warnings_of(scene(n) + 30 * n * spot for n in range(60)) == []
    assert warnings_of(scene(n) + 2.0 * n for n in range(60)) == []  # drift


@pytest.mark.parametrize(("gain", "step"), [(1.0, 300.0), (1.2, 0.0), (0.8, 5000.0)])
def test_a_jump_of_the_whole_picture_is_told_once(gain: float, step: float) -> None:
    pictures = [scene(n) if n < 30 else gain * scene(n) + step for n in range(60)]
    words = warnings_of(pictures)
    assert len(words) == 1
    assert "at 1.20 s the whole picture jumped" in words[0]


def test_a_picture_stretched_to_the_full_range_is_told() -> None:
    def stretched(n: int) -> Any:
        picture = scene(n)
        low, high = np.percentile(picture, (1, 99))
        return np.clip((picture - low) / (high - low) * 255, 0, 255)

    words = warnings_of((stretched(n) for n in range(60)), eight_bit=True)
    assert len([w for w in words if "stretches" in w]) == 1
    assert warnings_of((scene(n) / 256 for n in range(60)), eight_bit=True) == []


def test_a_camera_passes_the_warning_on() -> None:
    pictures = [scene(n).astype(np.uint16) + (500 if n > 20 else 0) for n in range(30)]
    source = camera(StandIn(pictures))
    for _ in pictures:
        source.read(0.1)
    words = source.take_warnings()
    assert len(words) == 1
    assert source.take_warnings() == []
    source.close()


def test_finding_cameras_ignores_what_is_no_camera(tmp_path: Path) -> None:
    """A plain file answers no video request; its description says whether it is a first node."""
    (tmp_path / "dev").mkdir()
    for name, number in (("video0", "0"), ("video1", "1"), ("videoX", "0")):
        (tmp_path / "dev" / name).touch()
        described = tmp_path / "sys" / name
        described.mkdir(parents=True)
        (described / "name").write_text(f"bench camera {number}\n")
        (described / "index").write_text(f"{number}\n")
    found = find_cameras(tmp_path / "dev", tmp_path / "sys")
    assert [(c.index, c.name) for c in found] == [(0, "bench camera 0")]


# -- what the driver knows -----------------------------------------------------------------------


class Scripted:
    """A grabber that gives what it is told, with times of the clock that the camera uses."""

    def __init__(self, clock: Clock, grabs: Iterable[Grab]) -> None:
        self.stream = Stream("Y16", 16, 12, 25.0)
        self._clock = clock
        self._grabs = deque(grabs)

    def grab(self, timeout_s: float) -> Grab | None:
        if not self._grabs:
            self._clock.now_s += timeout_s
            return None
        grab = self._grabs.popleft()
        assert grab.stamp_s is not None
        self._clock.now_s = max(self._clock.now_s, grab.stamp_s + 0.002)
        return grab

    def close(self) -> None:
        self._grabs.clear()


def driven(
    *numbers: int,
    still: Sequence[int] = (),
    damaged: Sequence[int] = (),
    period_s: float = 0.04,
    wait_s: float = 0.0,
) -> list[Frame]:
    """Return the frames of a camera that sends these numbers, read after a wait."""
    clock = Clock()
    grabs, shown = [], RAW
    for n in numbers:
        shown = shown if n in still else room(n)
        stamp_s = 50.0 + period_s * n
        grabs.append(Grab(shown, stamp_s, n, damaged=n in damaged, exact=True))
    source = Camera(Scripted(clock, grabs), "camera:0", "scripted", OpenOptions(), clock=clock)
    clock.now_s += wait_s
    frames = list(iter(lambda: source.read(0.1), None))
    source.close()
    return frames


def room(seed: int) -> Any:
    """Return a room's picture at 1/64 K a count."""
    noise = np.random.default_rng(seed).normal(0, 3, (12, 16))
    return (18950 + noise + np.arange(16) * 4).astype(np.uint16)


def test_the_drivers_numbers_tell_what_was_lost_and_its_times_are_taken() -> None:
    frames = driven(0, 1, 2, 5, 6)
    assert [f.index for f in frames] == [0, 1, 2, 5, 6]
    np.testing.assert_allclose([f.time_s for f in frames], [0, 0.04, 0.08, 0.2, 0.24])
    assert [FrameFlag.GAP_BEFORE in f.flags for f in frames] == [False] * 3 + [True, False]


def test_damaged_pictures_are_flagged_and_never_the_first_to_look_at() -> None:
    frames = driven(0, 1, 2, 3, damaged=(0, 2))
    assert [FrameFlag.DAMAGED in f.flags for f in frames] == [True, False, True, False]
    assert [f.held for f in frames] == [True, False, True, False]


def test_what_came_long_before_the_first_read_is_left_out_and_not_lost() -> None:
    frames = driven(*range(40), wait_s=1.0)
    assert frames[0].time_s == pytest.approx(0.56, abs=0.05)
    assert [f.index for f in frames] == list(range(len(frames)))
    assert not any(f.flags for f in frames)


def test_a_shutter_holds_frames_for_longer_than_ordinary_repeats() -> None:
    frames = driven(*range(60), still=range(40, 52))
    assert [n for n, f in enumerate(frames) if FrameFlag.REPEATED in f.flags] == [*range(40, 52)]
    assert [n for n, f in enumerate(frames) if f.shutter] == [*range(43, 52)]


def test_a_slow_sensors_repeats_are_no_shutter() -> None:
    nine_hz = [n for n in range(200) if (n * 9) // 25 == ((n - 1) * 9) // 25]
    frames = driven(*range(200), still=nine_hz)
    assert sum(FrameFlag.REPEATED in f.flags for f in frames) > 100
    assert not any(f.shutter for f in frames)
    shut = driven(*range(200), still=sorted({*nine_hz, *range(150, 175)}))
    held = [n for n, f in enumerate(shut) if f.shutter]
    assert 150 < held[0] < 160
    assert held == [*range(held[0], 175)]


def test_a_picture_that_stands_still_for_seconds_is_told_once() -> None:
    watch = ShutterWatch(Shutter())
    words = []
    for n in range(200):
        watch.look(0.04 * n, repeated=n > 20)
        words += list(filter(None, [watch.warning()]))
    assert len(words) == 1
    assert "hangs" in words[0]
