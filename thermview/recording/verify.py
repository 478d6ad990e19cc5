"""Says whether a recording is whole, and saves what can be read of one that is not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.recording import schema
from thermview.recording.hdf5 import (
    LIBRARY_ERRORS,
    DamagedError,
    column_at,
    dataset_at,
    first_line,
    open_for_reading,
)
from thermview.recording.pictures import Pictures
from thermview.recording.reader import fill_of, is_recording, read_scale

Progress = Callable[[int, int], None]

_MOST_RANGES = 8


def verify(path: str | Path, progress: Progress = lambda done, total: None) -> list[str]:
    """Read a recording through and tell what is wrong with it.

    Parameters
    ----------
    path : path
        The file.
    progress : callable
        Told the frames read and their number.

    Returns
    -------
    list of str
        Problems in words; empty when the recording is whole.

    Raises
    ------
    InputError
        There is no such file, it may not be read, or it is no recording at all.
    """
    place = Path(path)
    try:
        file = open_for_reading(place)
    except DamagedError as error:
        return [str(error).removeprefix(f"{place} ")]
    with file:
        try:
            known = "entry" in file and "thermal" in file["entry"]
        except LIBRARY_ERRORS as error:
            return [f"its groups cannot be read ({first_line(error)})"]
        if not known:
            raise InputError(f"{place} is no recording: it has no /{schema.THERMAL}")
        return _look_through(place, file, progress)


def _look_through(path: Path, file: Any, progress: Progress) -> list[str]:
    try:
        if not is_recording(file):
            return [f"/{schema.COUNTS} or /{schema.TIME} is missing"]
        counts = file[schema.COUNTS]
        pictures = Pictures(path, counts, fill_of(counts))
        times_s = column_at(file, schema.TIME, schema.MAX_FRAMES)
    except (InputError, *LIBRARY_ERRORS) as error:
        return [_without(path, error)]
    problems = _scale_problems(path, counts)
    if times_s is None:
        problems.append(f"/{schema.TIME} holds no times")
        times_s = np.zeros(0)
    problems += time_problems(times_s)
    if len(times_s) != pictures.frames:
        problems.append(
            f"{pictures.frames} pictures but {len(times_s)} times: "
            f"{min(pictures.frames, len(times_s))} frames count (cut off while recording?)"
        )
    problems += _frame_problems(pictures, min(pictures.frames, len(times_s)), progress)
    problems += _column_problems(file)
    return problems


def time_problems(times_s: NDArray[np.float64]) -> list[str]:
    """Tell of times that are not finite or do not increase."""
    problems = []
    bad = np.flatnonzero(~np.isfinite(times_s))
    if len(bad):
        problems.append(f"the times of {ranges(bad)} are no finite numbers")
    finite = np.flatnonzero(np.isfinite(times_s))
    falling = finite[1:][np.diff(times_s[finite]) <= 0]
    if len(falling):
        problems.append(f"times do not increase at {ranges(falling)}")
    return problems


def ranges(numbers: Iterable[int]) -> str:
    """Put frame numbers, in order, into words: ``frames 3, 7–9``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = int(number)
        else:
            runs.append([int(number), int(number)])
    words = [f"{a}" if a == b else f"{a}–{b}" for a, b in runs[:_MOST_RANGES]]
    more = f" and {len(runs) - _MOST_RANGES} more places" if len(runs) > _MOST_RANGES else ""
    one = len(runs) == 1 and runs[0][0] == runs[0][1]
    return f"frame{'' if one else 's'} {', '.join(words)}{more}"


def _scale_problems(path: Path, counts: Any) -> list[str]:
    try:
        read_scale(path, counts)
    except (InputError, *LIBRARY_ERRORS) as error:
        return [_without(path, error)]
    return []


def _frame_problems(pictures: Pictures, count: int, progress: Progress) -> list[str]:
    unreadable, missing = [], []
    for number in range(count):
        try:
            if not pictures.written(number):
                missing.append(number)
            else:
                pictures.read(number)
        except InputError:
            unreadable.append(number)
        progress(number + 1, count)
    problems = []
    if unreadable:
        problems.append(f"{ranges(unreadable)} cannot be read")
    if missing:
        problems.append(f"{ranges(missing)} never reached the file")
    return problems


def _column_problems(file: Any) -> list[str]:
    problems = []
    groups = {
        schema.SUPPLY: ("time", "voltage", "current"),
        schema.MARKS: ("time", "kind", "text"),
    }
    for path, names in groups.items():
        try:
            if path not in file:
                continue
            found = {name: dataset_at(file[path], name) for name in names}
            lengths = {name: len(d) for name, d in found.items() if d is not None}
            for dataset in found.values():
                if dataset is not None:
                    dataset[: schema.MAX_FRAMES]
            if len(set(lengths.values())) > 1:
                words = ", ".join(f"{length} of {name}" for name, length in lengths.items())
                problems.append(f"/{path} has columns of different length ({words})")
            times_s = column_at(file[path], "time", schema.MAX_FRAMES)
            if path == schema.SUPPLY and times_s is not None and time_problems(times_s):
                problems.append(f"/{path}: its times do not increase")
        except LIBRARY_ERRORS as error:
            problems.append(f"/{path} cannot be read ({first_line(error)})")
    return problems


def _without(path: Path, error: BaseException) -> str:
    return first_line(error).removeprefix(f"{path}: ").removeprefix(f"{path} ")
