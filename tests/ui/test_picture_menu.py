"""The picture's own menu, and its actions' keys."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from fake_desk import make_desk
from PySide6.QtGui import QAction, QContextMenuEvent, QKeySequence
from PySide6.QtWidgets import QApplication, QInputDialog, QMenu, QToolButton
from pytestqt.qtbot import QtBot

from thermview.ui.desk import Desk
from thermview.ui.display import LevelMode, View
from thermview.ui.picture import PictureView
from thermview.ui.picture.menu import fill_picture_menu
from thermview.units import TemperatureUnit


@pytest.fixture
def desk(qtbot: QtBot) -> Iterator[Desk]:
    made = make_desk([np.full((40, 60), 30_000, np.uint16)])
    made.display.set_level(290.0, 310.0)
    yield made
    made.session = None


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> PictureView:
    made = PictureView(desk)
    qtbot.addWidget(made)
    return made


def entry(menu: QMenu, *path: str) -> QAction:
    for words in path[:-1]:
        inner = next(a.menu() for a in menu.actions() if a.text() == words)
        assert isinstance(inner, QMenu)
        menu = inner
    return next(a for a in menu.actions() if a.text() == path[-1])


def opened(view: PictureView) -> QMenu:
    menu = QMenu(view)
    fill_picture_menu(menu, view.desk, view)
    return menu


def test_choices_show_what_is_and_set_it(desk: Desk, view: PictureView) -> None:
    menu = opened(view)
    assert entry(menu, "colours", "inferno").isChecked()
    entry(menu, "colours", "viridis").trigger()
    entry(menu, "unit", "°F").trigger()
    entry(menu, "level", "frozen").trigger()
    entry(menu, "quarter turn").trigger()
    entry(menu, "mirror").trigger()
    display = desk.display
    assert (display.colour_map, display.unit) == ("viridis", TemperatureUnit.FAHRENHEIT)
    assert (display.mode, display.quarter_turns, display.mirrored) == (LevelMode.FROZEN, 3, True)
    assert entry(opened(view), "colours", "viridis").isChecked()


def test_rise_without_a_zero_is_refused_in_words(desk: Desk, view: PictureView) -> None:
    said: list[tuple[str, str]] = []
    desk.said.connect(lambda severity, words: said.append((severity, words)))
    entry(opened(view), "rise").trigger()
    assert desk.display.view is View.TEMPERATURE
    assert said[-1][0] == "error"
    assert "zero now" in said[-1][1]


@pytest.mark.parametrize(
    ("words", "band_c"),
    [
        ("above …", (60.0, math.inf)),
        ("below …", (-math.inf, 20.0)),
        ("between …", (20.0, 60.0)),
    ],
)
def test_bands_are_asked_for_in_the_shown_unit(
    desk: Desk,
    view: PictureView,
    monkeypatch: pytest.MonkeyPatch,
    words: str,
    band_c: tuple[float, float],
) -> None:
    given = iter([limit for limit in band_c if math.isfinite(limit)])
    monkeypatch.setattr(QInputDialog, "getDouble", lambda *_: (next(given), True))
    entry(opened(view), "highlight", words).trigger()
    assert desk.display.isotherm == pytest.approx(tuple(c + 273.15 for c in band_c))
    entry(opened(view), "highlight", "nothing").trigger()
    assert desk.display.isotherm is None


def test_both_ends_by_hand_and_giving_up(
    desk: Desk, view: PictureView, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter([(68.0, True), (104.0, True), (1.0, True), (0.0, False)])
    monkeypatch.setattr(QInputDialog, "getDouble", lambda *_: next(answers))
    desk.display.set_unit(TemperatureUnit.FAHRENHEIT)
    entry(opened(view), "level", "set both ends …").trigger()
    # 68 °F is 20 °C and 104 °F is 40 °C (NIST SP 811, B.8)
    assert (desk.display.low_k, desk.display.high_k) == pytest.approx((293.15, 313.15))
    entry(opened(view), "level", "set both ends …").trigger()
    assert (desk.display.low_k, desk.display.high_k) == pytest.approx((293.15, 313.15))


def test_the_menu_opens_and_closes_without_a_trace(view: PictureView) -> None:
    view.show()
    point = view.canvas.rect().center()
    reason = QContextMenuEvent.Reason.Mouse
    QApplication.sendEvent(view, QContextMenuEvent(reason, point, view.mapToGlobal(point)))
    menu = view.findChild(QMenu, "pictureMenu")
    assert menu is not None
    assert view.actions_by_name["smooth"] in menu.actions()
    menu.close()
    QApplication.sendPostedEvents(None, 52)  # QEvent.DeferredDelete
    assert view.findChild(QMenu, "pictureMenu") is None


def test_every_action_says_its_key_and_has_a_named_button(view: PictureView) -> None:
    for name, action in view.actions_by_name.items():
        key = action.shortcut().toString()
        assert len(key) == 1
        assert action.toolTip().endswith(f"[{key}]")
        button = view.findChild(QToolButton, f"button_{name}")
        assert (button is None) == (name in {"smooth", "markers"})  # these are in the menu only
        assert button is None or button.accessibleName()
    fit = view.actions_by_name["fit"]
    fit.setShortcut(QKeySequence("W"))
    assert fit.toolTip().endswith("[W]")


def test_toggles_and_display_stay_together(desk: Desk, view: PictureView) -> None:
    view.actions_by_name["markers"].trigger()
    assert not desk.display.markers
    desk.display.set_smooth(False)
    assert not view.actions_by_name["smooth"].isChecked()
    view.set_focus_help(True)
    assert view.actions_by_name["focus"].isChecked()
    view.actions_by_name["focus"].trigger()
    assert not view.canvas.focus_help
