"""Opens recordings, whoever wrote them, and says in one line why one cannot be used."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import h5py
import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.frames import Mark, MarkKind, Scale, Scene, SourceInfo, SupplyLog
from thermview.recording import schema
from thermview.recording.footage import Extras, RecordedFootage, check_times, rate_of
from thermview.recording.hdf5 import (
    LIBRARY_ERRORS,
    attribute_text,
    column_at,
    dataset_at,
    number_at,
    open_for_reading,
    reading,
    text_at,
    text_of,
)
from thermview.recording.pictures import Pictures, check_pictures
from thermview.units import ZERO_CELSIUS_K

if TYPE_CHECKING:
    from thermview.radiometry.shiny import ShinyMap

T = TypeVar("T")


def open_recording(path: str | Path, *, scale: Scale | None = None) -> RecordedFootage:
    """Open a recording of schema 1 (or later, as far as it keeps to 1).

    Parameters
    ----------
    path : path
        The file, written by any program.
    scale : Scale, optional
        Stands in for what the file says, or fails to say, of its counts.

    Raises
    ------
    InputError
        One line: missing, empty, no HDF5, damaged, no recording, unusable scale or times.
    """
    place = Path(path)
    file = open_for_reading(place)
    try:
        with reading(place, "the recording"):
            return read_recording(place, file, scale)
    except BaseException:
        file.close()
        raise


def is_recording(file: Any) -> bool:
    """Tell whether an open HDF5 file has what a recording must have."""
    return dataset_at(file, schema.COUNTS) is not None and dataset_at(file, schema.TIME) is not None


def read_recording(path: Path, file: Any, stated: Scale | None) -> RecordedFootage:
    """Make footage of an open recording (see `open_recording`); it owns the file then."""
    counts = dataset_at(file, schema.COUNTS)
    if counts is None:
        raise InputError(
            f"{path} is no recording: it has no /{schema.COUNTS}; "
            "give --dataset PATH to open another HDF5 file"
        )
    check_pictures(path, counts)
    times_s = _times(path, file, counts.shape[0])
    scale = stated or read_scale(path, counts)
    pictures = Pictures(path, counts, fill_of(counts))
    return RecordedFootage(
        path,
        file,
        pictures=pictures,
        times_s=times_s,
        info=describe(path, file, scale, pictures.shape, times_s),
        extras=read_extras(file, len(times_s), pictures.shape),
    )


def _times(path: Path, file: Any, frames: int) -> NDArray[np.float64]:
    dataset = dataset_at(file, schema.TIME)
    if dataset is None or dataset.ndim != 1 or dataset.dtype.kind not in "iuf":
        raise InputError(f"{path} has no usable times: /{schema.TIME} must be numbers, one a frame")
    units = attribute_text(dataset, "units").strip().lower()
    if units not in schema.SECONDS:
        raise InputError(f"{path}: times are in {units!r}; they must be in s")
    length = min(frames, dataset.shape[0])
    if length < 1:
        raise InputError(f"{path}: there are no frames (0 times)")
    if length > schema.MAX_FRAMES:
        raise InputError(f"{path} claims {length} frames; at most {schema.MAX_FRAMES} are taken")
    times_s = np.asarray(dataset[:length], dtype=np.float64)
    check_times(path, times_s)
    return times_s


def read_scale(path: Path, counts: Any) -> Scale:
    """Return what the counts of a recording mean, from the CF attributes.

    Raises
    ------
    InputError
        Integer counts without a scale, a unit that is no temperature, numbers that are not finite.
    """
    units = attribute_text(counts, "units").strip().lower()
    if attribute_text(counts, schema.RELATIVE) in ("1", "True") or units in ("1", "counts"):
        return Scale(1.0, 0.0, relative=True)
    if units not in schema.KELVIN | schema.CELSIUS:
        raise InputError(f"{path}: counts are in {units!r}; a recording's are in K")
    if schema.SCALE_FACTOR not in counts.attrs and counts.dtype.kind != "f":
        raise InputError(
            f"{path}: /{schema.COUNTS} has no {schema.SCALE_FACTOR}, so a count means no "
            "temperature; give --scale K_PER_COUNT --offset K"
        )
    factor = _attribute_number(counts, schema.SCALE_FACTOR, 1.0)
    offset = _attribute_number(counts, schema.ADD_OFFSET, 0.0)
    if units in schema.CELSIUS:
        offset += ZERO_CELSIUS_K
    try:
        return Scale(factor, offset)
    except InputError as error:
        raise InputError(f"{path}: {error}") from None


def _attribute_number(item: Any, name: str, default: float) -> float:
    if name not in item.attrs:
        return default
    try:
        return float(np.ravel(item.attrs[name])[0])
    except (TypeError, ValueError, IndexError):
        return float("nan")


def fill_of(counts: Any) -> float | None:
    """Return the count that stands for a pixel without a value, or None (CF's `_FillValue`)."""
    value = _attribute_number(counts, schema.FILL_VALUE, float("nan"))
    return value if np.isfinite(value) else None


def describe(
    path: Path,
    file: Any,
    scale: Scale,
    shape: tuple[int, int],
    times_s: NDArray[np.float64],
) -> SourceInfo:
    """Return what a recording says of its source; damaged parts are left at their defaults."""
    start, notes = _start_time(path, _part(lambda: text_at(file, f"{schema.ENTRY}/start_time"), ""))
    if scale.relative:
        notes += ("brightness only: no temperatures",)
    return SourceInfo(
        name=path.name,
        address=str(path),
        width_px=shape[1],
        height_px=shape[0],
        scale=scale,
        live=False,
        start_time=start,
        rate_hz=rate_of(times_s),
        camera=_part(lambda: text_at(file, f"{schema.CAMERA}/description"), ""),
        netd_k=_part(lambda: number_at(file, f"{schema.CAMERA}/netd"), None),
        scene=_part(lambda: _scene(file), Scene()),
        title=_part(lambda: text_at(file, f"{schema.ENTRY}/title"), ""),
        notes=notes,
        simulated=_part(lambda: _is_simulated(file), False),
    )


def _part(read: Callable[[], T], otherwise: T) -> T:
    """Read a part that is not needed to see the frames: damage in it must not stand in the way."""
    try:
        return read()
    except LIBRARY_ERRORS:
        return otherwise


def _is_simulated(file: Any) -> bool:
    return attribute_text(file[schema.ENTRY], schema.SIMULATED) in ("1", "True")


def _start_time(path: Path, text: str) -> tuple[datetime, tuple[str, ...]]:
    try:
        start = datetime.fromisoformat(text.strip())
    except ValueError:
        changed = datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)
        return changed, ("no start time in the file: the file's own date stands for it",)
    if start.tzinfo is None:
        return start.replace(tzinfo=UTC), ("start time without offset: taken as UTC",)
    return start, ()


def _scene(file: Any) -> Scene:
    group = file.get(schema.SCENE)
    if not isinstance(group, h5py.Group):
        return Scene()
    band = column_at(group, "band", 2)
    limits = schema.DEFAULT_BAND_UM
    if band is not None and len(band) == 2 and 0 < band[0] < band[1] < np.inf:
        limits = (float(band[0]), float(band[1]))
    return Scene(
        emissivity=number_at(group, "emissivity"),
        reflected_k=number_at(group, "reflected_temperature"),
        reflected_u_k=number_at(group, "reflected_temperature_uncertainty"),
        air_k=number_at(group, "air_temperature"),
        window_transmission=number_at(group, "window_transmission"),
        air_transmission=number_at(group, "air_transmission"),
        band_um=limits,
        response=_response(group),
    )


def _response(group: Any) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    dataset = dataset_at(group, "response")
    if dataset is None or dataset.ndim != 2 or dataset.shape[0] != 2:
        return None
    if dataset.dtype.kind not in "iuf" or dataset.shape[1] > schema.MAX_RESPONSE:
        return None
    from thermview.radiometry import ResponseCurve  # most recordings have none

    wavelength_um, response = (tuple(line) for line in np.asarray(dataset, np.float64).tolist())
    try:
        ResponseCurve(wavelength_um, response)
    except InputError:
        return None
    return wavelength_um, response


def read_extras(file: Any, frames: int, picture: tuple[int, int]) -> Extras:
    """Return what came with the frames; damaged parts are left out."""
    shutter = _part(lambda: column_at(file, f"{schema.CAMERA}/shutter", frames), None)
    flags = _part(lambda: column_at(file, f"{schema.CAMERA}/flags", frames), None)
    no_texts: tuple[str | None, str | None] = (None, None)
    placement, landmarks = _part(lambda: _board(file.get(schema.BOARD)), no_texts)
    return Extras(
        shutter=np.zeros(0, np.bool_) if shutter is None else shutter != 0,
        flags=np.zeros(0, np.uint8) if flags is None else np.mod(flags, 8).astype(np.uint8),
        supply=_part(lambda: _supply(file.get(schema.SUPPLY)), None),
        marks=_part(lambda: _marks(file.get(schema.MARKS)), ()),
        placement_csv=placement,
        landmarks_json=landmarks,
        profile_json=_part(lambda: text_at(file, f"{schema.CAMERA}/{schema.PROFILE}"), "") or None,
        shiny=_part(lambda: _shiny(file.get(schema.SHINY), picture), None),
    )


def _supply(group: Any) -> SupplyLog | None:
    if not isinstance(group, h5py.Group):
        return None
    columns = [column_at(group, name, schema.MAX_FRAMES) for name in ("time", "voltage", "current")]
    time_s, voltage, current = columns
    if time_s is None or (voltage is None and current is None):
        return None
    blank = np.full(len(time_s), np.nan)
    voltage = blank if voltage is None else voltage
    current = blank if current is None else current
    length = min(len(time_s), len(voltage), len(current))
    good = np.isfinite(time_s[:length])
    time_s = time_s[:length][good]
    order = np.argsort(time_s, kind="stable")
    if not len(order):
        return None
    return SupplyLog(time_s[order], voltage[:length][good][order], current[:length][good][order])


def _marks(group: Any) -> tuple[Mark, ...]:
    if not isinstance(group, h5py.Group):
        return ()
    times_s = column_at(group, "time", schema.MAX_FRAMES)
    if times_s is None:
        return ()
    kinds = _texts(group, "kind", len(times_s))
    texts = _texts(group, "text", len(times_s))
    marks = [
        _mark(float(time_s), kind, text)
        for time_s, kind, text in zip(times_s, kinds, texts, strict=True)
        if np.isfinite(time_s)
    ]
    return tuple(sorted(marks, key=lambda mark: mark.time_s))


def _texts(group: Any, name: str, length: int) -> list[str]:
    dataset = dataset_at(group, name)
    found = [] if dataset is None or dataset.ndim != 1 else [text_of(t) for t in dataset[:length]]
    return found + [""] * (length - len(found))


def _mark(time_s: float, kind: str, text: str) -> Mark:
    try:
        return Mark(time_s, MarkKind(kind.strip().lower()), text)
    except ValueError:  # another program's kind is kept in the words
        return Mark(time_s, MarkKind.PLAIN, f"{kind}: {text}" if text and kind else kind or text)


def _shiny(group: Any, picture: tuple[int, int]) -> ShinyMap | None:
    if not isinstance(group, h5py.Group):
        return None
    mask, emissivity = (dataset_at(group, name) for name in ("mask", "emissivity"))
    if mask is None or mask.shape != picture or mask.dtype.kind not in "biuf":
        return None
    from thermview.radiometry.shiny import ShinyMap  # most recordings have none

    known = emissivity is not None and emissivity.shape == picture and emissivity.dtype.kind == "f"
    eps = np.asarray(emissivity, np.float64) if known else np.full(picture, np.nan)
    return ShinyMap(np.asarray(mask) != 0, eps, True, text_at(group, "how"))


def _board(group: Any) -> tuple[str | None, str | None]:
    placement = landmarks = None
    if isinstance(group, h5py.Group):
        for text in filter(None, (text_at(group, name) for name in group)):
            if text.lstrip().startswith("{"):
                landmarks = text
            else:
                placement = text
    return placement, landmarks
