"""A live camera as a source: raw 16-bit counts where it gives them, else brightness."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import DeviceError, SourceEndedError, SourceLostError
from thermview.frames import Counts, Frame, FrameFlag, Scale, Scene, SourceInfo
from thermview.sources.cameras import FoundCamera
from thermview.sources.grabber import Grab, Grabber
from thermview.sources.guessing import Guess, guess_layout
from thermview.sources.layouts import Layout
from thermview.sources.options import OpenOptions
from thermview.sources.rescaling import RescalingWatch
from thermview.sources.sequence import Sequencer
from thermview.sources.shutter_watch import ShutterWatch

FIRST_PICTURE_S = 5.0
"""A camera that starts takes a second or two to its first picture."""

STALE_S = 0.5
"""Pictures from before the first `read` are older than this where getting ready took long."""

_GRAB_S = 0.5


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a camera was found, and how it was asked for: what finds it again."""

    found: FoundCamera
    options: OpenOptions


class Camera:
    """A `FrameSource` over a grabber; made by `open_camera`.

    `close` waits for a read under way.

    Parameters
    ----------
    grabber : Grabber
        Open; closed with the camera.
    address, name : str
        What opens it again; what it is called.
    options : OpenOptions
        A stated scale overrides the layout's.
    chosen : Guess, optional
        The layout in use and why; guessed from the first picture if absent.
    zero_s : float, optional
        The moment, on `clock`, that the frames' times count from; the first frame's if absent.
    origin : Origin, optional
        Where it was found.

    Attributes
    ----------
    choice : Guess
        The layout in use, and why.
    zero_s : float
        The moment, on `clock`, that the frames' times count from.
    """

    def __init__(
        self,
        grabber: Grabber,
        address: str,
        name: str,
        options: OpenOptions,
        *,
        chosen: Guess | None = None,
        zero_s: float | None = None,
        origin: Origin | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.origin = origin
        self._grabber = grabber
        self._name = name
        self._clock = clock
        self._closed = threading.Event()
        self._reading = threading.Lock()
        self._warnings: list[str] = []
        self._waiting: deque[tuple[Grab, float]] = deque()
        picture = self._first_picture()
        self.choice = chosen or guess_layout(picture)
        counts = self._layout.decode(picture) if self._layout.format else None
        if counts is None and self._layout.format:
            raise DeviceError(
                f"{name} gives {_shape_words(picture)}, which layout {self._layout.name!r} does "
                "not fit; choose another layout (thermview inputs lists the formats)"
            )
        self._raw = counts is not None
        scale = self._scale(options)
        self._shape = (counts if counts is not None else _brightness(picture)).shape
        self._rescaling = RescalingWatch(eight_bit=not self._raw)
        self._shutter = ShutterWatch(self._layout.shutter)
        self._begun = zero_s is not None  # one that comes back keeps all that it sends
        self.zero_s = self._first_moment_s() if zero_s is None else zero_s
        self._sequencer = Sequencer(scale, self.zero_s)
        self._info = self._describe(address, scale)

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
                self._grabber.close()
                raise SourceEndedError("the camera is closed")
            if not self._begun:
                self._skip_stale()
            if self._waiting:
                return self._made(*self._waiting.popleft())
            grab = self._grab(timeout_s)
            return self._made(grab, self._clock()) if grab is not None else None

    def take_warnings(self) -> list[str]:
        """Return what the stream gave reason to warn of since the last call."""
        words, self._warnings = self._warnings, []
        return words

    def close(self) -> None:
        """Let go of the camera, once a read under way has returned."""
        self._closed.set()
        with self._reading:
            self._grabber.close()

    @property
    def _layout(self) -> Layout:
        return self.choice.layout

    def _grab(self, timeout_s: float) -> Grab | None:
        try:
            return self._grabber.grab(timeout_s)
        except SourceLostError as error:
            raise SourceLostError(f"{self._name} is gone; plug it in again") from error

    def _first_picture(self) -> NDArray[Any]:
        """Return the first whole picture; all that came wait to be read."""
        deadline_s = self._clock() + FIRST_PICTURE_S
        while self._clock() < deadline_s:
            grab = self._grab(_GRAB_S)
            if grab is not None:
                self._waiting.append((grab, self._clock()))
                if not grab.damaged:
                    return np.asarray(grab.picture)
        raise DeviceError(
            f"{self._name} opens but gives no picture; unplug it and plug it in again"
        )

    def _first_moment_s(self) -> float:
        grab, now_s = self._waiting[0]
        return min(grab.stamp_s, now_s) if grab.exact and grab.stamp_s is not None else now_s

    def _skip_stale(self) -> None:
        """Leave out what came while nobody was ready to read: it is neither wanted nor lost."""
        self._begun = True
        grab = self._waiting[-1][0]
        while grab.exact and grab.stamp_s is not None and self._clock() - grab.stamp_s > STALE_S:
            self._waiting.clear()
            newer = self._grab(0.0)
            if newer is None:
                return
            grab = newer
            self._waiting.append((grab, self._clock()))

    def _scale(self, options: OpenOptions) -> Scale:
        stated = options.scale() or self._layout.scale
        return stated if self._raw and stated else Scale(1.0, 0.0, relative=True)

    def _made(self, grab: Grab, now_s: float) -> Frame:
        counts = self._layout.decode(grab.picture) if self._raw else _brightness(grab.picture)
        if counts is None or counts.shape != self._shape:
            raise SourceLostError(
                f"{self._name} changed its stream to {_shape_words(grab.picture)}; open it again"
            )
        frame = self._sequencer.frame(
            counts,
            now_s,
            grab.stamp_s,
            exact=grab.exact,
            sequence=grab.sequence,
            damaged=grab.damaged,
        )
        return frame if grab.damaged else self._watched(frame)

    def _watched(self, frame: Frame) -> Frame:
        self._warnings += self._rescaling.look(frame.counts, frame.time_s)
        if not self._raw:  # a dark room's 8-bit video may well repeat itself
            return frame
        shutter = self._shutter.look(frame.time_s, repeated=FrameFlag.REPEATED in frame.flags)
        self._warnings += filter(None, [self._shutter.warning()])
        return replace(frame, shutter=shutter)

    def _describe(self, address: str, scale: Scale) -> SourceInfo:
        stream, layout = self._grabber.stream, self._layout
        began = datetime.now(UTC) - timedelta(seconds=self._clock() - self.zero_s)
        return SourceInfo(
            name=self._name,
            address=address,
            width_px=self._shape[1],
            height_px=self._shape[0],
            scale=scale,
            live=True,
            start_time=began,
            rate_hz=stream.rate_hz,
            camera=f"{self._name} ({stream.code})" if stream.code else self._name,
            netd_k=layout.netd_k,
            scene=Scene() if layout.band_um is None else Scene(band_um=layout.band_um),
            notes=tuple(self._notes(scale)),
        )

    def _notes(self, scale: Scale) -> list[str]:
        notes = [f"layout {self._layout.name}: {self.choice.reason}", *self._layout.remarks()]
        if not self._raw:
            notes.append("8-bit video: brightness only, no temperatures")
        elif scale.relative:
            notes.append("what a count means is not known; choose a layout or give --scale")
        return notes


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
