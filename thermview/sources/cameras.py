"""Finds cameras and what they offer, without opening a stream.

On Linux this asks the video nodes themselves (numbers and structures: linux/videodev2.h);
elsewhere it tries the first few camera numbers.
"""

from __future__ import annotations

import os
import struct
import sys
from dataclasses import dataclass
from pathlib import Path

_QUERY_CAPABILITIES = 0x80685600  # _IOR('V', 0, 104 bytes)
_ENUMERATE_FORMATS = 0xC0405602  # _IOWR('V', 2, 64 bytes)
_ENUMERATE_SIZES = 0xC02C564A  # _IOWR('V', 74, 44 bytes)
_VIDEO_CAPTURE = 0x1  # capability flag, and buffer type 1
_DISCRETE_SIZE = 1
_MOST_FORMATS = 32
_NUMBERS_TRIED = 4


@dataclass(frozen=True, slots=True)
class FoundCamera:
    """A camera that answers: its number, name, and what it offers in words."""

    index: int
    name: str
    details: tuple[str, ...] = ()


def find_cameras(devices: Path = Path("/dev"), names: Path | None = None) -> list[FoundCamera]:
    """Return the cameras, by number; nodes that carry only metadata are left out.

    Parameters
    ----------
    devices, names : path
        Where the video nodes and their descriptions are (`/sys/class/video4linux`).
    """
    if not sys.platform.startswith("linux"):
        return _try_numbers()
    names = names or Path("/sys/class/video4linux")
    numbers = sorted(
        int(node.name.removeprefix("video"))
        for node in devices.glob("video*")
        if node.name.removeprefix("video").isdigit()
    )
    found = (_look_at(devices / f"video{number}", number, names) for number in numbers)
    return [camera for camera in found if camera is not None]


def is_present(index: int) -> bool:
    """Tell whether the camera's node is still there; True where that cannot be known."""
    return not sys.platform.startswith("linux") or Path(f"/dev/video{index}").exists()


def _look_at(node: Path, number: int, names: Path) -> FoundCamera | None:
    described = names / node.name
    name = _first_line(described / "name") or f"camera {number}"
    try:
        handle = os.open(node, os.O_RDWR | os.O_NONBLOCK)
    except PermissionError:
        if _first_line(described / "index") not in ("", "0"):
            return None
        words = f"{node} may not be read by this user: join the group that owns it (often video)"
        return FoundCamera(number, name, (words,))
    except OSError:
        return None
    try:
        if not _captures_video(handle, described):
            return None
        return FoundCamera(number, name, tuple(_formats(handle)))
    finally:
        os.close(handle)


def _captures_video(handle: int, described: Path) -> bool:
    answer = _ask(handle, _QUERY_CAPABILITIES, bytes(104))
    if answer is None:  # no answer: the first node of a device is the picture's
        return _first_line(described / "index") == "0"
    device_capabilities = int(struct.unpack_from("=I", answer, 88)[0])
    return bool(device_capabilities & _VIDEO_CAPTURE)


def _formats(handle: int) -> list[str]:
    words = []
    for number in range(_MOST_FORMATS):
        request = struct.pack("=II56x", number, _VIDEO_CAPTURE)
        answer = _ask(handle, _ENUMERATE_FORMATS, request)
        if answer is None:
            break
        description = answer[12:44].split(b"\0")[0].decode("ascii", "replace")
        code = answer[44:48]
        sizes = ", ".join(_sizes(handle, code))
        words.append(f"{code.decode('ascii', 'replace').strip()} ({description}): {sizes}")
    return words


def _sizes(handle: int, code: bytes) -> list[str]:
    sizes = []
    for number in range(_MOST_FORMATS):
        request = struct.pack("=I4s36x", number, code)
        answer = _ask(handle, _ENUMERATE_SIZES, request)
        if answer is None:
            break
        kind, width, height = struct.unpack_from("=III", answer, 8)
        if kind != _DISCRETE_SIZE:
            sizes.append("any size in a range")
            break
        sizes.append(f"{width} × {height}")
    return sizes


def _ask(handle: int, request: int, content: bytes) -> bytes | None:
    import fcntl

    try:
        return fcntl.ioctl(handle, request, content)
    except OSError:
        return None


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
            break
        capture.release()
        found.append(FoundCamera(number, f"camera {number}"))
    return found
