"""The camera's own controls in the window: shown as they are, set while the picture runs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from thermview.errors import DeviceError
from thermview.sources.controls import Control, ControlKind
from thermview.sources.knobs import CameraKnobs
from thermview.ui.dialogs.knobs import KnobsDialog
from thermview.ui.window import MainWindow

AUTO, BY_HAND = 1, 0


class Knobs:
    """A camera whose gain is its own affair while it is automatic."""

    layout, reason, serial = "y16-linear", "guessed", "A100"
    has_shutter = True

    def __init__(self) -> None:
        self.is_kept = False
        self.gone = False
        self.remembered: list[str] = []
        self.calls: list[Any] = []
        self.known = {
            "Automatic": Control(1, "Automatic", ControlKind.SWITCH, 0, 1, 1, AUTO, AUTO),
            "Gain": Control(2, "Gain", ControlKind.NUMBER, 0, 64, 4, 16, 8, settable=False),
            "Range": Control(
                3, "Range", ControlKind.CHOICE, 0, 2, 1, 0, 0, ((0, "low"), (2, "high"))
            ),
            "Zero": Control(4, "Zero", ControlKind.BUTTON, 0, 0, 0, 0),
        }

    def controls(self) -> tuple[Control, ...]:
        if self.gone:
            raise DeviceError("bench camera is not plugged in")
        free = self.known["Automatic"].value == BY_HAND
        self.known["Gain"] = replace(self.known["Gain"], settable=free)
        return tuple(self.known.values())

    def set(self, name: str, value: int) -> None:
        self.calls.append((name, value))
        if self.known[name].kind is not ControlKind.BUTTON:
            self.known[name] = replace(self.known[name], value=value)

    def work_shutter(self) -> None:
        self.calls.append("shutter")

    def keep(self) -> None:
        self.is_kept = True
        self.remembered.append("kept")

    def forget(self) -> None:
        self.is_kept = False
        self.remembered.append("forgotten")


@pytest.fixture
def knobs() -> Knobs:
    return Knobs()


@pytest.fixture
def dialog(qtbot: QtBot, main_window: MainWindow, knobs: Knobs) -> KnobsDialog:
    made = KnobsDialog(main_window.desk, cast("CameraKnobs", knobs), main_window)
    made.show()
    qtbot.waitUntil(lambda: len(made.rows) == 4)
    return made


def click(dialog: KnobsDialog, name: str) -> None:
    found = dialog.findChild(QPushButton, name)
    assert isinstance(found, QPushButton)
    QTest.mouseClick(found, Qt.MouseButton.LeftButton)


def test_each_control_is_shown_by_its_kind_and_set(
    qtbot: QtBot, dialog: KnobsDialog, knobs: Knobs
) -> None:
    automatic, gain, span = (dialog.rows[name] for name in ("Automatic", "Gain", "Range"))
    assert not gain.isEnabled()
    assert automatic.switch is not None
    automatic.switch.click()
    qtbot.waitUntil(gain.isEnabled)
    assert gain.number is not None
    assert gain.slider is not None
    gain.number.setValue(27)  # steps of 4
    qtbot.waitUntil(lambda: knobs.calls[-1] == ("Gain", 28))
    qtbot.waitUntil(lambda: gain.slider.value() == 28)  # type: ignore[union-attr]
    assert span.choice is not None
    span.choice.setCurrentIndex(1)
    span.choice.activated.emit(1)
    qtbot.waitUntil(lambda: knobs.calls[-1] == ("Range", 2))
    click(dialog, "knob_Zero")
    qtbot.waitUntil(lambda: knobs.calls[-1] == ("Zero", 1))
    click(dialog, "knobsUsual")
    qtbot.waitUntil(lambda: knobs.known["Range"].value == 0)
    qtbot.waitUntil(lambda: not gain.isEnabled())
    click(dialog, "knobsClose")


def test_the_shutter_and_the_layout(qtbot: QtBot, dialog: KnobsDialog, knobs: Knobs) -> None:
    assert "y16-linear: guessed" in dialog.stream.text()
    click(dialog, "knobsShutter")
    qtbot.waitUntil(lambda: "shutter" in knobs.calls)
    click(dialog, "knobsKeep")
    assert knobs.remembered == ["kept"]
    assert not dialog.keep.isEnabled()
    click(dialog, "knobsForget")
    assert knobs.remembered == ["kept", "forgotten"]
    assert dialog.keep.isEnabled()
    dialog.reject()


def test_a_camera_that_is_gone_is_said(
    qtbot: QtBot, main_window: MainWindow, dialog: KnobsDialog, knobs: Knobs
) -> None:
    said: list[str] = []
    main_window.desk.said.connect(lambda _, words: said.append(words))
    knobs.gone = True
    dialog.read()
    qtbot.waitUntil(lambda: "bench camera is not plugged in" in said)
    qtbot.waitUntil(lambda: "not tell" in dialog.words.text())
    dialog.reject()


def test_without_a_camera_the_keys_say_so(main_window: MainWindow) -> None:
    said: list[str] = []
    main_window.desk.said.connect(lambda _, words: said.append(words))
    main_window.optics.knobs()
    main_window.optics.work_shutter()
    assert ["open a camera first" in words for words in said] == [True, True]
