"""A live camera through OpenCV: raw 16-bit counts where it gives them, else brightness."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import DeviceError, SourceEndedError, SourceLostError
from thermview.frames import Counts, Frame, Scale, SourceInfo
from thermview.sources.cameras import find_cameras, is_present
from thermview.sources.capture import Capture, fourcc, fourcc_text, open_capture
from thermview.sources.layouts import Layout, layout_named
from thermview.sources.options import OpenOptions
from thermview.sources.rescaling import RescalingWatch
from thermview.sources.sequence import Sequencer

_FAST_FAILURE_S = 0.2
_FAST_FAILURES_MEAN_LOST = 20
_FIRST_FRAME_TRIES = 5
_RAW = Layout("raw 16-bit", format="Y16")


class Camera:
    """A `FrameSource` over an open capture; made by `open_camera`.

    A read waits as long as the capture does (one second on Linux), whatever its time-out: it
    belongs on a thread of its own. `close` waits for a read under way.
    """

    def __init__(
        self,
        capture: Capture,
        address: str,
        name: str,
        options: OpenOptions,
        *,
        present: Callable[[], bool] = lambda: True,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        self._capture = capture
        self._present = present
        self._clock = clock
        self._sleep = sleep
        self._closed = threading.Event()
        self._reading = threading.Lock()
        self._released = False
        self._fast_failures = 0
        self._warnings: list[str] = []
        self._layout = layout_named(options.profile) if options.profile else _RAW
        _ask_for(capture, self._layout, options.rate_hz)
        first = self._first_picture(name)
        counts, self._raw = self._decode(first, required=options.profile is not None)
        scale = self._scale(options)
        self._watch = RescalingWatch(eight_bit=not self._raw)
        self._sequencer = Sequencer(scale)
        self._begun_at = clock()
        self._waiting: Frame | None = self._made(counts)
        self._info = self._describe(address, name, scale, counts)

    @property
    def info(self) -> SourceInfo:
        """Return what is known of the camera and its stream."""
        return self._info

    def read(self, timeout_s: float) -> Frame | None:
        """Return the next frame, or None when none came.

        Raises
        ------
        SourceLostError
            The camera is gone.
        SourceEndedError
            It was closed.
        """
        with self._reading:
            if self._closed.is_set():
                self._release()
                raise SourceEndedError("the camera is closed")
            if self._waiting is not None:
                frame, self._waiting = self._waiting, None
                return frame
            began = self._clock()
            good, picture = self._capture.read()
            if good and picture is not None:
                self._fast_failures = 0
                return self._frame(picture)
            self._nothing_came(self._clock() - began, timeout_s)
            return None

    def take_warnings(self) -> list[str]:
        """Return what the stream gave reason to warn of since the last call."""
        words, self._warnings = self._warnings, []
        return words

    def close(self) -> None:
        """Let go of the camera, once a read under way has returned."""
        self._closed.set()
        with self._reading:
            self._release()

    def _release(self) -> None:
        if not self._released:
            self._released = True
            self._capture.release()

    def _first_picture(self, name: str) -> NDArray[Any]:
        for _ in range(_FIRST_FRAME_TRIES):
            good, picture = self._capture.read()
            if good and picture is not None:
                return np.asarray(picture)
        raise DeviceError(f"{name} opens but gives no picture; unplug it and plug it in again")

    def _decode(self, picture: NDArray[Any], *, required: bool) -> tuple[Counts, bool]:
        """Return the counts and whether they are raw; brightness where no raw data came."""
        if self._layout is not _RAW or picture.ndim == 2:
            counts = self._layout.decode(picture)
            if counts is not None:
                return counts, True
        if required:
            raise DeviceError(
                f"the camera gives {_shape_words(picture)}, which layout {self._layout.name!r} "
                "does not fit; choose another layout (thermview inputs lists the formats)"
            )
        return _brightness(picture), False

    def _scale(self, options: OpenOptions) -> Scale:
        stated = options.scale() or self._layout.scale
        return stated if self._raw and stated else Scale(1.0, 0.0, relative=True)

    def _frame(self, picture: NDArray[Any]) -> Frame | None:
        counts = self._layout.decode(picture) if self._raw else _brightness(picture)
        if counts is None or counts.shape != (self._info.height_px, self._info.width_px):
            raise SourceLostError(
                f"{self._info.name} changed its stream to {_shape_words(picture)}; open it again"
            )
        return self._made(counts)

    def _made(self, counts: Counts) -> Frame:
        import cv2

        stamp_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0
        frame = self._sequencer.frame(counts, self._clock() - self._begun_at, stamp_s)
        self._warnings += self._watch.look(counts, frame.time_s)
        return frame

    def _nothing_came(self, took_s: float, timeout_s: float) -> None:
        """Tell a stall (the wait was long) from an unplugged camera (it fails at once)."""
        self._fast_failures = self._fast_failures + 1 if took_s < _FAST_FAILURE_S else 0
        if not self._present() or self._fast_failures >= _FAST_FAILURES_MEAN_LOST:
            raise SourceLostError(f"{self._info.name} is gone; plug it in again and reconnect")
        if self._fast_failures:
            self._sleep(min(timeout_s, 0.05))

    def _describe(self, address: str, name: str, scale: Scale, counts: Counts) -> SourceInfo:
        import cv2

        rate_hz = self._capture.get(cv2.CAP_PROP_FPS)
        format_name = fourcc_text(self._capture.get(cv2.CAP_PROP_FOURCC))
        return SourceInfo(
            name=name,
            address=address,
            width_px=counts.shape[1],
            height_px=counts.shape[0],
            scale=scale,
            live=True,
            start_time=datetime.now(UTC),
            rate_hz=rate_hz if 0 < rate_hz < 10_000 else None,
            camera=f"{name} ({format_name})" if format_name else name,
            notes=tuple(self._notes(scale, counts)),
        )

    def _notes(self, scale: Scale, counts: Counts) -> list[str]:
        notes = [self._layout.note] if self._layout.note else []
        if not self._raw:
            notes.append("8-bit video: brightness only, no temperatures")
        elif scale.relative:
            notes.append(
                "raw counts without a scale: brightness only; give --scale and --offset, "
                "or a stream layout"
            )
        if self._layout is _RAW and counts.shape[0] > 1.2 * counts.shape[1]:
            notes.append("the frame is higher than wide: it may be of double height, one half raw")
        return notes


def open_camera(
    index: int,
    options: OpenOptions | None = None,
    opener: Callable[[int], Capture | None] = open_capture,
) -> Camera:
    """Open camera number `index`.

    Raises
    ------
    DeviceError
        Missing, busy, not permitted, or giving no pictures (exit code 3).
    UsageError
        The stream layout is unknown.
    """
    options = options or OpenOptions()
    if options.profile:
        layout_named(options.profile)  # refuse a wrong name before touching the camera
    capture = opener(index)
    if capture is None:
        raise DeviceError(_why_not(index))
    known = {camera.index: camera.name for camera in find_cameras()}
    name = known.get(index, f"camera {index}")
    try:
        return Camera(capture, f"camera:{index}", name, options, present=lambda: is_present(index))
    except BaseException:
        capture.release()
        raise


def _why_not(index: int) -> str:
    cameras = {camera.index: camera for camera in find_cameras()}
    if index in cameras:
        camera = cameras[index]
        reason = camera.details[0] if camera.details else ""
        if "may not be read" in reason:
            return f"camera:{index} ({camera.name}): {reason}"
        return f"camera:{index} ({camera.name}) is busy; close the program that uses it"
    found = ", ".join(f"camera:{n} ({c.name})" for n, c in cameras.items())
    return f"there is no camera:{index}; found: {found or 'no camera at all; plug one in'}"


def _ask_for(capture: Capture, layout: Layout, rate_hz: float | None) -> None:
    """Ask for raw counts. A capture says yes to all: what came shows in the first picture."""
    import cv2

    capture.set(cv2.CAP_PROP_CONVERT_RGB, 0)
    capture.set(cv2.CAP_PROP_FOURCC, fourcc(layout.format))
    if layout is _RAW and fourcc_text(capture.get(cv2.CAP_PROP_FOURCC)) != "Y16":
        capture.set(cv2.CAP_PROP_CONVERT_RGB, 1)  # else packed video comes as bare bytes
    if layout.width_px and layout.height_px:
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, layout.width_px)
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, layout.height_px)
    if rate_hz:
        capture.set(cv2.CAP_PROP_FPS, rate_hz)


def _brightness(picture: NDArray[Any]) -> Counts:
    """Return the luma of an 8-bit picture as uint16, whatever the capture's packing.

    Packed YUYV keeps it in every first byte; colour is weighted as ITU-R BT.601 does.
    """
    if picture.ndim == 3 and picture.shape[2] == 2:
        luma = picture[..., 0]
    elif picture.ndim == 3:
        blue, green, red = (picture[..., k].astype(np.float32) for k in range(3))
        luma = np.rint(0.114 * blue + 0.587 * green + 0.299 * red)
    else:
        luma = picture
    return np.ascontiguousarray(luma, dtype=np.uint16)


def _shape_words(picture: NDArray[Any]) -> str:
    depth = f", {picture.shape[2]} bytes each" if picture.ndim == 3 else ""
    rows, columns = (*picture.shape, 1)[:2]
    return f"{columns} × {rows} pixels of {picture.dtype}{depth}"
