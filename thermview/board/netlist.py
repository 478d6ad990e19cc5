"""Netlists: IPC-D-356A test records, read through gerbonara; which nets each part joins."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from thermview.board.parts import Part
from thermview.board.text import read_text
from thermview.errors import InputError

_MASK_COLUMN = 72  # zero-based place of the solder mask's S; KiCad writes it one to the left
_FEATURES = ("317", "327", "367")
_SIZE_LIMIT = 64 * 2**20  # bytes


@dataclass(frozen=True, slots=True)
class Pad:
    """A test record: a pad or a via.

    Attributes
    ----------
    designator, pin : str
        Empty for a via.
    net : str or None
        None where it is not connected.
    x_mm, y_mm : float
    through : bool
        It has a hole.
    mask : str
        Sides that the solder mask covers: ``""``, ``top``, ``bottom`` or ``both``.
    """

    designator: str
    pin: str
    net: str | None
    x_mm: float
    y_mm: float
    through: bool
    mask: str = ""


@dataclass(frozen=True, slots=True)
class Netlist:
    """A board's pads."""

    pads: tuple[Pad, ...]

    def nets(self) -> dict[str, tuple[str, ...]]:
        """Return the nets of each designator, in order of name."""
        found: dict[str, set[str]] = {}
        for pad in self.pads:
            if pad.designator and pad.net:
                found.setdefault(pad.designator, set()).add(pad.net)
        return {designator: tuple(sorted(nets)) for designator, nets in found.items()}

    def parts_on(self, net: str) -> tuple[str, ...]:
        """Return the designators that a net joins, in the file's order."""
        joined = (pad.designator for pad in self.pads if pad.net == net and pad.designator)
        return tuple(dict.fromkeys(joined))


def load_netlist(path: Path | str) -> Netlist:
    """Read an IPC-D-356A netlist from a file; see `parse_netlist`.

    Raises
    ------
    InputError
        The file is missing, or is no such netlist.
    """
    path = Path(path)
    return parse_netlist(read_text(path, "netlist", _SIZE_LIMIT), path.name)


def parse_netlist(text: str, name: str = "the netlist") -> Netlist:
    """Read IPC-D-356A text; long net names (``NNAMEn``) are put in for their aliases.

    Raises
    ------
    InputError
        It states no units, holds no test record, or a record cannot be read.
    """
    from gerbonara.ipc356 import Netlist as Records  # it brings much along: only when needed

    lines = [_mask_in_place(line) for line in text.splitlines()]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what it warns of is passed over, as it should be
            records = Records.from_string("\n".join(lines), name).test_records
    except SyntaxError as error:
        raise InputError(f"{name} is no IPC-D-356A netlist: {error}") from None
    pads = tuple(_pad(record) for record in records if record.x is not None)
    if not pads:
        raise InputError(f"{name} holds no test record (317, 327 or 367); is it IPC-D-356A?")
    return Netlist(pads)


def with_nets(parts: Iterable[Part], netlist: Netlist) -> tuple[Part, ...]:
    """Return parts with their nets from a netlist; parts that it does not name keep theirs."""
    nets = netlist.nets()
    return tuple(replace(p, nets=nets.get(_short(p.designator), p.nets)) for p in parts)


def _short(designator: str) -> str:
    return designator[:6]  # the record's column holds no more


def _mask_in_place(line: str) -> str:
    if line[:3] in _FEATURES and line[_MASK_COLUMN - 1 : _MASK_COLUMN] == "S":
        return f"{line[: _MASK_COLUMN - 1]} {line[_MASK_COLUMN - 1 :]}"
    return line


def _pad(record: Any) -> Pad:
    covered = record.solder_mask.name if record.solder_mask is not None else "NONE"
    sides = {"PRIMARY": "top", "SECONDARY": "bottom", "BOTH": "both"}
    return Pad(
        designator=record.ref_des or "",
        pin=getattr(record, "pin", None) or "",
        net=record.net_name,
        x_mm=float(record.unit.convert_to("mm", record.x)),
        y_mm=float(record.unit.convert_to("mm", record.y)),
        through=record.pad_type.name != "SMD_PAD",
        mask=sides.get(covered, ""),
    )
