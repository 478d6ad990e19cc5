"""Stacks of pictures as footage: multi-page TIFF, NPY, single pictures, a folder of them."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.frames import Counts, Frame, Mark, Scale, SourceInfo, SupplyLog
from thermview.recording import schema
from thermview.recording.generic import unstated
from thermview.recording.hdf5 import LIBRARY_ERRORS, check_regular_file, first_line
from thermview.recording.pictures import as_counts
from thermview.sources.hush import hush_opencv
from thermview.sources.options import OpenOptions

TIFF_SUFFIXES = frozenset({".tif", ".tiff"})
SUFFIXES = TIFF_SUFFIXES | {".png", ".npy"}

ReadPicture = Callable[[int], NDArray[Any]]


class StackFootage:
    """Pictures of a stack by number, evenly spaced in time (a `Footage`)."""

    def __init__(
        self,
        path: Path,
        read: ReadPicture,
        count: int,
        options: OpenOptions,
        close: Callable[[], object] = lambda: None,
    ) -> None:
        self._path = path
        self._read = read
        self._close = close
        self._lock = threading.Lock()
        first, self._colour = _grey(path, self._guarded(0), 0)
        self._shape = first.shape
        scale, rate_hz, notes = unstated(self._scale(first, options), options.rate_hz)
        if self._colour:
            notes += ("colour pictures: their brightness is shown, which is no temperature",)
        self._times_s = np.arange(count) / rate_hz
        self._times_s.setflags(write=False)
        self._info = SourceInfo(
            name=path.name,
            address=str(path),
            width_px=first.shape[1],
            height_px=first.shape[0],
            scale=scale,
            live=False,
            start_time=datetime.fromtimestamp(path.stat().st_mtime, tz=UTC),
            rate_hz=rate_hz,
            notes=notes,
        )

    def _scale(self, first: NDArray[Any], options: OpenOptions) -> Scale | None:
        """8-bit and colour pictures are brightness whatever is said of them."""
        return None if self._colour or first.dtype == np.uint8 else options.scale()

    @property
    def info(self) -> SourceInfo:
        """Return the description of the stack."""
        return self._info

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the time of every frame, s."""
        return self._times_s

    @property
    def first(self) -> int:
        """Return 0: a file lets go of nothing."""
        return 0

    @property
    def supply(self) -> SupplyLog | None:
        """Return None: a stack has no supply log."""
        return None

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return no marks."""
        return ()

    def __len__(self) -> int:
        return len(self._times_s)

    def frame(self, number: int) -> Frame:
        """Return frame `number`.

        Raises
        ------
        IndexError
            There is no such frame.
        InputError
            The picture cannot be read, or differs in size from the first.
        """
        if not 0 <= number < len(self._times_s):
            raise IndexError(f"frame {number} is not in 0 … {len(self._times_s) - 1}")
        picture, _ = _grey(self._path, self._guarded(number), number)
        if picture.shape != self._shape:
            raise InputError(
                f"{self._path}: picture {number} has {picture.shape[1]} × {picture.shape[0]} "
                f"pixels, the first {self._shape[1]} × {self._shape[0]}"
            )
        counts: Counts = as_counts(picture)
        return Frame(counts, float(self._times_s[number]), number, self._info.scale)

    def close(self) -> None:
        """Let go of the files."""
        with self._lock:
            self._close()

    def _guarded(self, number: int) -> NDArray[Any]:
        with self._lock:
            try:
                return self._read(number)
            except InputError:
                raise
            except _PICTURE_ERRORS as error:
                raise InputError(
                    f"{self._path}: picture {number} cannot be read ({first_line(error)})"
                ) from error


def open_stack(path: Path, options: OpenOptions) -> StackFootage:
    """Open a TIFF, PNG or NPY file, or a folder of TIFF or PNG pictures.

    Raises
    ------
    InputError
        One line that says why it cannot be used.
    """
    if path.is_dir():
        return _open_folder(path, options)
    check_regular_file(path)
    try:
        if path.suffix.lower() in TIFF_SUFFIXES:
            return _open_tiff(path, options)
        if path.suffix.lower() == ".npy":
            return _open_npy(path, options)
        return StackFootage(path, lambda _: read_picture(path), 1, options)
    except _PICTURE_ERRORS as error:
        raise InputError(f"{path} cannot be read ({first_line(error)})") from error


def read_picture(path: Path) -> NDArray[Any]:
    """Return the first picture of a TIFF or PNG file, with the depth it was stored in.

    Raises
    ------
    InputError
        It is no picture, or too large.
    """
    check_regular_file(path)
    if path.suffix.lower() in TIFF_SUFFIXES:
        import tifffile

        with tifffile.TiffFile(path) as file:
            _check_size(path, tuple(file.pages[0].shape))
            return np.asarray(file.pages[0].asarray())
    import cv2

    hush_opencv()
    data = np.fromfile(path, np.uint8)
    picture = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    if picture is None:
        raise InputError(f"{path} is not a picture that can be read")
    return picture


def _open_folder(path: Path, options: OpenOptions) -> StackFootage:
    names = [p for p in path.iterdir() if p.suffix.lower() in SUFFIXES - {".npy"} and p.is_file()]
    if not names:
        raise InputError(f"{path} holds no PNG or TIFF pictures")
    names.sort(key=lambda each: _natural(each.name))
    return StackFootage(path, lambda number: read_picture(names[number]), len(names), options)


def _natural(name: str) -> list[tuple[int, str]]:
    """Order names as people number them: picture 2 before picture 10."""
    return [(int(part), "") if part.isdigit() else (0, part) for part in re.split(r"(\d+)", name)]


def _open_tiff(path: Path, options: OpenOptions) -> StackFootage:
    import tifffile

    file = tifffile.TiffFile(path)
    try:
        pages = file.pages
        count = len(pages)
        first = tuple(pages[0].shape)
        if count == 1 and len(first) == 3 and first[-1] not in (3, 4):
            _check_size(path, first[1:])  # one page that holds a volume
            volume = pages[0].asarray()
            return StackFootage(path, lambda n: volume[n], first[0], options, file.close)
        _check_size(path, first)
        return StackFootage(path, lambda n: pages[n].asarray(), count, options, file.close)
    except BaseException:
        file.close()
        raise


def _open_npy(path: Path, options: OpenOptions) -> StackFootage:
    array = np.load(path, mmap_mode="r", allow_pickle=False)
    if array.ndim not in (2, 3):
        raise InputError(f"{path} has {array.ndim} dimensions; 3 (time, row, column) are wanted")
    volume = array if array.ndim == 3 else array[np.newaxis]
    if not len(volume):
        raise InputError(f"{path}: there are no frames in it")
    _check_size(path, volume.shape[1:])
    return StackFootage(path, lambda number: np.array(volume[number]), len(volume), options)


def _check_size(path: Path, shape: tuple[int, ...]) -> None:
    pixels = int(np.prod(shape[:2], dtype=np.float64))
    if len(shape) < 2 or pixels < 1:
        raise InputError(f"{path} holds no pictures (shape {shape})")
    if pixels > schema.MAX_PIXELS:
        raise InputError(
            f"{path} claims pictures of {shape[1]} × {shape[0]} pixels; "
            f"at most {schema.MAX_PIXELS} pixels are taken"
        )


def _grey(path: Path, picture: NDArray[Any], number: int) -> tuple[NDArray[Any], bool]:
    """Return the picture as one channel of real numbers, and whether it was in colour."""
    if picture.dtype.kind not in "iuf":
        raise InputError(f"{path}: picture {number} holds {picture.dtype}, not real numbers")
    if picture.ndim == 2:
        return picture, False
    if picture.ndim == 3 and picture.shape[2] in (3, 4):
        mean = picture[..., :3].mean(axis=2)
        return np.rint(mean).astype(picture.dtype), True
    raise InputError(f"{path}: picture {number} has the shape {picture.shape}")


_PICTURE_ERRORS = (*LIBRARY_ERRORS, EOFError)
