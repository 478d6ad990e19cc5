"""The dialogs: keys, triggers, fault table, how a file is read, a shifted copy."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton, QScrollArea
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of, write_warming

from thermview.errors import UsageError
from thermview.frames import MarkKind
from thermview.regions import Rectangle
from thermview.session.triggers import parse_trigger
from thermview.sources import OpenOptions
from thermview.ui.dialogs.faults import FaultTableDialog
from thermview.ui.dialogs.keys import KeysDialog
from thermview.ui.dialogs.read_as import CELSIUS, SCALED, ReadAsDialog
from thermview.ui.dialogs.scene import SceneDialog
from thermview.ui.dialogs.shift import ShiftDialog
from thermview.ui.dialogs.triggers import TriggersDialog
from thermview.ui.keys import ACTIONS, BENCH, Keys
from thermview.ui.opening import datasets_of
from thermview.ui.settings import Settings
from thermview.ui.window import MainWindow


def test_default_keys_are_all_different_and_the_bench_needs_no_chord() -> None:
    keys = [action.key for action in ACTIONS]
    assert len(set(keys)) == len(keys)
    bench = [action for action in ACTIONS if action.group == BENCH]
    assert {"mark", "zero", "power_on", "power_off", "fault_appears", "fault_gone"} <= {
        action.name for action in bench
    }
    assert all("+" not in action.key and "," not in action.key for action in bench)


def test_keys_are_rebound_and_remembered() -> None:
    settings = Settings()
    keys = Keys(settings)
    keys.bind("mark", "F12")
    assert Keys(Settings()).key("mark") == "F12"
    with pytest.raises(UsageError, match="zero now"):
        keys.bind("mark", "Z")
    assert keys.key("mark") == "F12"
    keys.reset()
    assert Keys(Settings()).key("mark") == "M"


def test_the_keys_dialog_rebinds_what_the_window_does(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    dialog = KeysDialog(main_window.keys, main_window)
    dialog.changed.connect(main_window.actions_.rebind)
    dialog.show()
    dialog.fields["mark"].setKeySequence(QKeySequence("F12"))
    dialog.fields["mark"].editingFinished.emit()
    assert main_window.actions_["mark"].shortcut() == QKeySequence("F12")
    dialog.fields["zero"].setKeySequence(QKeySequence("F12"))
    dialog.fields["zero"].editingFinished.emit()
    assert "already means" in dialog.words.text()
    assert main_window.actions_["zero"].shortcut() == QKeySequence("Z")
    dialog.fields["tool_spot"].setKeySequence(QKeySequence("F9"))
    dialog.fields["tool_spot"].editingFinished.emit()
    assert main_window.picture.actions_by_name["tool_spot"].shortcut() == QKeySequence("F9")
    dialog.close()


def test_f1_and_the_question_mark_list_the_keys(qtbot: QtBot, main_window: MainWindow) -> None:
    QTest.keyClick(main_window.picture.canvas, Qt.Key.Key_F1)
    dialog = main_window.findChild(KeysDialog)
    assert dialog is not None
    assert set(dialog.fields) == {action.name for action in ACTIONS}
    dialog.close()


@pytest.fixture
def warming_window(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> MainWindow:
    path = tmp_path / "warming.h5"
    write_warming(path)
    open_and_wait(qtbot, main_window, str(path))
    main_window.desk.document.add(Rectangle(40.0, 20.0, 8.0, 8.0), "U3")
    return main_window


def test_a_trigger_is_built_from_drop_downs(qtbot: QtBot, warming_window: MainWindow) -> None:
    desk = warming_window.desk
    dialog = TriggersDialog(desk, warming_window)
    dialog.show()
    dialog.threshold.setValue(30.0)
    dialog.hysteresis.setValue(1.0)
    dialog.duration.setValue(0.2)
    dialog.boxes[next(a for a in dialog.boxes if a.value == "tone")].setChecked(True)
    add = dialog.findChild(QPushButton, "triggerAdd")
    assert isinstance(add, QPushButton)
    QTest.mouseClick(add, Qt.MouseButton.LeftButton)
    wanted = "U3 max above 30 C for 0.2 s, hysteresis 1 K then mark, tone"
    assert list(desk.triggers) == [parse_trigger(wanted)]
    session = desk.session
    assert session is not None
    qtbot.waitUntil(lambda: any(m.kind is MarkKind.TRIGGER for m in session.marks))
    desk.seek(55)
    dialog.refresh()
    assert "fired once" in dialog.list.item(0).text()
    assert "now 37.0 ± 1.2 °C" in dialog.list.item(0).text()  # 25 °C and 10 K/s for 1.2 s
    dialog.list.setCurrentRow(0)
    dialog._remove()
    assert not desk.triggers
    dialog.close()


def test_a_trigger_in_fahrenheit_means_the_same(warming_window: MainWindow) -> None:
    desk = warming_window.desk
    desk.display.set_unit(desk.display.unit.FAHRENHEIT)
    dialog = TriggersDialog(desk, warming_window)
    dialog.threshold.setValue(212.0)  # water boils
    dialog.hysteresis.setValue(1.8)
    rule = dialog.rule()
    assert rule.threshold == pytest.approx(373.15)
    assert rule.hysteresis == pytest.approx(1.0)
    dialog.close()


def test_the_whole_picture_may_depart(warming_window: MainWindow) -> None:
    dialog = TriggersDialog(warming_window.desk, warming_window)
    dialog.region.setCurrentIndex(dialog.region.count() - 1)
    dialog.quantity.setCurrentIndex(dialog.quantity.count() - 1)
    assert str(dialog.rule()) == "picture departs by 6 sigma"
    dialog.close()


def test_fault_marks_are_set_against_the_temperatures(
    qtbot: QtBot, warming_window: MainWindow
) -> None:
    desk = warming_window.desk
    session = desk.session
    assert session is not None
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    for number in (50, 51, 52):
        desk.seek(number)
        desk.mark(MarkKind.FAULT_APPEARS)
    dialog = FaultTableDialog(desk, warming_window)
    # 25 °C and 10 K/s from 1 s on: at 2.00, 2.04 and 2.08 s it is 35.0, 35.4 and 35.8 °C
    assert dialog.words.text() == "fault appears with U3 at 35–36 °C, 3 of 3"
    cells = [dialog.table.item(0, position) for position in (2, 3)]
    assert [cell.text() for cell in cells if cell is not None] == ["35.0 ± 1.2 °C", "35.8 ± 1.2 °C"]
    dialog.close()


def test_a_generic_file_is_asked_about(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    path = tmp_path / "plain.h5"
    counts = np.full((5, 48, 64), 298.15, dtype=np.float32)
    with h5py.File(path, "w") as file:
        file["film/kelvin"] = counts
        file["film/other"] = counts
    assert datasets_of(path) == ["film/kelvin", "film/other"]
    main_window.commands.files.open_path(path)
    qtbot.waitUntil(lambda: main_window.findChild(ReadAsDialog) is not None)
    dialog = main_window.findChild(ReadAsDialog)
    assert isinstance(dialog, ReadAsDialog)
    dialog.meaning.setCurrentIndex(dialog.meaning.count() - 1)
    dialog.rate.setValue(10.0)
    dialog.accept()
    qtbot.waitUntil(lambda: main_window.desk.shown is not None)
    shown = main_window.desk.shown
    assert shown is not None
    assert shown.kelvin()[0, 0] == pytest.approx(298.15, abs=1e-4)
    session = main_window.desk.session
    assert session is not None
    assert session.info.rate_hz == pytest.approx(10.0)


def test_what_the_reading_dialog_says(qtbot: QtBot) -> None:
    dialog = ReadAsDialog("x.npy", [])
    qtbot.addWidget(dialog)
    assert dialog.options() == OpenOptions(rate_hz=25.0)
    dialog.meaning.setCurrentIndex(CELSIUS)
    assert dialog.options() == OpenOptions(celsius=True, rate_hz=25.0)
    dialog.meaning.setCurrentIndex(SCALED)
    dialog.scale.setValue(0.04)
    dialog.offset.setValue(-10.0)
    assert dialog.options() == OpenOptions(scale_k=0.04, offset_k=-10.0, rate_hz=25.0)


def test_a_shift_in_mm_where_the_size_is_known(qtbot: QtBot) -> None:
    dialog = ShiftDialog(0.5)
    qtbot.addWidget(dialog)
    dialog.right.setValue(10.0)
    dialog.down.setValue(-2.0)
    assert dialog.shift_px() == (20.0, -4.0)


def test_a_stated_scene_corrects_every_region(qtbot: QtBot, warming_window: MainWindow) -> None:
    desk = warming_window.desk
    session = session_of(warming_window)
    region = desk.document.current.by_name("U3")
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    apparent_k = session.curves.value(region.id, "max", 55)
    dialog = SceneDialog(desk, session.scene, warming_window)
    known, field = dialog.emissivity
    known.setChecked(True)
    field.setValue(0.9)
    known, field = dialog.reflected
    known.setChecked(True)
    field.setValue(20.0)
    dialog._use()
    assert (session.scene.emissivity, session.scene.reflected_k) == (0.9, 293.15)
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    # by hand, with exact blackbody power in place of the band's: it must come out near that
    estimate_k = ((apparent_k**4 - 0.1 * 293.15**4) / 0.9) ** 0.25
    assert session.curves.value(region.id, "max", 55) == pytest.approx(estimate_k, abs=0.3)
    assert estimate_k - apparent_k > 1.0
    assert desk.display.baseline_k is not None


def test_air_between_camera_and_board_is_stated(qtbot: QtBot, warming_window: MainWindow) -> None:
    desk = warming_window.desk
    session = session_of(warming_window)
    region = desk.document.current.by_name("U3")
    dialog = SceneDialog(desk, replace(session.scene, emissivity=1.0), warming_window)
    for line, value in ((dialog.air_, 0.9), (dialog.warmth, 20.0)):
        known, field = line
        known.setChecked(True)
        field.setValue(value)
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    apparent_k = session.curves.value(region.id, "max", 55)
    dialog._use()
    assert (session.scene.air_transmission, session.scene.air_k) == (0.9, 293.15)
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    # by hand, with exact blackbody power in place of the band's: it must come out near that
    estimate_k = ((apparent_k**4 - 0.1 * 293.15**4) / 0.9) ** 0.25
    assert session.curves.value(region.id, "max", 55) == pytest.approx(estimate_k, abs=0.3)
    assert estimate_k - apparent_k > 1.0


def test_each_step_has_a_key(qtbot: QtBot, main_window: MainWindow) -> None:
    steps = main_window.steps
    for name in ("look", "measure", "power_up", "compare", "write_down"):
        key = getattr(Qt.Key, f"Key_{main_window.keys.key(f'step_{name}')}")
        QTest.keyClick(main_window, key)
        assert steps.current is not None
        assert steps.current.name == name
        QTest.keyClick(main_window, key)
        assert steps.current is None


def test_all_keys_are_seen_at_once_on_a_small_screen(qtbot: QtBot, main_window: MainWindow) -> None:
    main_window.commands.show_keys()
    dialog = main_window.findChild(KeysDialog)
    assert dialog is not None
    qtbot.waitUntil(dialog.isVisible)
    area = dialog.findChild(QScrollArea)
    assert area is not None
    assert dialog.width() <= 1280
    assert dialog.height() <= 800
    assert area.horizontalScrollBar().maximum() == 0
    assert area.verticalScrollBar().maximum() == 0
    dialog.accept()
