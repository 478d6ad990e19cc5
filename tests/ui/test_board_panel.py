"""The board's panel in the whole window: lists loaded and searched, parts lit, made regions."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, write_warming

from thermview.ui.window import MainWindow

LIST = """Ref,Val,Package,PosX,PosY,Rot,Side,Nets
"C1","100n","C_0603",10.0,10.0,90.0,top,GND +3V3
"C2","10u","C_0805",50.0,10.0,0.0,top,GND +5V
"C10","100n","C_0603",50.0,40.0,0.0,top,GND +3V3
"U1","drive, twin","SOIC-8",10.0,40.0,0.0,top,+3V3 SIG
"R1","10k","R_0402",20.0,20.0,0.0,bottom,SIG GND
"""


@pytest.fixture
def listed(tmp_path: Path) -> Path:
    path = tmp_path / "board.pos.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


@pytest.fixture
def window(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> MainWindow:
    write_warming(tmp_path / "square.h5")
    open_and_wait(qtbot, main_window, str(tmp_path / "square.h5"))
    return main_window


def shown(window: MainWindow) -> list[str]:
    return [part.designator for part in window.board.parts.model.parts]


def test_a_list_is_loaded_searched_and_filtered(
    qtbot: QtBot, window: MainWindow, listed: Path
) -> None:
    window.commands.open_path(listed)  # as a drop on the window does
    page = window.board.parts
    assert window.board.isVisible()
    assert shown(window) == ["C1", "C2", "C10", "R1", "U1"]
    assert "matching points" in page.hint.text()
    QTest.keyClick(window.picture.canvas, Qt.Key.Key_Slash)
    assert page.search.hasFocus()
    QTest.keyClicks(page.search, "c1")
    assert shown(window) == ["C1", "C10"]
    page.search.clear()
    page.net.setCurrentText("+3V3")
    assert shown(window) == ["C1", "C10", "U1"]
    page.kind.setCurrentText("capacitors")
    assert shown(window) == ["C1", "C10"]
    page.net.setCurrentIndex(0)
    page.kind.setCurrentIndex(0)
    page.side.setCurrentText("bottom")
    assert shown(window) == ["R1"]
