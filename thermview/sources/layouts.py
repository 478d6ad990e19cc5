"""Stream layouts: how a camera packs its raw counts into video, one small TOML file each."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
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
class Layout:
    """A stream's layout.

    Attributes
    ----------
    name, note : str
        For choosing it; what to know of it.
    format : str
        Four-character code to ask the camera for, such as ``Y16`` or ``YUYV``.
    width_px, height_px : int or None
        Size of the stream's frame to ask for (both halves of a double-height one).
    raw_rows : RawRows
        Where the counts are.
    byte_order : str
        ``little`` or ``big``.
    scale : Scale or None
        What a count means; None when the layout does not fix it.
    """

    name: str
    format: str
    width_px: int | None = None
    height_px: int | None = None
    raw_rows: RawRows = RawRows.ALL
    byte_order: str = "little"
    scale: Scale | None = None
    note: str = ""

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
    if name.endswith(".toml"):
        return read_layout(Path(name))
    known = layouts()
    if name not in known:
        raise UsageError(
            f"there is no stream layout {name!r}; there are {', '.join(known)}, "
            "or give a .toml file"
        )
    return known[name]


def read_layout(path: Path) -> Layout:
    """Read a layout's file.

    Raises
    ------
    InputError
        Missing, not TOML, an unknown field or a value out of range.
    """
    try:
        fields = tomllib.loads(path.read_text(encoding="utf-8"))
        return _layout(path.stem, fields)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path} cannot be read as a stream layout ({error})") from error
    except (TypeError, ValueError, KeyError, InputError) as error:
        raise InputError(f"{path} is not a stream layout: {error}") from error


def _layout(name: str, fields: dict[str, Any]) -> Layout:
    known = {
        "format",
        "width",
        "height",
        "raw_rows",
        "byte_order",
        "k_per_count",
        "offset_k",
        "note",
    }
    if unknown := sorted(set(fields) - known):
        raise InputError(f"unknown field {unknown[0]!r}; there are {', '.join(sorted(known))}")
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
    )


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
