"""Saves what can be read of a damaged recording into a new one."""

from __future__ import annotations

import io
import os
import struct
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError, OutputError
from thermview.frames import Frame, Scale, SupplySample
from thermview.paths import writing
from thermview.recording import schema
from thermview.recording.footage import Extras
from thermview.recording.hdf5 import (
    LIBRARY_ERRORS,
    DamagedError,
    column_at,
    dataset_at,
    first_line,
    open_for_reading,
    reading,
)
from thermview.recording.pictures import Pictures
from thermview.recording.reader import describe, fill_of, read_extras, read_scale
from thermview.recording.writer import Writer

Progress = Callable[[int, int], None]

_LARGEST_CLAIM_BYTES = 1 << 42


@dataclass(frozen=True, slots=True)
class RepairSummary:
    """What a repair saved and lost.

    Attributes
    ----------
    frames_saved, frames_lost : int
        Of the frames that the file claims to have.
    remarks : tuple of str
        What else is to know.
    """

    frames_saved: int
    frames_lost: int
    remarks: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = [f"{self.frames_saved} frames saved, {self.frames_lost} lost", *self.remarks]
        return "\n".join(lines)


def repair(
    path: str | Path,
    out: str | Path,
    *,
    force: bool = False,
    progress: Progress = lambda done, total: None,
) -> RepairSummary:
    """Copy every readable frame, and what came with them, into a new recording.

    Frames that cannot be read, or whose time is no number, are left out; where times do not
    increase, the longest increasing run of frames is kept. The frame after a hole is flagged.
    A file that was cut short is read as if its missing end were zeros.

    Raises
    ------
    InputError
        Nothing can be saved.
    OutputError
        `out` exists or cannot be written; nothing is left behind then.
    """
    source, target = Path(path), Path(out)
    if target.exists() and source.exists() and target.samefile(source):
        raise OutputError(f"{target} is the recording itself; save to another file")
    file, remarks = _open_damaged(source)
    try:
        with reading(source, "the recording"), writing(target, force=force) as half:
            summary = _copy(source, file, half, progress)
    finally:
        file.close()
    return replace(summary, remarks=(*remarks, *summary.remarks))


def _copy(source: Path, file: Any, target: Path, progress: Progress) -> RepairSummary:
    counts = dataset_at(file, schema.COUNTS)
    times_s = column_at(file, schema.TIME, schema.MAX_FRAMES)
    if counts is None or times_s is None:
        raise InputError(f"{source}: its pictures or times are lost; nothing can be saved")
    pictures = Pictures(source, counts, fill_of(counts))
    scale = read_scale(source, counts)
    total = min(len(times_s), pictures.frames)
    numbers = in_order(times_s[:total])
    if not len(numbers):
        raise InputError(f"{source}: no frame has a usable time; nothing can be saved")
    extras = read_extras(file, total, pictures.shape)
    info = describe(source, file, scale, pictures.shape, times_s[numbers])
    remarks: tuple[str, ...] = ()
    if pictures.dtype == np.float32:
        remarks = (f"floating-point pictures are stored in steps of {schema.FLOAT_SCALE_K} K",)
    saved = 0
    with Writer(target, info, force=True) as writer:
        for place, number in enumerate(numbers):
            frame = _frame(pictures, extras, int(number), float(times_s[number]), scale)
            if frame is not None:
                writer.take(frame)
                saved += 1
            progress(place + 1, len(numbers))
        _copy_extras(writer, extras)
    if not saved:
        raise InputError(f"{source}: no frame can be read; nothing can be saved")
    return RepairSummary(saved, max(len(times_s), pictures.frames) - saved, remarks)


def _frame(
    pictures: Pictures, extras: Extras, number: int, time_s: float, scale: Scale
) -> Frame | None:
    try:
        if not pictures.written(number):
            return None
        counts = pictures.read(number)
    except InputError:
        return None
    shutter, flags = extras.of(number)
    return Frame(counts, time_s, number, scale, shutter, flags)


def _copy_extras(writer: Writer, extras: Extras) -> None:
    log = extras.supply
    if log is not None:
        rows = zip(log.time_s, log.voltage_v, log.current_a, strict=True)
        writer.take_supply(SupplySample(float(t), float(v), float(a)) for t, v, a in rows)
    writer.set_marks(extras.marks)
    if extras.placement_csv or extras.landmarks_json:
        writer.set_board(extras.placement_csv, extras.landmarks_json)
    if extras.profile_json:
        writer.set_profile(extras.profile_json)
    if extras.shiny is not None:
        writer.set_shiny(extras.shiny)


def in_order(times_s: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the numbers of the longest run of frames, holes allowed, whose times increase.

    Longest increasing subsequence by patience sorting, n·log n; times that are not finite are
    left out.
    """
    tails: list[float] = []  # the smallest last time of a run of each length
    ends: list[int] = []
    before = np.full(len(times_s), -1, dtype=np.intp)
    for number in np.flatnonzero(np.isfinite(times_s)):
        place = bisect_left(tails, float(times_s[number]))
        before[number] = ends[place - 1] if place else -1
        if place == len(tails):
            tails.append(float(times_s[number]))
            ends.append(int(number))
        else:
            tails[place] = float(times_s[number])
            ends[place] = int(number)
    run = np.empty(len(tails), dtype=np.intp)
    last = ends[-1] if ends else -1
    for place in reversed(range(len(tails))):
        run[place] = last
        last = int(before[last])
    return run


def _open_damaged(path: Path) -> tuple[Any, list[str]]:
    try:
        return open_for_reading(path), []
    except DamagedError as trouble:
        claimed = _claimed_bytes(path)
        there = path.stat().st_size
        if claimed is None or not there < claimed <= _LARGEST_CLAIM_BYTES:
            raise InputError(f"{trouble}: nothing can be saved".replace(_HINT, "")) from None
        try:
            file = h5py.File(_Padded(path, claimed), "r")
        except LIBRARY_ERRORS as error:
            raise InputError(
                f"{path} is cut short where it matters ({first_line(error)}); nothing can be saved"
            ) from error
        return file, [f"the file ends {(claimed - there) / 1e6:.3f} MB too early"]


_HINT = "; try thermview repair"


def _claimed_bytes(path: Path) -> int | None:
    """Return the size that the superblock states (HDF5 File Format Specification, II.A)."""
    with path.open("rb") as stream:
        head = stream.read(64)
    if len(head) < 48:
        return None
    version = head[8]
    if version in (0, 1) and head[13] == 8:
        place = 40 if version == 0 else 44
    elif version in (2, 3) and head[9] == 8:
        place = 28
    else:
        return None
    return int(struct.unpack_from("<Q", head, place)[0])


class _Padded(io.RawIOBase):
    """A file seen with zeros behind its end, up to the size it ought to have."""

    def __init__(self, path: Path, size: int) -> None:
        self._stream = path.open("rb", buffering=0)
        self._size = size
        self._place = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._place, os.SEEK_END: self._size}[whence]
        self._place = base + offset
        return self._place

    def tell(self) -> int:
        return self._place

    def readinto(self, buffer: Any, /) -> int:
        view = memoryview(buffer).cast("B")
        self._stream.seek(self._place)
        got = self._stream.read(len(view)) or b""
        view[: len(got)] = got
        view[len(got) :] = bytes(len(view) - len(got))
        self._place += len(view)
        return len(view)

    def close(self) -> None:
        self._stream.close()
        super().close()
