"""The regions file: JSON by the program's contract, read strictly, written whole or not at all.

Temperatures are °C in the file and K inside. Keys that are not known are ignored, so that other
programs may keep their own beside ours.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from thermview.errors import InputError
from thermview.paths import save_text
from thermview.regions.region import Difference, Region, RegionSet, checked_name
from thermview.regions.shapes import shape_from_json
from thermview.units import celsius_from_kelvin, kelvin_from_celsius

VERSION = 1
LARGEST_FILE_BYTES = 16 * 2**20
"""A file beyond this is no regions file, whatever it claims."""


def load_regions(path: str | Path) -> RegionSet:
    """Read a regions file.

    Raises
    ------
    InputError
        One line: which file, which region by number and name, what is wrong with what.
    """
    path = Path(path)
    document = _read(path)
    if not isinstance(document, dict) or not isinstance(document.get("regions"), list):
        raise InputError(f'{path.name}: not a regions file; it must hold {{"regions": [...]}}')
    version = document.get("version", VERSION)
    if version != VERSION or isinstance(version, bool):
        raise InputError(
            f"{path.name}: version must be {VERSION}, got {version!r}; a newer thermview wrote it?"
        )
    regions: dict[str, Region] = {}
    for number, entry in enumerate(document["regions"], 1):
        try:
            region = _region(entry)
            if region.name in regions:
                raise InputError("the name is taken by a region before it; names must differ")
        except InputError as error:
            raise InputError(f"{path.name}: {_which('region', number, entry)}: {error}") from None
        regions[region.name] = region
    differences = _differences(path, document.get("differences", []), regions)
    return RegionSet(tuple(regions.values()), differences)


def save_regions(path: str | Path, regions: RegionSet) -> None:
    """Write a regions file; an existing one is replaced only once the new one is whole.

    Raises
    ------
    OutputError
        The place refuses it.
    """
    path = Path(path)
    names = {region.id: region.name for region in regions.regions}
    document: dict[str, Any] = {
        "version": VERSION,
        "regions": [_region_entry(region) for region in regions.regions],
    }
    if regions.differences:
        document["differences"] = [
            {
                "name": item.name,
                "minuend": names[item.minuend_id],
                "subtrahend": names[item.subtrahend_id],
            }
            for item in regions.differences
        ]
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    save_text(path, text)


def _read(path: Path) -> Any:
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise InputError(f"{path.name}: too large for a regions file (above 16 MiB)")
        return json.loads(path.read_bytes())
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        reason = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "no text"
        raise InputError(f"{path.name}: not JSON ({reason}); is it a regions file?") from error


def _which(what: str, number: int, entry: object) -> str:
    name = entry.get("name") if isinstance(entry, Mapping) else None
    readable = isinstance(name, str) and name.isprintable() and name
    return f'{what} {number} "{name:.60}"' if readable else f"{what} {number}"


def _region(entry: object) -> Region:
    if not isinstance(entry, Mapping):
        raise InputError(f"must be an object in braces, got {entry!r:.40}")
    reflected = _optional(entry, "reflected_temperature")
    limit = _optional(entry, "limit")
    return Region(
        name=checked_name(entry.get("name")),
        shape=shape_from_json(entry),
        emissivity=_optional(entry, "emissivity"),
        reflected_k=None if reflected is None else _kelvin("reflected_temperature", reflected),
        limit_k=None if limit is None else _kelvin("limit", limit),
        statistic=entry.get("statistic", "max"),
        emissivity_u=_optional(entry, "emissivity_uncertainty"),
        reflected_u_k=_optional(entry, "reflected_temperature_uncertainty"),
        emissivity_from=_words(entry, "emissivity_from"),
        body_mm=_sides(entry, "body_mm"),
    )


def _words(entry: Mapping[str, Any], key: str) -> str:
    value = entry.get(key, "")
    if not isinstance(value, str) or not value.isprintable():
        raise InputError(f"{key} must be one line of text, got {value!r:.40}")
    return value


def _sides(entry: Mapping[str, Any], key: str) -> tuple[float, float] | None:
    value = entry.get(key)
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{key} must be [width, height], got {value!r:.40}")
    sides = [_optional({key: side}, key) for side in value]
    if sides[0] is None or sides[1] is None:
        raise InputError(f"{key} must be two numbers, got {value!r:.40}")
    return sides[0], sides[1]


def _optional(entry: Mapping[str, Any], key: str) -> float | None:
    value = entry.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} must be a number, got {value!r:.40}")
    if not abs(value) < 1e9:  # also true of NaN
        raise InputError(f"{key} must be a finite number, got {value!s:.40}")
    return float(value)


def _kelvin(key: str, celsius: float) -> float:
    if not -273.15 < celsius < 1e5:
        raise InputError(f"{key} must be above -273.15 °C and below 100,000 °C, got {celsius:g}")
    return kelvin_from_celsius(celsius)


def _region_entry(region: Region) -> dict[str, Any]:
    entry: dict[str, Any] = {"name": region.name} | region.shape.to_json()
    if region.emissivity is not None:
        entry["emissivity"] = region.emissivity
    if region.reflected_k is not None:
        entry["reflected_temperature"] = round(celsius_from_kelvin(region.reflected_k), 9)
    if region.limit_k is not None:
        entry["limit"] = round(celsius_from_kelvin(region.limit_k), 9)
    if region.statistic != "max":
        entry["statistic"] = region.statistic
    if region.emissivity_u is not None:
        entry["emissivity_uncertainty"] = region.emissivity_u
    if region.reflected_u_k is not None:
        entry["reflected_temperature_uncertainty"] = region.reflected_u_k
    if region.emissivity_from:
        entry["emissivity_from"] = region.emissivity_from
    if region.body_mm is not None:
        entry["body_mm"] = list(region.body_mm)
    return entry


def _differences(
    path: Path, entries: object, regions: Mapping[str, Region]
) -> tuple[Difference, ...]:
    if not isinstance(entries, list):
        raise InputError(f"{path.name}: differences must be a list, got {entries!r:.40}")
    found: dict[str, Difference] = {}
    for number, entry in enumerate(entries, 1):
        try:
            item = _difference(entry, regions)
            if item.name in found or item.name in regions:
                raise InputError("the name is taken; names must differ")
        except InputError as error:
            where = _which("difference", number, entry)
            raise InputError(f"{path.name}: {where}: {error}") from None
        found[item.name] = item
    return tuple(found.values())


def _difference(entry: object, regions: Mapping[str, Region]) -> Difference:
    if not isinstance(entry, Mapping):
        raise InputError(f"must be an object in braces, got {entry!r:.40}")
    ids = []
    for key in ("minuend", "subtrahend"):
        name = entry.get(key)
        if not isinstance(name, str) or name not in regions:
            raise InputError(f"{key} must name a region of this file, got {name!r:.40}")
        ids.append(regions[name].id)
    return Difference(checked_name(entry.get("name")), *ids)
