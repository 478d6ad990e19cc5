"""Part maps: parts drawn by hand on a picture or a photo, kept for the next board of the model."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from thermview.board.parts import Part
from thermview.errors import InputError
from thermview.paths import save_text

_TEXTS = ("designator", "package", "side", "value")
_NUMBERS = ("x_mm", "y_mm", "rotation_deg", "width_mm", "height_mm")


@dataclass(frozen=True, slots=True)
class Place:
    """A place easily found again on the next board, such as a hole: its name and where, mm."""

    name: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class PartMap:
    """Parts and landmarks' places of a board model, mm with y up from the picture's lower left."""

    parts: tuple[Part, ...]
    places: tuple[Place, ...] = ()


def save_part_map(path: Path | str, part_map: PartMap) -> None:
    """Write a part map to a JSON file, whole or not at all."""
    parts = [{**asdict(part), "nets": list(part.nets)} for part in part_map.parts]
    places = [asdict(place) for place in part_map.places]
    text = json.dumps({"version": 1, "parts": parts, "places": places}, ensure_ascii=False)
    save_text(Path(path), text + "\n")


def load_part_map(path: Path | str) -> PartMap:
    """Read a part map from a JSON file.

    Raises
    ------
    InputError
        The file is missing, or is no part map.
    """
    path = Path(path)
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
        parts = tuple(_part(entry) for entry in document["parts"])
        places = tuple(
            Place(str(e["name"]), _finite(e["x_mm"]), _finite(e["y_mm"]))
            for e in document.get("places", [])
        )
    except OSError as error:
        raise InputError(f"cannot read the part map {path}: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(
            f'{path.name} is no part map: {{"version": 1, "parts": [{{"designator", "x_mm", '
            '"y_mm", "width_mm", "height_mm", …}], "places": […]}'
        ) from None
    _refuse_twice([part.designator for part in parts], path.name)
    return PartMap(parts, places)


def _part(entry: dict[str, Any]) -> Part:
    known = {field.name for field in fields(Part)}
    given: dict[str, Any] = {key: str(entry[key]) for key in _TEXTS if key in entry}
    given |= {key: _finite(entry[key]) for key in _NUMBERS if key in entry}
    given["size_assumed"] = entry.get("size_assumed") is True
    given["nets"] = tuple(str(net) for net in entry.get("nets", []))
    given.setdefault("package", "")
    part = Part(**{key: value for key, value in given.items() if key in known})
    if not part.designator or min(part.width_mm, part.height_mm) <= 0:
        raise ValueError(entry)
    return part


def _finite(value: object) -> float:
    number = float(value)  # type: ignore[arg-type]  # what is no number raises, as it should
    if not math.isfinite(number):
        raise ValueError(value)
    return number


def _refuse_twice(names: Sequence[str], file: str) -> None:
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise InputError(f"{file} lists {twice} twice; designators must be unique")
