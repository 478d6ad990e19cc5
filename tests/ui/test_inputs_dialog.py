"""The dialog of inputs lists cameras as they are plugged in and pulled out."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from thermview.sources import InputOffer
from thermview.sources.hotplug import CameraWatch
from thermview.sources.kept_layouts import is_layout_kept, keep_layout
from thermview.ui.dialogs import inputs
from thermview.ui.dialogs.inputs import AS_FOUND, AS_KEPT, InputsDialog
from thermview.ui.window import MainWindow

BOARD = InputOffer("simulated:short", "simulated board", "simulated")
CAMERA = InputOffer("camera:0", "Bench camera", "camera", ("serial A100, port 1-1",), "A100")
BARRED = InputOffer(
    "camera:2", "Barred camera", "camera", ("serial A200", "join the group video"), "A200"
)


def test_cameras_come_and_go_in_the_list(
    qtbot: QtBot, main_window: MainWindow, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    offers = [BOARD]
    monkeypatch.setattr(inputs, "list_inputs", lambda: list(offers))
    monkeypatch.setattr(inputs, "CameraWatch", lambda: CameraWatch(tmp_path))
    dialog = InputsDialog(main_window.desk, main_window)
    dialog.show()

    def listed() -> list[str]:
        return [
            str(dialog.list.item(n).data(Qt.ItemDataRole.UserRole))
            for n in range(dialog.list.count())
        ]

    qtbot.waitUntil(lambda: listed() == ["simulated:short"])
    assert "Plug one in" in dialog.words.text()
    offers.insert(0, CAMERA)
    (tmp_path / "video0").touch()
    qtbot.waitUntil(lambda: listed() == ["camera:0", "simulated:short"])
    assert dialog.list.currentRow() == 1, "what was chosen stays chosen"
    assert "serial A100" in dialog.list.item(0).toolTip()
    assert dialog.words.text() == "1 camera found."
    offers.pop(0)
    (tmp_path / "video0").unlink()
    qtbot.waitUntil(lambda: listed() == ["simulated:short"])
    dialog.reject()


def test_each_camera_shows_what_is_known_of_it_and_its_own_layout(
    qtbot: QtBot, main_window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inputs, "list_inputs", lambda: [CAMERA, BARRED])
    keep_layout("A100", "y16-linear")
    dialog = InputsDialog(main_window.desk, main_window)
    dialog.show()
    qtbot.waitUntil(lambda: dialog.list.count() == 2)
    box = dialog.layout_box
    assert (box.currentText(), box.currentData()) == (AS_KEPT, None)
    assert "serial A100" in dialog.details.text()
    box.setCurrentIndex(1)
    dialog.list.setCurrentRow(1)
    assert box.currentText() == AS_FOUND, "chosen for one camera is not chosen for another"
    assert "join the group video" in dialog.details.text()
    assert not dialog.forget.isVisible()
    dialog.list.setCurrentRow(0)
    dialog.forget.click()
    assert not is_layout_kept("A100")
    assert box.currentText() == AS_FOUND
    assert not dialog.forget.isVisible()
    dialog.reject()
