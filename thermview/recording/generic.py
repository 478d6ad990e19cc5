"""Opens any other HDF5 file that has pictures in a 3-D dataset."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from thermview.errors import InputError
from thermview.frames import Scale, SourceInfo
from thermview.recording import schema
from thermview.recording.footage import Extras, RecordedFootage
from thermview.recording.hdf5 import dataset_at, open_for_reading, reading
from thermview.recording.pictures import Pictures, check_pictures
from thermview.units import ZERO_CELSIUS_K

_MOST_NAMED = 6


def open_hdf5(
    path: str | Path,
    dataset: str | None = None,
    *,
    scale: Scale | None = None,
    rate_hz: float | None = None,
) -> RecordedFootage:
    """Open the pictures of an HDF5 file that is no recording.

    Parameters
    ----------
    path : path
        The file.
    dataset : str, optional
        Path of the 3-D dataset (time, row, column); may be left out when there is just one.
    scale : Scale, optional
        What its numbers mean; without it they are shown as brightness.
    rate_hz : float, optional
        Frames per second; without it, a frame counts as a second.

    Raises
    ------
    InputError
        One line, with the datasets to choose from where that is the trouble.
    """
    place = Path(path)
    file = open_for_reading(place)
    try:
        with reading(place, "the file"):
            return read_pictures(place, file, dataset, scale, rate_hz)
    except BaseException:
        file.close()
        raise


def picture_datasets(file: Any) -> list[str]:
    """Return the paths of the 3-D numeric datasets in an open HDF5 file."""
    found: list[str] = []

    def look(name: str, item: Any) -> None:
        if isinstance(item, h5py.Dataset) and item.ndim == 3 and item.dtype.kind in "iuf":
            found.append(name)

    file.visititems(look)
    return found


def unstated(scale: Scale | None, rate_hz: float | None) -> tuple[Scale, float, tuple[str, ...]]:
    """Fill in what the user did not say of bare pictures, with notes that tell so.

    Returns
    -------
    scale, rate_hz, notes
        Brightness for an unknown scale, one frame per second for an unknown rate.
    """
    notes: tuple[str, ...] = ()
    if scale is None:
        scale = Scale(1.0, 0.0, relative=True)
        notes += (
            "brightness only, no temperatures: give --scale K_PER_COUNT and --offset K "
            "(or --celsius / --kelvin)",
        )
    if rate_hz is None:
        rate_hz = 1.0
        notes += ("no frame rate known: a frame counts as one second; give --rate FPS",)
    if not (np.isfinite(rate_hz) and rate_hz > 0):
        raise InputError(f"the frame rate is {rate_hz} per second; it must be above 0")
    return scale, rate_hz, notes


def stated_scale(
    scale_k: float | None, offset_k: float | None, celsius: bool, kelvin: bool
) -> Scale | None:
    """Return the scale that the user's settings state, or None when they state none.

    Raises
    ------
    InputError
        They contradict each other, or are no usable numbers.
    """
    if celsius + kelvin + (scale_k is not None) > 1:
        raise InputError("give only one of --scale, --celsius and --kelvin")
    if offset_k is not None and scale_k is None:
        raise InputError("--offset needs --scale K_PER_COUNT beside it")
    if celsius:
        return Scale(1.0, ZERO_CELSIUS_K)
    if kelvin:
        return Scale(1.0, 0.0)
    return None if scale_k is None else Scale(scale_k, offset_k or 0.0)


def read_pictures(
    path: Path, file: Any, name: str | None, scale: Scale | None, rate_hz: float | None
) -> RecordedFootage:
    """Make footage of a dataset in an open file (see `open_hdf5`); it owns the file then."""
    dataset = _choose(path, file, name)
    check_pictures(path, dataset)
    if dataset.shape[0] > schema.MAX_FRAMES:
        raise InputError(f"{path} claims {dataset.shape[0]} frames; {schema.MAX_FRAMES} are taken")
    pictures = Pictures(path, dataset)
    scale, rate_hz, notes = unstated(scale, rate_hz)
    info = SourceInfo(
        name=path.name,
        address=str(path),
        width_px=pictures.shape[1],
        height_px=pictures.shape[0],
        scale=scale,
        live=False,
        start_time=datetime.fromtimestamp(path.stat().st_mtime, tz=UTC),
        rate_hz=rate_hz,
        notes=notes,
    )
    times_s = np.arange(pictures.frames) / rate_hz
    return RecordedFootage(
        path, file, pictures=pictures, times_s=times_s, info=info, extras=Extras.none()
    )


def _choose(path: Path, file: Any, name: str | None) -> Any:
    found = picture_datasets(file)
    if name is None:
        if len(found) == 1:
            return file[found[0]]
        if not found:
            raise InputError(f"{path} has no 3-D dataset of numbers, so no pictures")
        raise InputError(
            f"{path} has several datasets of pictures: {_listed(found)}; "
            "choose one with --dataset PATH"
        )
    dataset = dataset_at(file, name)
    if dataset is None:
        offer = f"; it has {_listed(found)}" if found else ""
        raise InputError(f"{path} has no dataset {name!r}{offer}")
    return dataset


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more
