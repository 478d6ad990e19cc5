"""Finds cameras by number, serial, port and name, and what they offer, without a stream.

On Linux this asks the video nodes themselves; elsewhere it tries the first few camera numbers.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from thermview.errors import DeviceError
from thermview.sources.v4l2_node import PictureFormat, captures_video, formats_of, open_node

_NUMBERS_TRIED = 4
_LONGEST_NUMBER = 3  # digits; a longer one is a serial


@dataclass(frozen=True, slots=True)
class FoundCamera:
    """A camera that is plugged in.

    Attributes
    ----------
    index : int
        Its number among the video devices; changes when it is plugged in again.
    name, serial, port : str
        As the camera and the bus say; empty where they do not.
    formats : tuple of PictureFormat
        What it offers.
    trouble : str
        Why it cannot be used, and what to do; empty while it can.
    """

    index: int
    name: str
    serial: str = ""
    port: str = ""
    formats: tuple[PictureFormat, ...] = ()
    trouble: str = ""

    @property
    def address(self) -> str:
        """Return the text that opens it."""
        return f"camera:{self.index}"

    @property
    def details(self) -> tuple[str, ...]:
        """Return what is known of it, in lines for people."""
        places = [f"serial {self.serial}"] if self.serial else []
        places += [f"port {self.port}"] if self.port else []
        lines = (", ".join(places), self.trouble, *map(str, self.formats))
        return tuple(line for line in lines if line)

    def is_same(self, other: FoundCamera) -> bool:
        """Tell whether this is the camera that the other was: by serial, else by name and port."""
        if self.serial or other.serial:
            return (self.serial, self.name) == (other.serial, other.name)
        return (self.name, self.port) == (other.name, other.port)


def find_cameras(
    devices: Path = Path("/dev"), described: Path = Path("/sys/class/video4linux")
) -> list[FoundCamera]:
    """Return the cameras, by number; nodes that carry only metadata are left out.

    Parameters
    ----------
    devices, described : path
        Where the video nodes and their descriptions are.
    """
    if not sys.platform.startswith("linux"):
        return _try_numbers()
    numbers = sorted(
        int(node.name.removeprefix("video"))
        for node in devices.glob("video*")
        if node.name.removeprefix("video").isdigit()
    )
    found = (
        _look_at(devices / f"video{number}", number, described / f"video{number}")
        for number in numbers
    )
    return [camera for camera in found if camera is not None]


def find_camera(selector: str, cameras: Sequence[FoundCamera] | None = None) -> FoundCamera:
    """Return the one camera that a text names: number, serial, port, or part of its name.

    Raises
    ------
    DeviceError
        None, or more than one; the message lists those found.
    """
    cameras = find_cameras() if cameras is None else cameras
    if selector.isascii() and selector.isdigit() and len(selector) <= _LONGEST_NUMBER:
        matches = [camera for camera in cameras if camera.index == int(selector)]
    else:
        matches = [c for c in cameras if selector in (c.serial, c.port)] or [
            c for c in cameras if selector.casefold() in c.name.casefold()
        ]
    if len(matches) == 1:
        return matches[0]
    listed = ", ".join(f"camera:{c.index} ({_words(c)})" for c in matches or cameras)
    if matches:
        raise DeviceError(f"more than one camera answers to {selector!r}: {listed}; give a number")
    raise DeviceError(
        f"there is no camera:{selector}; found: {listed or 'no camera at all; plug one in'}"
    )


def is_present(index: int) -> bool:
    """Tell whether the camera's node is still there; True where that cannot be known."""
    return not sys.platform.startswith("linux") or Path(f"/dev/video{index}").exists()


def node_path(index: int) -> Path:
    """Return the path of a camera's node, on Linux."""
    return Path(f"/dev/video{index}")


def _words(camera: FoundCamera) -> str:
    return f"{camera.name}, serial {camera.serial}" if camera.serial else camera.name


def _look_at(path: Path, number: int, described: Path) -> FoundCamera | None:
    name = _first_line(described / "name") or f"camera {number}"
    # a USB camera's node belongs to an interface; the device above it has serial and port
    device = (described / "device").resolve().parent
    serial = _first_line(device / "serial")
    port = device.name if (device / "idVendor").exists() else ""
    first = _first_line(described / "index") in ("", "0")
    try:
        node = open_node(path)
    except DeviceError as error:
        shown = first and path.exists()
        return FoundCamera(number, name, serial, port, trouble=str(error)) if shown else None
    try:
        able = captures_video(node)
        if able is None:  # no answer: the first node of a device is the picture's
            return FoundCamera(number, name, serial, port) if first else None
        if not able:
            return None
        return FoundCamera(number, name, serial, port, formats_of(node))
    finally:
        node.close()


def _first_line(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _try_numbers() -> list[FoundCamera]:
    from thermview.sources.capture import open_capture

    found = []
    for number in range(_NUMBERS_TRIED):
        capture = open_capture(number)
        if capture is None:
            continue  # another program may hold it
        capture.release()
        found.append(FoundCamera(number, f"camera {number}"))
    return found
