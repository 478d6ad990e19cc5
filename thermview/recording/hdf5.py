"""HDF5 made safe: files opened, values read, and the library's errors translated once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py
import hdf5plugin  # noqa: F401  (registers the compression filters)
import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError

LIBRARY_ERRORS = (
    OSError,
    RuntimeError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    OverflowError,
    MemoryError,
    NotImplementedError,
)
"""What h5py raises, depending on where in a damaged file it stumbles."""


class DamagedError(InputError):
    """A file that is HDF5 by its signature but does not open."""


def first_line(error: BaseException) -> str:
    """Return the first line of an error's text, for one-line messages."""
    return (str(error).strip().splitlines() or [type(error).__name__])[0]


@contextmanager
def reading(path: Path, what: str) -> Iterator[None]:
    """Translate whatever the library raises inside into an `InputError`."""
    try:
        yield
    except InputError as error:
        if str(error).startswith(str(path)):
            raise
        raise InputError(f"{path}: {what} cannot be read: {error}") from error
    except LIBRARY_ERRORS as error:
        raise InputError(f"{path}: {what} cannot be read ({first_line(error)})") from error


def check_regular_file(path: Path) -> None:
    """Refuse what is no readable, non-empty regular file, with the reason.

    Raises
    ------
    InputError
        Missing, a folder, a device, empty, or not permitted.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder; name a recording in it")
        if not path.exists():
            raise InputError(f"{path} does not exist; check the name")
        if not path.is_file():
            raise InputError(f"{path} is no regular file")
        if not os.access(path, os.R_OK):
            raise InputError(f"{path} may not be read by you; change its permissions")
        if path.stat().st_size == 0:
            raise InputError(f"{path} is empty (0 bytes)")
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be looked at ({first_line(error)})") from error


def open_for_reading(path: Path) -> Any:
    """Open an HDF5 file for reading, after a child process came through it unharmed.

    Returns
    -------
    h5py.File
        Open; the caller closes it.

    Raises
    ------
    DamagedError
        It begins as an HDF5 file but is cut short or damaged.
    InputError
        One line that says why else the file cannot be used.
    """
    from thermview.recording.probe import probe

    check_regular_file(path)
    probe(path)
    return open_unprobed(path)


def open_unprobed(path: Path) -> Any:
    """Open an HDF5 file for reading, without trying it out first (see `probe`).

    Returns
    -------
    h5py.File
        Open; the caller closes it.

    Raises
    ------
    DamagedError
        It begins as an HDF5 file but is cut short or damaged.
    InputError
        One line that says why else the file cannot be used.
    """
    check_regular_file(path)
    try:
        if not h5py.is_hdf5(path):
            raise InputError(f"{path} is not an HDF5 file; give a recording")
        return h5py.File(path, "r", locking="best-effort")
    except BlockingIOError as error:
        raise InputError(f"{path} is being written by another program; wait for it") from error
    except LIBRARY_ERRORS as error:
        reason = first_line(error)
        if "unable to lock file" in reason:
            raise InputError(f"{path} is in use by another program; close it there") from error
        words = "is cut short" if "truncated" in reason else "is damaged"
        raise DamagedError(f"{path} {words} ({reason}); try thermview repair") from error


def text_of(value: Any) -> str:
    """Return the text of an attribute or scalar: str, bytes, or an array of one of them."""
    if isinstance(value, np.ndarray | list | tuple):
        flat = np.ravel(np.asarray(value, dtype=object))
        value = flat[0] if flat.size else ""
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    return "" if isinstance(value, h5py.Empty) else str(value)


def attribute_text(item: Any, name: str) -> str:
    """Return a text attribute, empty when it is not there."""
    return text_of(item.attrs[name]) if name in item.attrs else ""


def dataset_at(group: Any, name: str) -> Any | None:
    """Return the dataset `name` of a group, or None when there is none."""
    item = group.get(name)
    return item if isinstance(item, h5py.Dataset) else None


def text_at(group: Any, name: str) -> str:
    """Return a scalar text dataset, empty when it is not there."""
    dataset = dataset_at(group, name)
    if dataset is None or dataset.size is None or dataset.size > 1:
        return ""
    return text_of(dataset[()])


def number_at(group: Any, name: str) -> float | None:
    """Return a scalar number, or None when it is absent or not a finite number."""
    dataset = dataset_at(group, name)
    if dataset is None or dataset.size != 1 or dataset.dtype.kind not in "iuf":
        return None
    value = float(np.ravel(dataset[()])[0])
    return value if np.isfinite(value) else None


def column_at(group: Any, name: str, limit: int) -> NDArray[np.float64] | None:
    """Return a 1-D numeric dataset as float64, at most `limit` values, or None."""
    dataset = dataset_at(group, name)
    if dataset is None or dataset.ndim != 1 or dataset.dtype.kind not in "biuf":
        return None
    return np.asarray(dataset[:limit], dtype=np.float64)
