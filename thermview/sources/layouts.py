"""Stream layouts: how a camera packs its raw counts into video, one small TOML file each."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError, UsageError
from thermview.frames import Counts, Scale
from thermview.paths import resource


class RawRows(Enum):
    """Which rows of a stream's frame carry raw counts; the others are a picture for people."""

    ALL = "all"
    UPPER = "upper"
    LOWER = "lower"


@dataclass(frozen=True, slots=True)
class Shutter:
    """How a camera's shutter shows, and what works it.

    Attributes
    ----------
    freezes : bool
        The picture stands still, bit by bit, while the shutter is closed.
    shortest_s : float
        A picture that stands still for less is an ordinary repetition.
    control : str
        Name of the camera control that works the shutter by hand; empty where there is none.
    value : int
        What to set that control to.
    """

    freezes: bool = True
    shortest_s: float = 0.15
    control: str = ""
    value: int = 1


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens for the camera: its name, and the size of a pixel at its focus."""

    name: str
    mm_per_px: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A stream's layout, and what else is known of the camera that sends it.

    Attributes
    ----------
    name, note : str
        For choosing it; what to know of it.
    format : str
        Four-character code to ask the camera for, such as ``Y16`` or ``YUYV``; empty: its own.
    width_px, height_px : int or None
        Size of the stream's frame to ask for (both halves of a double-height one).
    raw_rows : RawRows
        Where the counts are.
    byte_order : str
        ``little`` or ``big``.
    scale : Scale or None
        What a count means; None when the layout does not fix it.
    shutter : Shutter
        How the shutter shows.
    band_um : (float, float) or None
        Limits of the camera's band, µm.
    netd_k, accuracy_k : float or None
        Noise and accuracy as the camera's maker states them, K.
    corrected : tuple of str
        What the camera has corrected already, in words ("emissivity 0.95").
    lenses : tuple of Lens
        The lenses there are.
    """

    name: str
    format: str = ""
    width_px: int | None = None
    height_px: int | None = None
    raw_rows: RawRows = RawRows.ALL
    byte_order: str = "little"
    scale: Scale | None = None
    note: str = ""
    shutter: Shutter = field(default_factory=Shutter)
    band_um: tuple[float, float] | None = None
    netd_k: float | None = None
    accuracy_k: float | None = None
    corrected: tuple[str, ...] = ()
    lenses: tuple[Lens, ...] = ()

    def decode(self, picture: NDArray[Any]) -> Counts | None:
        """Return the raw counts, uint16 (row, column), of what the capture gave.

        None when the picture has not two bytes a pixel: no raw data came.
        """
        if picture.ndim == 3 and picture.shape[2] == 2 and picture.dtype == np.uint8:
            words = np.ascontiguousarray(picture).view("<u2")[..., 0]
        elif picture.ndim == 2 and picture.dtype == np.uint16:
            words = picture
        else:
            return None
        half = words.shape[0] // 2
        if self.raw_rows is RawRows.UPPER:
            words = words[:half]
        elif self.raw_rows is RawRows.LOWER:
            words = words[half:]
        return words.byteswap() if self.byte_order == "big" else words.copy()

    def remarks(self) -> list[str]:
        """Return what the user should know of the camera, line by line."""
        lines = [self.note] if self.note else []
        if self.corrected:
            lines.append(f"the camera has corrected already: {', '.join(self.corrected)}")
        if self.accuracy_k is not None:
            lines.append(f"accuracy stated for the camera: ±{self.accuracy_k:g} K")
        lines += [f"{lens.name}: {lens.mm_per_px:g} mm a pixel in focus" for lens in self.lenses]
        return lines


def layouts() -> dict[str, Layout]:
    """Return the layouts that come with the program, by name."""
    files = sorted(resource("profiles").glob("*.toml"))
    return {file.stem: read_layout(file) for file in files}


def layout_named(name: str) -> Layout:
    """Return a layout by its name, or from a file of the user's.

    Raises
    ------
    UsageError
        There is none; the message lists the names.
    InputError
        The file is not one.
    """
    return read_layout(layout_file(name))


def layout_file(name: str) -> Path:
    """Return the file of a layout that is named, or given as a file (see `layout_named`)."""
    if name.endswith(".toml"):
        return Path(name)
    known = sorted(file.stem for file in resource("profiles").glob("*.toml"))
    if name not in known:
        raise UsageError(
            f"there is no stream layout {name!r}; there are {', '.join(known)}, "
            "or give a .toml file"
        )
    return resource("profiles", f"{name}.toml")


def read_layout(path: Path) -> Layout:
    """Read a layout's file.

    Raises
    ------
    InputError
        Missing, not TOML, an unknown field or a value out of range.
    """
    try:
        return _layout(path.stem, tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path} cannot be read as a stream layout ({error})") from error
    except (TypeError, ValueError, KeyError, InputError) as error:
        raise InputError(f"{path} is not a stream layout: {error}") from error


_FIELDS = (
    "note",
    "format",
    "width",
    "height",
    "raw_rows",
    "byte_order",
    "k_per_count",
    "offset_k",
    "shutter",
    "band_um",
    "netd_k",
    "accuracy_k",
    "corrected",
    "lens",
)


def _layout(name: str, fields: dict[str, Any]) -> Layout:
    _check_known(fields, _FIELDS)
    byte_order = str(fields.get("byte_order", "little"))
    if byte_order not in ("little", "big"):
        raise InputError(f"byte_order is {byte_order!r}; it must be little or big")
    scale = None
    if "k_per_count" in fields:
        scale = Scale(float(fields["k_per_count"]), float(fields.get("offset_k", 0.0)))
    return Layout(
        name=name,
        format=_format(fields),
        width_px=_size(fields, "width"),
        height_px=_size(fields, "height"),
        raw_rows=RawRows(fields.get("raw_rows", "all")),
        byte_order=byte_order,
        scale=scale,
        note=str(fields.get("note", "")),
        shutter=_shutter(fields.get("shutter", {})),
        band_um=_band(fields),
        netd_k=_positive(fields, "netd_k"),
        accuracy_k=_positive(fields, "accuracy_k"),
        corrected=tuple(map(str, fields.get("corrected", ()))),
        lenses=tuple(_lens(entry) for entry in fields.get("lens", ())),
    )


def _check_known(fields: Mapping[str, Any], known: tuple[str, ...]) -> None:
    if unknown := sorted(set(fields) - set(known)):
        raise InputError(f"unknown field {unknown[0]!r}; there are {', '.join(known)}")


def _format(fields: dict[str, Any]) -> str:
    text = str(fields.get("format", ""))
    if not (text.isascii() and 3 <= len(text) <= 4):
        raise InputError(f"format is {text!r}; it must be a four-character code such as Y16")
    return text


def _size(fields: dict[str, Any], name: str) -> int | None:
    value = fields.get(name)
    if value is None:
        return None
    if not isinstance(value, int) or not 1 <= value <= 16384:
        raise InputError(f"{name} is {value!r}; it must be 1 to 16384 pixels")
    return value


def _positive(fields: Mapping[str, Any], name: str) -> float | None:
    if name not in fields:
        return None
    value = float(fields[name])
    if not 0 < value < np.inf:
        raise InputError(f"{name} is {value:g}; it must be above 0")
    return value


def _band(fields: dict[str, Any]) -> tuple[float, float] | None:
    if "band_um" not in fields:
        return None
    low, high = (float(limit) for limit in fields["band_um"])
    if not 0 < low < high < 1000:
        raise InputError(f"band_um is {low:g} to {high:g}; it must be two rising limits in µm")
    return low, high


def _shutter(fields: Mapping[str, Any]) -> Shutter:
    _check_known(fields, ("freezes", "shortest_s", "control", "value"))
    usual = Shutter()
    return Shutter(
        bool(fields.get("freezes", usual.freezes)),
        _positive(fields, "shortest_s") or usual.shortest_s,
        str(fields.get("control", usual.control)),
        int(fields.get("value", usual.value)),
    )


def _lens(fields: Mapping[str, Any]) -> Lens:
    _check_known(fields, ("name", "mm_per_px"))
    mm_per_px = _positive(fields, "mm_per_px")
    if mm_per_px is None:
        raise InputError("a lens lacks mm_per_px, the size of a pixel at its focus in mm")
    return Lens(str(fields.get("name", "lens")), mm_per_px)
