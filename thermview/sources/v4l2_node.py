"""A Linux video node: requests to the kernel, and what it tells of itself without streaming."""

from __future__ import annotations

import errno
import mmap
import os
import select
from collections.abc import Iterator
from contextlib import suppress
from ctypes import Structure
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from thermview.errors import DeviceError
from thermview.sources import v4l2_abi as abi

_MOST_ENTRIES = 64
_Asked = TypeVar("_Asked", bound=Structure)


class Mapping(Protocol):
    """A buffer's memory."""

    def __getitem__(self, where: slice, /) -> bytes: ...
    def close(self) -> None: ...  # noqa: D102


class VideoNode(Protocol):
    """What is used of an open node, so that tests can put one of their own in its place."""

    @property
    def path(self) -> Path:
        """Return the node's path, for messages."""
        ...

    def ask(self, request: int, argument: Structure) -> None:
        """Do a request; the kernel's answer stands in `argument`. Raises OSError."""
        ...

    def map(self, length: int, offset: int) -> Mapping:
        """Map a buffer."""
        ...

    def wait(self, timeout_s: float) -> bool:
        """Wait for a picture or trouble; False when neither came."""
        ...

    def close(self) -> None:
        """Close; may be called again."""
        ...


class KernelNode:
    """A `VideoNode` of this machine.

    Raises
    ------
    OSError
        It cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._handle = os.open(path, os.O_RDWR | os.O_NONBLOCK | os.O_CLOEXEC)
        self._poll = select.poll()
        self._poll.register(self._handle, select.POLLIN)

    def ask(self, request: int, argument: Structure) -> None:
        """Do a request (see `VideoNode`)."""
        import fcntl

        fcntl.ioctl(self._handle, request, argument, True)

    def map(self, length: int, offset: int) -> mmap.mmap:
        """Map a buffer."""
        return mmap.mmap(self._handle, length, mmap.MAP_SHARED, mmap.PROT_READ, offset=offset)

    def wait(self, timeout_s: float) -> bool:
        """Wait (see `VideoNode`)."""
        return bool(self._poll.poll(max(0.0, timeout_s) * 1000))

    def close(self) -> None:
        """Close; may be called again."""
        handle, self._handle = self._handle, -1
        if handle >= 0:
            os.close(handle)


def open_node(path: Path) -> VideoNode:
    """Open a node.

    Raises
    ------
    DeviceError
        Missing, not permitted or busy; the message says what to do.
    """
    try:
        return KernelNode(path)
    except OSError as error:
        raise DeviceError(why_not(path, error)) from error


def why_not(path: Path, error: OSError) -> str:
    """Return, in words, why a node refuses, and what to do about it."""
    match error.errno:
        case errno.EACCES | errno.EPERM:
            return (
                f"{path} may not be read by this user: join the group that owns it "
                "(sudo usermod -aG video $USER), then log in again"
            )
        case errno.EBUSY:
            return f"{path} is busy: {_holder_words(path)}"
        case errno.ENOENT | errno.ENODEV | errno.ENXIO:
            return f"{path} is gone; plug the camera in (again)"
    return f"{path} refuses: {error.strerror or error}; unplug the camera and plug it in again"


def _holder_words(path: Path) -> str:
    holders = ", ".join(f"{name} (process {number})" for name, number in holders_of(path))
    return f"{holders} uses it; close that first" if holders else "close the program that uses it"


def holders_of(path: Path, processes: Path = Path("/proc")) -> list[tuple[str, int]]:
    """Return name and number of the other processes that hold a file open, where that shows."""
    found = []
    for folder in processes.glob("[0-9]*"):
        if int(folder.name) == os.getpid():
            continue
        with suppress(OSError):  # another user's process, or one that just ended
            if any(link.readlink() == path for link in (folder / "fd").iterdir()):
                name = (folder / "comm").read_text(encoding="utf-8", errors="replace").strip()
                found.append((name, int(folder.name)))
    return sorted(found, key=lambda holder: holder[1])


# -- what it tells of itself ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PictureSize:
    """A size on offer, pixels, with its rates per second, fastest first (empty: any)."""

    width_px: int
    height_px: int
    rates_hz: tuple[float, ...] = ()

    def __str__(self) -> str:
        rates = ", ".join(f"{rate:.4g}" for rate in self.rates_hz)
        return f"{self.width_px} × {self.height_px}" + (f" at {rates}/s" if rates else "")


@dataclass(frozen=True, slots=True)
class PictureFormat:
    """A pixel format on offer: its code, the driver's words for it, its sizes."""

    code: str
    description: str
    sizes: tuple[PictureSize, ...] = ()

    def __str__(self) -> str:
        sizes = "; ".join(map(str, self.sizes)) or "any size in a range"
        return f"{self.code} ({self.description}): {sizes}"


def captures_video(node: VideoNode) -> bool | None:
    """Tell whether a node gives pictures (others carry metadata); None when it does not answer."""
    capability = abi.Capability()
    try:
        node.ask(abi.QUERYCAP, capability)
    except OSError:
        return None
    own = bool(capability.capabilities & abi.CAP_DEVICE_CAPS)
    able = capability.device_caps if own else capability.capabilities
    return bool(able & abi.CAP_VIDEO_CAPTURE)


def formats_of(node: VideoNode) -> tuple[PictureFormat, ...]:
    """Return the formats that a node offers, in the driver's order."""
    described = _list(node, abi.ENUM_FMT, abi.FmtDesc(type=abi.BUF_TYPE_VIDEO_CAPTURE))
    return tuple(
        PictureFormat(
            abi.fourcc_text(each.pixelformat),
            each.description.decode("ascii", "replace"),
            tuple(_sizes(node, each.pixelformat)),
        )
        for each in described
    )


def _sizes(node: VideoNode, code: int) -> Iterator[PictureSize]:
    for size in _list(node, abi.ENUM_FRAMESIZES, abi.FrmSizeEnum(pixel_format=code)):
        if size.type != abi.FRMSIZE_DISCRETE:
            return
        asked = abi.FrmIvalEnum(pixel_format=code, width=size.width, height=size.height)
        rates_hz = {
            each.denominator / each.numerator
            for each in _list(node, abi.ENUM_FRAMEINTERVALS, asked)
            if each.type == abi.FRMIVAL_DISCRETE and each.numerator
        }
        yield PictureSize(size.width, size.height, tuple(sorted(rates_hz, reverse=True)))


def _list(node: VideoNode, request: int, first: _Asked) -> Iterator[_Asked]:
    """Ask for entry after entry until the driver has no more."""
    for index in range(_MOST_ENTRIES):
        entry = type(first).from_buffer_copy(first)
        entry.index = index
        try:
            node.ask(request, entry)
        except OSError:
            return
        yield entry
