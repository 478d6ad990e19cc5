"""Notices cameras that are plugged in or pulled out, when asked from time to time."""

from __future__ import annotations

import ctypes
import os
import struct
import sys
import time
from collections.abc import Callable
from pathlib import Path

_CREATE, _DELETE, _ATTRIB = 0x100, 0x200, 0x4  # linux/inotify.h; ATTRIB: permissions were set
_EVENT = struct.Struct("iIII")
_LOOK_AGAIN_S = 3.0


class CameraWatch:
    """Tells when the list of cameras may have changed.

    On Linux the kernel tells at once (inotify on the folder of the video nodes). Elsewhere there
    is nothing to ask cheaply, so a change is claimed every three seconds.

    Parameters
    ----------
    devices : path
        Folder of the video nodes.
    clock : callable
        Seconds.
    """

    def __init__(
        self, devices: Path = Path("/dev"), clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._clock = clock
        self._asked_s = clock()
        self._handle = _watch(devices) if sys.platform.startswith("linux") else -1

    def poll(self) -> bool:
        """Tell whether cameras came or went since the last call; never waits."""
        if self._handle < 0:
            if self._clock() - self._asked_s < _LOOK_AGAIN_S:
                return False
            self._asked_s = self._clock()
            return True
        changed = False
        while names := self._names():
            changed = changed or any(name.startswith("video") for name in names)
        return changed

    def close(self) -> None:
        """Stop watching; may be called again."""
        handle, self._handle, self._asked_s = self._handle, -1, float("inf")
        if handle >= 0:
            os.close(handle)

    def _names(self) -> list[str]:
        """Return the names of the next batch of changed nodes, none where there are no more."""
        try:
            batch = os.read(self._handle, 4096)
        except BlockingIOError:
            return []
        names, place = [], 0
        while place < len(batch):
            length = _EVENT.unpack_from(batch, place)[3]
            place += _EVENT.size
            names.append(os.fsdecode(batch[place : place + length].rstrip(b"\0")))
            place += length
        return names


def _watch(folder: Path) -> int:
    """Return a handle that tells of nodes made and removed in a folder, -1 where that fails."""
    library = ctypes.CDLL(None, use_errno=True)
    handle = int(library.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC))
    if handle < 0:
        return -1
    if library.inotify_add_watch(handle, os.fsencode(folder), _CREATE | _DELETE | _ATTRIB) < 0:
        os.close(handle)
        return -1
    return handle
