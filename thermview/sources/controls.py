"""A camera's standard controls, as its driver offers them: brightness, gain, focus, shutter …"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from thermview.errors import DeviceError, UsageError
from thermview.sources import v4l2_abi as abi
from thermview.sources.v4l2_node import VideoNode, why_not

_MOST_CONTROLS = 256


class ControlKind(Enum):
    """What values a control takes."""

    NUMBER = abi.CTRL_TYPE_INTEGER
    SWITCH = abi.CTRL_TYPE_BOOLEAN
    CHOICE = abi.CTRL_TYPE_MENU
    BUTTON = abi.CTRL_TYPE_BUTTON


_KINDS = {kind.value: kind for kind in ControlKind}


@dataclass(frozen=True, slots=True)
class Control:
    """One control.

    Attributes
    ----------
    number : int
        The driver's number of it.
    name : str
        The driver's name of it.
    kind : ControlKind
        What it takes.
    minimum, maximum, step, usual : int
        Range, steps and default.
    value : int or None
        As it stands; None for a button and what cannot be read.
    choices : tuple of (int, str)
        Values and their names, of a choice.
    settable : bool
        It can be changed now (others depend on another control, or only tell).
    """

    number: int
    name: str
    kind: ControlKind
    minimum: int
    maximum: int
    step: int
    usual: int
    value: int | None = None
    choices: tuple[tuple[int, str], ...] = ()
    settable: bool = True

    def __str__(self) -> str:
        if self.kind is ControlKind.BUTTON:
            return f"{self.name}: a button"
        if self.choices:
            given = ", ".join(f"{value} {words}" for value, words in self.choices)
        else:
            given = f"{self.minimum} … {self.maximum}"
        return f"{self.name}: {self.value} ({given})"


def controls_of(node: VideoNode) -> tuple[Control, ...]:
    """Return the controls that can be used, in the driver's order."""
    return tuple(_usable(node))


def _usable(node: VideoNode) -> Iterator[Control]:
    query = abi.QueryCtrl(id=abi.CTRL_FLAG_NEXT_CTRL)
    for _ in range(_MOST_CONTROLS):
        try:
            node.ask(abi.QUERYCTRL, query)
        except OSError:
            return
        if query.type in _KINDS and not query.flags & abi.CTRL_FLAG_DISABLED:
            yield _control(node, query)
        query = abi.QueryCtrl(id=query.id | abi.CTRL_FLAG_NEXT_CTRL)


def _control(node: VideoNode, query: abi.QueryCtrl) -> Control:
    kind = _KINDS[query.type]
    return Control(
        query.id,
        query.name.decode("ascii", "replace"),
        kind,
        query.minimum,
        query.maximum,
        query.step,
        query.default_value,
        _value(node, query),
        tuple(_choices(node, query)) if kind is ControlKind.CHOICE else (),
        not query.flags & (abi.CTRL_FLAG_READ_ONLY | abi.CTRL_FLAG_INACTIVE),
    )


def _value(node: VideoNode, query: abi.QueryCtrl) -> int | None:
    if query.type == abi.CTRL_TYPE_BUTTON or query.flags & abi.CTRL_FLAG_WRITE_ONLY:
        return None
    current = abi.ControlValue(id=query.id)
    try:
        node.ask(abi.G_CTRL, current)
    except OSError:
        return None
    return int(current.value)


def _choices(node: VideoNode, query: abi.QueryCtrl) -> Iterator[tuple[int, str]]:
    for index in range(query.minimum, min(query.maximum, query.minimum + _MOST_CONTROLS) + 1):
        entry = abi.QueryMenu(id=query.id, index=index)
        try:
            node.ask(abi.QUERYMENU, entry)
        except OSError:  # a menu may have holes
            continue
        yield index, entry.name.decode("ascii", "replace")


def set_control(node: VideoNode, name: str, value: int) -> None:
    """Set a control by its name.

    Raises
    ------
    UsageError
        There is none of that name, or the value is out of its range.
    DeviceError
        The camera refuses.
    """
    known = {control.name.casefold(): control for control in controls_of(node)}
    control = known.get(name.casefold())
    if control is None:
        names = ", ".join(each.name for each in known.values()) or "none at all"
        raise UsageError(f"the camera has no control {name!r}; it has {names}")
    if control.kind is not ControlKind.BUTTON and not control.minimum <= value <= control.maximum:
        raise UsageError(
            f"{control.name} is to be {value}; it must be {control.minimum} to {control.maximum}"
        )
    try:
        node.ask(abi.S_CTRL, abi.ControlValue(id=control.number, value=value))
    except OSError as error:
        raise DeviceError(f"{control.name}: {why_not(node.path, error)}") from error
