"""Finding parts: by designator, net, kind and side."""

from __future__ import annotations

import re
from collections.abc import Iterable

from thermview.board.parts import Part

_SPLIT = re.compile(r"^([A-Za-z_]*)(\d*)(.*)$")


def kind_of(designator: str) -> str:
    """Return a designator's letters, such as ``C`` of ``C12`` (classes as in IEEE 315)."""
    match = _SPLIT.match(designator)
    return match[1].upper() if match else ""


def natural(designator: str) -> tuple[str, int, str]:
    """Return a key that sorts C2 before C12."""
    match = _SPLIT.match(designator)
    if not match:
        return designator, -1, ""
    return match[1].upper(), int(match[2] or -1), match[3]


def find_parts(
    parts: Iterable[Part],
    text: str = "",
    *,
    net: str | None = None,
    kind: str | None = None,
    side: str | None = None,
) -> list[Part]:
    """Return the parts that fit all that is asked, the nearest match of `text` first.

    Parameters
    ----------
    text : str
        Found in designator, value or package, upper and lower case alike: a designator that
        equals it, then those that begin with it, then the others.
    net, kind, side : str, optional
        A net's name; a designator's letters (``U``); ``top`` or ``bottom``.
    """
    wanted = text.strip().lower()
    found = []
    for part in parts:
        if side is not None and part.side != side:
            continue
        if kind is not None and kind_of(part.designator) != kind.upper():
            continue
        if net is not None and net not in part.nets:
            continue
        if (nearness := _nearness(part, wanted)) is not None:
            found.append((nearness, natural(part.designator), part))
    return [part for *_, part in sorted(found, key=lambda entry: entry[:2])]


def nets_of(parts: Iterable[Part]) -> list[str]:
    """Return the names of all nets, those that join the most parts first."""
    count: dict[str, int] = {}
    for part in parts:
        for net in part.nets:
            count[net] = count.get(net, 0) + 1
    return sorted(count, key=lambda net: (-count[net], net))


def _nearness(part: Part, wanted: str) -> int | None:
    name = part.designator.lower()
    if not wanted or name == wanted:
        return 0
    if name.startswith(wanted):
        return 1
    if wanted in name:
        return 2
    return 3 if wanted in part.value.lower() or wanted in part.package.lower() else None
