"""The picture's own menu: colours, level, band, unit, orientation."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QInputDialog, QMenu, QWidget

from thermview.ui.desk import Desk
from thermview.ui.display import LevelMode, View
from thermview.ui.layers import Layer
from thermview.units import TemperatureUnit

T = TypeVar("T")


def fill_picture_menu(menu: QMenu, desk: Desk, parent: QWidget) -> None:
    """Add everything that changes how the picture is shown; questions open over `parent`."""
    display = desk.display
    layers = desk.layers
    stops: dict[str, View | Layer] = {view.value: view for view in View}
    stops |= {layer.value: layer for layer in Layer if layer is not Layer.NONE}
    shown = display.view if layers.shown is Layer.NONE else layers.shown

    def show(stop: View | Layer) -> None:
        layers.show(stop if isinstance(stop, Layer) else Layer.NONE)
        if isinstance(stop, View):
            display.set_view(stop)

    _choices(menu, stops, shown, lambda stop: desk.attempt(lambda: show(stop)))
    menu.addSeparator()
    maps = {name: name for name in display.colour_maps}
    _choices(menu.addMenu("colours"), maps, display.colour_map, display.set_colour_map)
    level = menu.addMenu("level")
    modes = {mode.value: mode for mode in LevelMode}
    _choices(level, modes, display.mode, display.set_mode)
    level.addSeparator()
    level.addAction("set both ends …", lambda: ask_level(parent, desk))
    band = menu.addMenu("highlight")
    band.addAction("above …", lambda: ask_band(parent, desk, above=True, below=False))
    band.addAction("below …", lambda: ask_band(parent, desk, above=False, below=True))
    band.addAction("between …", lambda: ask_band(parent, desk, above=True, below=True))
    off = band.addAction("nothing", lambda: display.set_isotherm(None))
    off.setEnabled(display.isotherm is not None)
    units = {unit.symbol: unit for unit in TemperatureUnit}
    unit_menu = menu.addMenu("unit")
    _choices(unit_menu, units, display.unit, display.set_unit)
    unit_menu.setEnabled(not display.relative)
    menu.addSeparator()
    menu.addAction("quarter turn", display.turn)
    menu.addAction("mirror", display.mirror)


def _choices(menu: QMenu, choices: dict[str, T], present: T, choose: Callable[[T], object]) -> None:
    group = QActionGroup(menu)
    for words, value in choices.items():
        action = QAction(words, menu)
        action.setCheckable(True)
        action.setChecked(value == present)
        action.triggered.connect(lambda _=False, v=value: choose(v))
        group.addAction(action)
        menu.addAction(action)


def ask_level(parent: QWidget, desk: Desk) -> None:
    """Ask for both ends of the axis in the shown unit."""
    display = desk.display
    low_k = _ask(parent, desk, "lower end", display.low_k)
    high_k = None if low_k is None else _ask(parent, desk, "upper end", display.high_k)
    if low_k is not None and high_k is not None:
        display.set_level(low_k, high_k)


def ask_band(parent: QWidget, desk: Desk, *, above: bool, below: bool) -> None:
    """Ask for the band to highlight: above a limit, below one, or between two."""
    display = desk.display
    low_k: float | None = -math.inf
    high_k: float | None = math.inf
    if above:
        low_k = _ask(parent, desk, "highlight from", display.low_k)
    if below and low_k is not None:
        high_k = _ask(parent, desk, "highlight up to", display.high_k)
    if low_k is not None and high_k is not None:
        display.set_isotherm((low_k, high_k))


def _ask(parent: QWidget, desk: Desk, words: str, level_k: float) -> float | None:
    display = desk.display
    question = f"{words}, {display.level_symbol or display.quantity}"
    shown, accepted = QInputDialog.getDouble(
        parent, words, question, display.level(level_k), -1e6, 1e6, 1
    )
    return display.level_k(shown) if accepted else None
