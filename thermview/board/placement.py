"""Placement lists: the assembler's centroid file, as CAD programs commonly export it."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from thermview.board.packages import body_size_mm
from thermview.board.parts import Part
from thermview.board.text import read_text
from thermview.errors import InputError

MM_PER_UNIT = {"mm": 1.0, "mil": 0.0254, "mils": 0.0254, "inch": 25.4, "in": 25.4, '"': 25.4}
_COLUMNS = {
    "designator": ("designator", "ref", "refdes", "reference", "refdesignator", "part"),
    "x": ("x", "posx", "centerx", "centrex", "midx", "locationx", "refx", "xpos"),
    "y": ("y", "posy", "centery", "centrey", "midy", "locationy", "refy", "ypos"),
    "rotation": ("rotation", "rot", "angle", "orientation"),
    "side": ("side", "layer", "tb"),
    "package": ("package", "footprint", "pattern", "packagereference"),
    "value": ("value", "val", "comment"),
    "width": ("width", "bodywidth", "sizex"),
    "height": ("height", "bodyheight", "sizey"),
    "nets": ("nets", "net"),
}
_BY_NAME = {name: column for column, names in _COLUMNS.items() for name in names}
_NEGATED_X = "posx"
_UNIT = r"mm|mils?|inch|in"
_NUMBER = re.compile(
    rf'^([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*({_UNIT}|")?$', re.IGNORECASE
)
_SIZE_LIMIT = 16 * 2**20  # bytes: no placement list is near it


def load_placement(path: Path | str) -> tuple[Part, ...]:
    """Read a placement list from a file; see `parse_placement`.

    Raises
    ------
    InputError
        The file is missing, or is no placement list.
    """
    path = Path(path)
    return parse_placement(read_text(path, "placement list", _SIZE_LIMIT), path.name)


def parse_placement(text: str, name: str = "the placement list") -> tuple[Part, ...]:
    """Read a placement list: a header row with customary names, one row a part.

    Lines above the header are passed over (a ``Units: mil`` among them counts); fields are
    separated by commas, semicolons, tabs, or by spaces in the report form that starts its header
    with ``#``. Units are mm unless the header, a line above it or the value says mil or inch.
    Without width and height the body's size comes from the package's name. Where a list with
    KiCad's ``PosX`` has all x of the bottom negative and none of the top's, an option of that
    program negated them, and they are turned back: x is seen from the top on both sides.

    Raises
    ------
    InputError
        No header, no parts, a number that is none, or one designator twice.
    """
    rows = list(_rows(text))
    found = next(((i, c) for i, (_, row) in enumerate(rows) if (c := _header(row))), None)
    if found is None:
        raise InputError(
            f"{name} has no header row with a designator, x and y "
            "(such as Designator,Package,X,Y,Rotation,Side)"
        )
    at, columns = found
    preamble = " ".join(" ".join(row) for _, row in rows[:at])
    default = _stated_unit(preamble) or "mm"
    parts = [
        _part(row, columns, default, f"{name}, line {line}")
        for line, row in rows[at + 1 :]
        if any(row) and not row[0].startswith("#")
    ]
    if not parts:
        raise InputError(f"{name} lists no parts")
    seen: set[str] = set()
    for part in parts:
        if part.designator in seen:
            raise InputError(f"{name} lists {part.designator} twice; designators must be unique")
        seen.add(part.designator)
    negates = any(field.strip().lower() == _NEGATED_X for field in rows[at][1])
    return _unmirrored(parts) if negates else tuple(parts)


def format_placement(parts: Iterable[Part]) -> str:
    """Write parts as CSV text that `parse_placement` reads, mm."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = "Designator Package Value X(mm) Y(mm) Rotation Side Width(mm) Height(mm) Nets"
    writer.writerow(head.split())
    for p in parts:
        numbers = [f"{v:g}" for v in (p.x_mm, p.y_mm, p.rotation_deg)]
        size = [f"{p.width_mm:g}", f"{p.height_mm:g}"]
        nets = " ".join(p.nets)
        writer.writerow([p.designator, p.package, p.value, *numbers, p.side, *size, nets])
    return out.getvalue()


def _unmirrored(parts: list[Part]) -> tuple[Part, ...]:
    """Turn x of the bottom's parts back where the program that wrote them negated it."""
    bottom = [part.x_mm for part in parts if part.side == "bottom"]
    top = [part.x_mm for part in parts if part.side == "top"]
    if not bottom or max(bottom) >= 0 or any(x < 0 for x in top):
        return tuple(parts)
    return tuple(replace(p, x_mm=-p.x_mm) if p.side == "bottom" else p for p in parts)


def _rows(text: str) -> Iterable[tuple[int, list[str]]]:
    """Yield (line number, fields) of every line that holds anything."""
    lines = text.splitlines()
    head = next((line for line in lines if _header(_split(line))), "")
    delimiter = _delimiter(head)
    for number, line in enumerate(lines, 1):
        if line.strip():
            yield number, _split(line, delimiter)


def _delimiter(line: str) -> str:
    counts = {d: line.count(d) for d in ",;\t"}
    best = max(counts, key=lambda d: counts[d])
    return best if counts[best] else " "


def _split(line: str, delimiter: str | None = None) -> list[str]:
    delimiter = delimiter or _delimiter(line)
    if delimiter == " ":
        if line.startswith("# ") and not line.startswith("## "):
            line = line[2:]
        return line.split()
    try:
        fields = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error as error:
        raise InputError(f"a line of the placement list cannot be split: {error}") from None
    return [field.strip() for field in fields]


def _stated_unit(text: str) -> str | None:
    match = re.search(rf"units?(?:\s+used)?\s*[:=]?\s*({_UNIT})\b", text, re.IGNORECASE)
    return match[1].lower() if match else None


def _header(row: Sequence[str]) -> dict[str, tuple[int, str | None]] | None:
    """Return column → (position, unit in its name), or None where the row is no header."""
    columns: dict[str, tuple[int, str | None]] = {}
    for position, field in enumerate(row):
        plain = field.strip().lower()
        match = re.search(rf"[\s(\[_-]({_UNIT})[)\]]?$", plain)
        unit = match[1] if match else None
        stem = re.sub(r"[^a-z]", "", plain[: match.start()] if match else plain)
        column = _BY_NAME.get(stem)
        if column and column not in columns:
            columns[column] = (position, unit)
    return columns if {"designator", "x", "y"} <= columns.keys() else None


def _part(
    row: Sequence[str], columns: dict[str, tuple[int, str | None]], unit: str, where: str
) -> Part:
    def text(column: str) -> str:
        position = columns[column][0] if column in columns else len(row)
        return row[position].strip() if position < len(row) else ""

    def length(column: str, default_unit: str) -> float:
        return _length_mm(text(column), columns[column][1] or default_unit, column, where)

    designator = text("designator")
    if not designator:
        raise InputError(f"{where}: the designator is empty")
    package = text("package")
    size: tuple[float, float] | None
    if text("width") and text("height"):
        size = (length("width", "mm"), length("height", "mm"))
        if min(size) <= 0:
            raise InputError(f"{where}: {designator} is {size[0]:g} × {size[1]:g} mm; give > 0")
    else:
        size = body_size_mm(package)
    width, height = size or (2.0, 2.0)
    return Part(
        designator=designator,
        package=package,
        x_mm=length("x", unit),
        y_mm=length("y", unit),
        rotation_deg=_angle_deg(text("rotation"), where),
        side=_side(text("side")),
        value=text("value"),
        width_mm=width,
        height_mm=height,
        nets=tuple(re.split(r"[\s;|]+", text("nets"))) if text("nets") else (),
        size_assumed=size is None,
    )


def _length_mm(text: str, unit: str, column: str, where: str) -> float:
    match = _NUMBER.match(text)
    if not match or not math.isfinite(value := float(match[1])):
        raise InputError(f"{where}: {column} is {text!r}, which is no length; give mm, mil or inch")
    return value * MM_PER_UNIT[(match[2] or unit).lower()]


def _angle_deg(text: str, where: str) -> float:
    if not text:
        return 0.0
    try:
        angle = float(re.sub(r"(deg|°)$", "", text, flags=re.IGNORECASE))
    except ValueError:
        angle = math.nan
    if not math.isfinite(angle):
        raise InputError(f"{where}: the rotation is {text!r}, which is no angle in degrees")
    return angle


def _side(text: str) -> str:
    low = text.lower()
    return "bottom" if low.startswith(("b", "bot", "solder")) else "top"
