"""One frame in open formats: coloured and 16-bit pictures, a table, numpy's archive."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Frame
from thermview.paths import writing
from thermview.units import TemperatureUnit

Picture = NDArray[np.uint8]


def frame_values(frame: Frame, unit: TemperatureUnit = TemperatureUnit.CELSIUS) -> NDArray[Any]:
    """Return a frame's apparent temperatures in a unit, float64; counts for a relative scale."""
    if frame.scale.relative:
        return frame.counts.astype(np.float64)
    zero, one = unit.from_kelvin(0.0), unit.from_kelvin(1.0)
    return frame.kelvin() * (one - zero) + zero


def export_frame(
    frame: Frame,
    path: Path,
    *,
    force: bool = False,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    coloured: Picture | None = None,
) -> None:
    """Write one frame, in the format that the file's name ends in.

    Parameters
    ----------
    frame : Frame
        What to write.
    path : Path
        `.png`: the `coloured` picture, else the counts as 16-bit grey; `.tif`, `.tiff`: the
        counts in 16 bits (floating-point sources in 32) with the scale in the description;
        `.csv`: temperatures, a line per row; `.npz`: counts, kelvin, time and scale.
    force : bool
        Replace an existing file.
    unit : TemperatureUnit
        Of the CSV.
    coloured : ndarray of uint8, shape (row, column, 3), optional
        Red, green, blue.

    Raises
    ------
    UsageError
        The name ends in none of these.
    OutputError
        The file exists already, or cannot be written; no half file is left.
    """
    writers: dict[str, Callable[[Path], None]] = {
        ".png": lambda place: _write_png(frame, place, coloured),
        ".tif": lambda place: _write_tiff(frame, place),
        ".tiff": lambda place: _write_tiff(frame, place),
        ".csv": lambda place: _write_csv(frame, place, unit),
        ".npz": lambda place: _write_npz(frame, place),
    }
    write = writers.get(path.suffix.lower())
    if write is None:
        raise UsageError(f"{path}: a frame is written as {', '.join(writers)}; choose one of them")
    with writing(path, force=force) as partial:
        write(partial)


def colour(
    frame: Frame, lut: Picture, low_k: float | None = None, high_k: float | None = None
) -> Picture:
    """Return a frame in colours, shape (row, column, 3), red, green, blue.

    Parameters
    ----------
    frame : Frame
        What to colour.
    lut : ndarray of uint8, shape (n, 3)
        Colours from cold to hot.
    low_k, high_k : float, optional
        Temperatures of the first and the last colour (counts for a relative scale); the frame's
        own extremes unless given.
    """
    values = frame_values(frame, TemperatureUnit.KELVIN)
    known = values[np.isfinite(values)]
    low = low_k if low_k is not None else float(known.min()) if known.size else 0.0
    high = high_k if high_k is not None else float(known.max()) if known.size else 1.0
    share = np.nan_to_num((values - low) / max(high - low, 1e-9), nan=0.0, posinf=1.0, neginf=0.0)
    last = len(lut) - 1
    coloured: Picture = lut[np.clip(np.rint(share * last), 0, last).astype(np.intp)]
    return coloured


def _write_png(frame: Frame, path: Path, coloured: Picture | None) -> None:
    if coloured is not None:
        pixels: NDArray[Any] = np.ascontiguousarray(coloured[:, :, ::-1])
    elif frame.counts.dtype == np.uint16:
        pixels = frame.counts
    else:
        raise UsageError(f"{path}: floating-point frames have no 16-bit picture; write .tiff")
    encoded, data = cv2.imencode(".png", pixels)
    if not encoded:
        raise OSError("the picture could not be encoded")
    path.write_bytes(data.tobytes())


def _described(frame: Frame) -> dict[str, object]:
    return {
        "time_s": frame.time_s,
        "index": frame.index,
        "scale_factor": frame.scale.k_per_count,
        "add_offset": frame.scale.offset_k,
        "units": "counts" if frame.scale.relative else "K",
        "meaning": "apparent temperature = counts x scale_factor + add_offset",
    }


def _write_tiff(frame: Frame, path: Path) -> None:
    described = json.dumps(_described(frame))
    tifffile.imwrite(path, frame.counts, description=described, metadata=None)


def _write_csv(frame: Frame, path: Path, unit: TemperatureUnit) -> None:
    what = "counts" if frame.scale.relative else f"apparent temperature, {unit.symbol}"
    header = f"{what}; frame {frame.index} at {frame.time_s:.6f} s; one line per picture row"
    np.savetxt(path, frame_values(frame, unit), fmt="%.4f", delimiter=",", header=header)


def _write_npz(frame: Frame, path: Path) -> None:
    arrays: dict[str, Any] = {name: np.array(value) for name, value in _described(frame).items()}
    arrays["counts"] = frame.counts
    if not frame.scale.relative:
        arrays["kelvin"] = frame.kelvin().astype(np.float32)
    with path.open("wb") as file:
        np.savez_compressed(file, **arrays)
