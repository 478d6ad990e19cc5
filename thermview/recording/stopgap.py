"""The file under a recording being written: when the disk refuses, it goes back to the last flush.

HDF5 takes a failed write badly: its file is left between two states, and closing it can crash the
program. So HDF5 is never told. This file object, which h5py writes through, keeps what it
overwrites until the next flush; at the first failure it puts that back, cuts off what was added,
and from then on only pretends to write. What is left on the disk is the file as last flushed.
"""

from __future__ import annotations

import io
import os
from contextlib import suppress
from pathlib import Path
from typing import Any


class StopgapFile(io.RawIOBase):
    """An existing file, for reading and writing, that can go back to its last `settle`.

    Attributes
    ----------
    trouble : OSError or None
        Why the disk refused; set once.
    """

    def __init__(self, path: Path) -> None:
        self._stream = path.open("r+b", buffering=0)
        _lock(self._stream)
        self._place = 0
        self._end = self._safe_end = os.fstat(self._stream.fileno()).st_size
        self._undo: list[tuple[int, bytes]] = []
        self.trouble: OSError | None = None

    def settle(self) -> None:
        """Take the file as it is now for good."""
        self._undo.clear()
        self._safe_end = self._end

    # -- what h5py calls ----------------------------------------------------------------

    def readable(self) -> bool:
        """Return True."""
        return True

    def writable(self) -> bool:
        """Return True."""
        return True

    def seekable(self) -> bool:
        """Return True."""
        return True

    def tell(self) -> int:
        """Return the place of the next read or write."""
        return self._place

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        """Move; the end is where it would be had every write succeeded."""
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._place, os.SEEK_END: self._end}[whence]
        self._place = base + offset
        return self._place

    def readinto(self, buffer: Any, /) -> int:
        """Fill the buffer, with zeros behind the end."""
        view = memoryview(buffer).cast("B")
        self._stream.seek(self._place)
        count = self._stream.readinto(view) or 0
        while 0 < count < len(view) and (more := self._stream.readinto(view[count:])):
            count += more
        view[count:] = bytes(len(view) - count)
        self._place += len(view)
        return len(view)

    def write(self, data: Any, /) -> int:
        """Write all of it, or pretend to."""
        view = memoryview(data).cast("B")
        if self.trouble is None:
            try:
                self._keep_old(self._place, len(view))
                self._put(self._place, view)
            except OSError as error:
                self._go_back(error)
        self._place += len(view)
        self._end = max(self._end, self._place)
        return len(view)

    def truncate(self, size: int | None = None, /) -> int:
        """Set the length; never below what the last flush needs, until the file is settled."""
        self._end = self._place if size is None else size
        if self.trouble is None:
            try:
                self._keep_old(self._end, self._safe_end - self._end)
                self._stream.truncate(self._end)
            except OSError as error:
                self._go_back(error)
        return self._end

    def flush(self) -> None:
        """Do nothing: writes are not buffered here."""

    def close(self) -> None:
        """Close the file."""
        self._stream.close()
        super().close()

    # -- inside -------------------------------------------------------------------------

    def _keep_old(self, place: int, count: int) -> None:
        count = min(count, self._safe_end - place)
        if count > 0:
            self._stream.seek(place)
            self._undo.append((place, self._stream.read(count) or b""))

    def _put(self, place: int, view: memoryview) -> None:
        self._stream.seek(place)
        while view:
            view = view[self._stream.write(view) or 0 :]

    def _go_back(self, error: OSError) -> None:
        self.trouble = error
        with suppress(OSError):
            for place, old in reversed(self._undo):
                self._put(place, memoryview(old))
            self._stream.truncate(self._safe_end)


def _lock(stream: Any) -> None:
    """Keep other programs from writing, and HDF5 readers from reading what is half written."""
    try:
        import fcntl
    except ImportError:  # Windows refuses such sharing by itself
        return
    with suppress(OSError):  # some network disks know no locks
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
