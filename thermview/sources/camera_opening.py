"""Opens a camera: which device, which stream, which layout, by which reader; and finds it again."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from thermview.errors import DeviceError, UsageError
from thermview.sources.cameras import (
    FoundCamera,
    find_camera,
    find_cameras,
    is_present,
    node_path,
)
from thermview.sources.capture import Capture, OpenCvGrabber, open_capture
from thermview.sources.controls import Control, controls_of, set_control
from thermview.sources.grabber import Grabber, Stream
from thermview.sources.guessing import Guess, stream_to_ask
from thermview.sources.kept_layouts import kept_layout
from thermview.sources.layouts import layout_named
from thermview.sources.options import OpenOptions
from thermview.sources.uvc import Camera, Origin
from thermview.sources.v4l2 import CODES, V4l2Grabber
from thermview.sources.v4l2_node import VideoNode, open_node


@dataclass(frozen=True, slots=True)
class Openers:
    """How devices are opened, so that tests can put theirs in place."""

    capture: Callable[[int], Capture | None] = open_capture
    node: Callable[[Path], VideoNode] = open_node
    find: Callable[[], Sequence[FoundCamera]] = find_cameras


def open_camera(
    selector: str, options: OpenOptions | None = None, openers: Openers | None = None
) -> Camera:
    """Open the camera that a text names: number, serial, port or name (see `find_camera`).

    Raises
    ------
    DeviceError
        Missing, busy, not permitted, or giving no pictures (exit code 3).
    UsageError, InputError
        The stream layout is unknown or has a mistake in it.
    """
    options, openers = options or OpenOptions(), openers or Openers()
    chosen = None
    if options.profile:  # refuse a wrong name before touching the camera
        chosen = Guess(layout_named(options.profile), "chosen by you")
    found = find_camera(selector, openers.find())
    if chosen is None and (kept := kept_layout(found.serial)) is not None:
        chosen = Guess(kept, f"kept for the camera with serial {found.serial}")
    return _opened(found, f"camera:{selector}", options, openers, chosen=chosen)


def camera_again(camera: Camera, openers: Openers | None = None) -> Callable[[], Camera]:
    """Return what opens the same camera anew, wherever it was plugged in: for `Session.live`.

    Its frames' times go on from the same zero.
    """
    openers = openers or Openers()

    def again() -> Camera:
        origin = where_now(camera, openers)
        return _opened(
            origin.found,
            camera.info.address,
            origin.options,
            openers,
            chosen=camera.choice,
            zero_s=camera.zero_s,
        )

    return again


def where_now(camera: Camera, openers: Openers) -> Origin:
    """Return where a camera is plugged in now, and how it was asked for.

    Raises
    ------
    DeviceError
        Nowhere.
    UsageError
        It was not opened by being found.
    """
    origin = camera.origin
    if origin is None:
        raise UsageError(f"{camera.info.name} cannot be found again")
    for found in openers.find():
        if found.is_same(origin.found):
            return Origin(found, origin.options)
    raise DeviceError(f"{camera.info.name} is not plugged in")


def controls_of_camera(found: FoundCamera, openers: Openers | None = None) -> tuple[Control, ...]:
    """Return a camera's controls, also while it streams; none where they cannot be reached."""
    if not sys.platform.startswith("linux"):
        return ()
    node = (openers or Openers()).node(node_path(found.index))
    try:
        return controls_of(node)
    finally:
        node.close()


def set_camera_control(
    found: FoundCamera, name: str, value: int, openers: Openers | None = None
) -> None:
    """Set one of a camera's controls, also while it streams (see `set_control`)."""
    if not sys.platform.startswith("linux"):
        raise UsageError("camera controls can be set on Linux only")
    node = (openers or Openers()).node(node_path(found.index))
    try:
        set_control(node, name, value)
    finally:
        node.close()


def work_shutter(camera: Camera, found: FoundCamera, openers: Openers | None = None) -> None:
    """Work the camera's shutter by the control that its layout names.

    Parameters
    ----------
    camera : Camera
    found : FoundCamera
        Where it is plugged in now.
    openers : Openers, optional

    Raises
    ------
    UsageError
        The layout names none, or the camera lacks it.
    DeviceError
        The camera refuses.
    """
    shutter = camera.choice.layout.shutter
    if not shutter.control:
        raise UsageError(
            f"layout {camera.choice.layout.name} names no control that works a shutter"
        )
    set_camera_control(found, shutter.control, shutter.value, openers)


def _opened(
    found: FoundCamera,
    address: str,
    options: OpenOptions,
    openers: Openers,
    *,
    chosen: Guess | None,
    zero_s: float | None = None,
) -> Camera:
    if found.trouble:
        raise DeviceError(f"{address} ({found.name}): {found.trouble}")
    layout = chosen.layout if chosen is not None else None
    wanted = stream_to_ask(layout, found.formats, options.rate_hz)
    grabber = _grabber(found, address, wanted, openers)
    try:
        return Camera(
            grabber,
            address,
            found.name,
            options,
            chosen=chosen,
            zero_s=zero_s,
            origin=Origin(found, options),
        )
    except BaseException:
        grabber.close()
        raise


def _grabber(found: FoundCamera, address: str, wanted: Stream, openers: Openers) -> Grabber:
    if wanted.code in CODES and found.formats:
        try:
            return V4l2Grabber(openers.node(node_path(found.index)), wanted)
        except DeviceError as error:
            raise DeviceError(f"{address} ({found.name}): {error}") from error
    capture = openers.capture(found.index)
    if capture is None:
        raise DeviceError(f"{address} ({found.name}) is busy; close the program that uses it")
    return OpenCvGrabber(capture, wanted, present=lambda: is_present(found.index))
