"""Writes a recording that outlives a crash and can be read while it grows."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError, OutputError
from thermview.frames import (
    Counts,
    Frame,
    FrameFlag,
    Mark,
    Scale,
    SourceInfo,
    SupplyLog,
    SupplySample,
)
from thermview.paths import writing
from thermview.recording import layout, schema
from thermview.recording.hdf5 import LIBRARY_ERRORS, first_line
from thermview.recording.pictures import as_counts
from thermview.recording.probe import trust
from thermview.recording.stopgap import StopgapFile

if TYPE_CHECKING:
    from thermview.radiometry.shiny import ShinyMap

_RESERVE_BYTES = 64 << 20
"""Room left on the disk: a recording stops in good order before the disk is full."""


class Writer:
    """Takes frames into a new recording; while it is open, the frames can be read back.

    A frame is on its way to the disk when `take` returns. Times and flags follow with the next
    flush, at least once in `flush_every_s`: what a killed program leaves opens, up to the last
    flush. Frames of floating-point numbers are stored as uint16 of 1/64 K; their pixels without
    a value, or beyond 0 … 1023.98 K, are read back as NaN. Safe from several threads.

    Parameters
    ----------
    path : path
        The new file.
    info : SourceInfo
        Describes the source; its scale is the file's.
    force : bool
        Replace an existing file.
    clock : callable
        Seconds, for the rhythm of flushing.

    Raises
    ------
    OutputError
        The file exists already, or cannot be made; nothing is left behind then.
    """

    def __init__(
        self,
        path: str | Path,
        info: SourceInfo,
        *,
        force: bool = False,
        flush_every_s: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = Path(path)
        self._info = info
        self._clock = clock
        self._flush_every_s = flush_every_s
        self._lock = threading.RLock()
        self._scale: Scale | None = None  # what the file's counts mean, known with the first frame
        self._holes = False
        self._times: list[float] = []
        self._shutter: list[bool] = []
        self._flags: list[int] = []
        self._last_index: int | None = None
        self._saved = 0  # rows of time and flags that are in the file
        self._supply: list[SupplySample] = []
        self._supply_saved = 0
        self._marks: list[Mark] = []
        self._marks_saved = False
        self.failure = ""
        self._file: Any
        self._file, self._ground = _new_file(self.path, info, force)
        self._counts = self._file[schema.COUNTS]
        self._flushed_at = clock()

    # -- taking ---------------------------------------------------------------------------

    def take(self, frame: Frame) -> None:
        """Write one frame.

        Raises
        ------
        InputError
            The frame does not fit: size, scale, or a time that does not increase. The recording
            goes on without it.
        OutputError
            The disk refuses. What was recorded is kept; nothing more can be taken.
        """
        with self._lock:
            self._check_open()
            self._check(frame)
            number = len(self._times)
            with self._writing():
                if self._scale is None:
                    self._settle_scale(frame)
                self._counts.resize(number + 1, axis=0)
                self._counts[number] = self._stored(frame)
            gap = self._last_index is not None and frame.index > self._last_index + 1
            self._times.append(float(frame.time_s))
            self._shutter.append(frame.shutter)
            self._flags.append(int(frame.flags | (FrameFlag.GAP_BEFORE if gap else 0)))
            self._last_index = frame.index
            if self._clock() - self._flushed_at >= self._flush_every_s:
                self.flush()

    def take_supply(self, samples: Iterable[SupplySample]) -> None:
        """Add readings of the supply, oldest first; one that does not move on in time is left."""
        with self._lock:
            self._check_open()
            for sample in samples:
                if not self._supply or sample.time_s > self._supply[-1].time_s:
                    self._supply.append(sample)

    def add_mark(self, mark: Mark) -> None:
        """Add a mark, in any order of time."""
        with self._lock:
            self.set_marks((*self._marks, mark))

    def set_marks(self, marks: Iterable[Mark]) -> None:
        """Replace all marks."""
        with self._lock:
            self._check_open()
            self._marks = sorted(marks, key=lambda each: each.time_s)
            self._marks_saved = False

    def set_board(self, placement_csv: str | None, landmarks_json: str | None) -> None:
        """Keep the board's placement list and landmarks with the recording."""
        with self._lock, self._writing():
            self._check_open()
            group = layout.lay_out_board(self._file)
            texts = {"placement": placement_csv, "landmarks": landmarks_json}
            for name, text in texts.items():
                if name in group:
                    del group[name]
                if text is not None:
                    group[name] = text

    def set_profile(self, profile_json: str) -> None:
        """Keep what is known of the camera with the recording; the counts stay as they are."""
        with self._lock, self._writing():
            self._check_open()
            camera = self._file[schema.CAMERA]
            if schema.PROFILE in camera:
                del camera[schema.PROFILE]
            camera[schema.PROFILE] = profile_json

    def set_shiny(self, shiny: ShinyMap | None) -> None:
        """Keep which pixels are shiny with the recording, or (None) nothing of it."""
        with self._lock, self._writing():
            self._check_open()
            if shiny is not None:
                emissivity = shiny.emissivity.astype(np.float32)
                layout.lay_out_shiny(self._file, shiny.mask, emissivity, shiny.how)
            elif schema.SHINY in self._file:
                del self._file[schema.SHINY]

    def flush(self) -> None:
        """Bring everything taken so far to the file.

        Raises
        ------
        OutputError
            The disk refuses, or is all but full.
        """
        with self._lock:
            self._check_open()
            with self._writing():
                self._save_rows()
                self._save_supply()
                self._save_marks()
                self._file.flush()
            self._ground.settle()
            self._saved = len(self._times)
            self._flushed_at = self._clock()
            self._check_room()

    def close(self) -> None:
        """Finish the file; may be called again.

        Raises
        ------
        OutputError
            The last part could not be written.
        """
        with self._lock:
            if not self._file:
                return
            try:
                if not self.failure:
                    self.flush()
            finally:
                file, self._file = self._file, None
                with suppress(*LIBRARY_ERRORS):
                    file.close()
                self._ground.close()
                trust(self.path)

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- reading back (a Footage) -----------------------------------------------------------

    @property
    def info(self) -> SourceInfo:
        """Return the description of the source."""
        return self._info

    @property
    def first(self) -> int:
        """Return 0: a file lets go of nothing."""
        return 0

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the times of the frames taken so far, s."""
        with self._lock:
            return np.array(self._times, dtype=np.float64)

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's readings so far, or None."""
        with self._lock:
            return SupplyLog.of(self._supply) if self._supply else None

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the marks so far, in order of time."""
        with self._lock:
            return tuple(self._marks)

    def __len__(self) -> int:
        return len(self._times)

    def frame(self, number: int) -> Frame:
        """Return a frame taken before, as the file will give it.

        Raises
        ------
        IndexError
            There is no such frame yet.
        InputError
            The file is closed or does not give it.
        """
        with self._lock:
            if not 0 <= number < len(self._times):
                raise IndexError(f"frame {number} is not in 0 … {len(self._times) - 1}")
            if not self._file or self._scale is None:
                raise InputError(f"{self.path} is closed; open it as a recording")
            try:
                raw = self._counts[number]
            except LIBRARY_ERRORS as error:
                raise InputError(
                    f"{self.path}: frame {number} cannot be read ({first_line(error)})"
                ) from error
            counts = as_counts(raw, 0.0 if self._holes else None)
            flags = FrameFlag(self._flags[number])
            shutter = self._shutter[number]
            return Frame(counts, self._times[number], number, self._scale, shutter, flags)

    # -- inside -----------------------------------------------------------------------------

    def _check_open(self) -> None:
        if self.failure:
            raise OutputError(self.failure)
        if not self._file:
            raise OutputError(f"{self.path} is closed; nothing more can be recorded into it")

    def _check(self, frame: Frame) -> None:
        expected = (self._info.height_px, self._info.width_px)
        if frame.shape != expected:
            raise InputError(
                f"a frame of {frame.shape[1]} × {frame.shape[0]} pixels does not fit the "
                f"recording's {expected[1]} × {expected[0]}"
            )
        if not np.isfinite(frame.time_s) or (self._times and frame.time_s <= self._times[-1]):
            last = f" after {self._times[-1]:.6f} s" if self._times else ""
            raise InputError(f"a frame at {frame.time_s} s{last}: times must increase")
        is_float = frame.counts.dtype == np.float32
        if self._scale is not None and is_float != self._holes:
            raise InputError(f"a frame of {frame.counts.dtype} in a recording of another type")
        if not is_float and frame.scale != self._info.scale:
            raise InputError(
                f"a frame of {frame.scale.k_per_count} K per count does not fit the recording's "
                f"{self._info.scale.k_per_count}; start a new recording"
            )

    def _settle_scale(self, first: Frame) -> None:
        self._scale = self._info.scale
        if first.counts.dtype == np.float32:
            self._holes = True
            if not self._scale.relative:
                self._scale = Scale(schema.FLOAT_SCALE_K)
            layout.set_scale(self._file, self._scale, holes=True)

    def _stored(self, frame: Frame) -> Counts:
        if not self._holes:
            return frame.counts
        assert self._scale is not None
        values = frame.counts if self._scale.relative else frame.kelvin()
        rounded = np.rint(values / self._scale.k_per_count)
        usable = (rounded >= 1) & (rounded <= np.iinfo(np.uint16).max)  # False for NaN
        return np.where(usable, rounded, 0).astype(np.uint16)

    def _save_rows(self) -> None:
        count = len(self._times)
        if count == self._saved:
            return
        columns: dict[str, list[Any]] = {
            f"{schema.CAMERA}/shutter": self._shutter,
            f"{schema.CAMERA}/flags": self._flags,
            schema.TIME: self._times,  # last: the frames count once their times are there
        }
        for name, values in columns.items():
            dataset = self._file[name]
            dataset.resize(count, axis=0)
            dataset[self._saved :] = np.array(values[self._saved :], dtype=dataset.dtype)

    def _save_supply(self) -> None:
        new = self._supply[self._supply_saved :]
        if not new:
            return
        group = self._file.get(schema.SUPPLY) or layout.lay_out_supply(self._file)
        log = SupplyLog.of(new)
        columns = {"voltage": log.voltage_v, "current": log.current_a, "time": log.time_s}
        for name, values in columns.items():
            group[name].resize(len(self._supply), axis=0)
            group[name][self._supply_saved :] = values
        self._supply_saved = len(self._supply)

    def _save_marks(self) -> None:
        if self._marks_saved:
            return
        if self._marks or schema.MARKS in self._file:
            group = self._file.get(schema.MARKS) or layout.lay_out_marks(self._file)
            columns: dict[str, list[Any]] = {
                "kind": [mark.kind.value for mark in self._marks],
                "text": [mark.text for mark in self._marks],
                "time": [mark.time_s for mark in self._marks],
            }
            for name, values in columns.items():
                group[name].resize(len(values), axis=0)
                if values:
                    group[name][:] = values
        self._marks_saved = True

    def _check_room(self) -> None:
        frame_bytes = 2 * self._info.width_px * self._info.height_px
        rate_hz = self._info.rate_hz or 60.0
        needed = _RESERVE_BYTES + int(3 * self._flush_every_s * rate_hz * frame_bytes)
        free = shutil.disk_usage(self.path.parent).free
        if free < needed:
            self._fail(f"the disk is all but full ({free / 1e6:.0f} MB left)")

    def _fail(self, reason: str) -> None:
        self.failure = (
            f"{self.path}: {reason}; the recording stopped after {self._saved} frames, "
            "which are kept; make room and record on into a new file"
        )
        for column in (self._times, self._shutter, self._flags):
            del column[self._saved :]
        raise OutputError(self.failure)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Turn the disk's refusal, or the library's error, into the writer's failure."""
        reason = ""
        try:
            yield
        except LIBRARY_ERRORS as error:
            reason = first_line(error)
        trouble = self._ground.trouble
        if trouble is not None:
            reason = trouble.strerror or str(trouble)
        if reason:
            self._fail(f"cannot be written ({reason})")


def _new_file(path: Path, info: SourceInfo, force: bool) -> tuple[Any, StopgapFile]:
    """Lay the file out under another name first, so that a failure leaves nothing."""
    with writing(path, force=force) as half:
        try:
            with h5py.File(half, "w") as file:
                layout.lay_out(file, info)
        except LIBRARY_ERRORS as error:
            raise OutputError(f"{path} cannot be written ({first_line(error)})") from error
    return _reopen(path)


def _reopen(path: Path) -> tuple[Any, StopgapFile]:
    ground = StopgapFile(path)
    file = h5py.File(ground, "r+")
    cache = file.id.get_mdc_config()
    cache.evictions_enabled = False  # nothing half-done goes to disk between two flushes
    cache.incr_mode = cache.decr_mode = cache.flash_incr_mode = 0
    file.id.set_mdc_config(cache)
    return file, ground
