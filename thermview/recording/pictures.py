"""Random access to the pictures of a 3-D dataset, whatever its type, chunks and filters."""

from __future__ import annotations

import threading
from collections import OrderedDict
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.frames import Counts
from thermview.recording import schema
from thermview.recording.hdf5 import reading
from thermview.recording.payload import PayloadGuard

_CACHE_BYTES = 96 << 20


def as_counts(raw: NDArray[Any], fill: float | None = None) -> Counts:
    """Bring a stored picture to what a frame carries.

    Unsigned integers of one or two bytes become uint16. Other types become float32, exact for
    integers up to 2²⁴ and to 1 part in 1.7·10⁷ above. Pixels equal to `fill`, and infinite ones,
    become NaN, which makes the picture float32.
    """
    if fill is None and raw.dtype.kind == "u" and raw.dtype.itemsize <= 2:
        return np.ascontiguousarray(raw, dtype=np.uint16)
    with np.errstate(over="ignore", invalid="ignore"):
        picture = np.ascontiguousarray(raw, dtype=np.float32)
    if fill is not None:
        picture[raw == fill] = np.nan
    if raw.dtype.kind == "f":
        picture[np.isinf(picture)] = np.nan
    return picture


def check_pictures(path: Path, dataset: Any) -> None:
    """Refuse a dataset that cannot hold pictures, before anything is allocated.

    Raises
    ------
    InputError
        Not 3-D, not real numbers, no frames, no pixels, or sizes nobody films.
    """
    name = dataset.name
    if dataset.dtype.kind not in "iuf" or dataset.dtype.itemsize > 8:
        raise InputError(f"{path}: {name} holds {dataset.dtype}; it must hold real numbers")
    if dataset.ndim != 3:
        raise InputError(
            f"{path}: {name} has {dataset.ndim} dimensions; it must have 3 (time, row, column)"
        )
    frames, rows, columns = dataset.shape
    if rows < 1 or columns < 1:
        raise InputError(f"{path}: {name} has frames of {columns} × {rows} pixels")
    if rows * columns > schema.MAX_PIXELS:
        raise InputError(
            f"{path}: {name} claims frames of {columns} × {rows} pixels; "
            f"at most {schema.MAX_PIXELS} pixels are taken"
        )
    if frames < 1:
        raise InputError(f"{path}: there are no frames in {name}")
    _check_chunks(path, dataset)


def _check_chunks(path: Path, dataset: Any) -> None:
    if dataset.chunks is None:
        return
    chunk_bytes = int(np.prod(dataset.chunks, dtype=np.float64)) * dataset.dtype.itemsize
    if chunk_bytes > schema.MAX_CHUNK_BYTES:
        raise InputError(
            f"{path}: {dataset.name} is stored in pieces of {chunk_bytes / 2**20:.0f} MB; "
            f"at most {schema.MAX_CHUNK_BYTES / 2**20:.0f} MB are taken; store it anew in "
            "chunks of a few frames"
        )
    settings = dataset.id.get_create_plist()
    for position in range(settings.get_nfilters()):
        code = settings.get_filter(position)[0]
        if not h5py.h5z.filter_avail(code):
            raise InputError(
                f"{path}: {dataset.name} is packed with HDF5 filter {code}, which is not installed"
            )


class Pictures:
    """Pictures of a 3-D dataset by number, safe from several threads.

    Where one chunk holds several frames, the last decoded groups of frames are kept, so that
    going through them decodes each chunk once.
    """

    def __init__(self, path: Path, dataset: Any, fill: float | None = None) -> None:
        check_pictures(path, dataset)
        self._path = path
        self._dataset = dataset
        self._fill = fill
        self._lock = threading.RLock()
        frames, rows, columns = (int(n) for n in dataset.shape)
        self.shape = (rows, columns)
        self.frames = frames
        frame_bytes = rows * columns * dataset.dtype.itemsize
        depth = min(int(dataset.chunks[0]), frames) if dataset.chunks else 1
        self._depth = depth if depth * frame_bytes <= schema.MAX_CHUNK_BYTES else 1
        self._guard = PayloadGuard(dataset)
        self._kept: OrderedDict[int, NDArray[Any]] = OrderedDict()
        self._keep = max(1, _CACHE_BYTES // (self._depth * frame_bytes))

    @property
    def dtype(self) -> np.dtype[Any]:
        """Return the type that `read` gives: uint16 or float32."""
        probe: np.dtype[Any] = as_counts(np.zeros((1, 1), self._dataset.dtype), self._fill).dtype
        return probe

    def read(self, number: int) -> Counts:
        """Return picture `number`, uint16 or float32, shape (row, column); an array of its own.

        Raises
        ------
        InputError
            The file does not give it.
        """
        with self._lock, reading(self._path, f"frame {number}"):
            if self._depth == 1:
                self._guard.check(number, 1)
                return as_counts(self._dataset[number], self._fill)
            group = self._group(number // self._depth)
            return as_counts(group[number % self._depth].copy(), self._fill)

    def written(self, number: int) -> bool:
        """Tell whether the frame was ever written (a chunk left out reads as zeros)."""
        if self._dataset.chunks is None:
            return True
        with self._lock, reading(self._path, f"frame {number}"):
            place = self._dataset.id.get_chunk_info_by_coord((number, 0, 0))
            return place.byte_offset is not None

    def _group(self, position: int) -> NDArray[Any]:
        group = self._kept.get(position)
        if group is None:
            start = position * self._depth
            self._guard.check(start, self._depth)
            group = np.asarray(self._dataset[start : start + self._depth])
            self._kept[position] = group
            while len(self._kept) > self._keep:
                self._kept.popitem(last=False)
        self._kept.move_to_end(position)
        return group

    def close(self) -> None:
        """Forget the file; `read` raises from now on."""
        with self._lock:
            self._kept.clear()
            self._dataset = None
