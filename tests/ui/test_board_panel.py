"""The board's panel in the whole window: lists loaded and searched, parts lit, made regions."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, write_warming

from thermview.session.matching import Point
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
    window.commands.files.open_path(listed)  # as a drop on the window does
    page = window.board.parts
    assert window.board.isVisible()
    assert shown(window) == ["C1", "C2", "C10", "R1", "U1"]
    assert "matching points" in page.hint.text()
    QTest.keyClick(window.picture.canvas, Qt.Key.Key_Slash)
    assert page.search.hasFocus()
    QTest.keyClicks(page.search, "c1")
    assert shown(window) == ["C1", "C10"]
    page.search.setText("u")
    assert shown(window) == ["U1"]  # not the C2 of 10u
    page.search.clear()
    page.net.setCurrentText("+3V3")
    assert shown(window) == ["C1", "C10", "U1"]
    page.kind.setCurrentText("capacitors")
    assert shown(window) == ["C1", "C10"]
    page.net.setCurrentIndex(0)
    page.kind.setCurrentIndex(0)
    page.side.setCurrentText("bottom")
    assert shown(window) == ["R1"]


# test records by hand after IPC-D-356A: net in columns 4-17, part in 21-26 and its pin; from memory
NETLIST = """P  JOB   example
P  UNITS CUST 0
327+3V3             C2    -1          A01X+019685Y+003937X0400Y0500R000 S0
327GND              C2    -2          A01X+020685Y+003937X0400Y0500R000 S0
327SIG              R1    -1          A02X+007874Y+007874X0400Y0500R000 S0
999
"""


def test_a_netlist_gives_the_parts_their_nets(
    window: MainWindow, listed: Path, tmp_path: Path
) -> None:
    (tmp_path / "board.ipc").write_text(NETLIST, encoding="utf-8")
    window.commands.files.open_path(tmp_path / "board.ipc")
    assert not window.desk.boards.parts  # nets alone are no parts
    window.commands.files.open_path(listed)
    window.commands.files.open_path(tmp_path / "board.ipc")
    window.board.parts.net.setCurrentText("+3V3")
    assert "C2" in shown(window)  # by the netlist; the list has it on +5V
    assert window.desk.boards.part("C2") is not None
    assert window.desk.boards.part("C1") is not None


def test_three_thousand_parts_stay_quick(window: MainWindow, tmp_path: Path) -> None:
    rows = "".join(
        f"R{n},10k,0603,{n % 60},{n // 60},0,top,1.6,0.8,NET{n % 40}\n" for n in range(3000)
    )
    head = "Designator,Value,Package,X,Y,Rotation,Side,Width,Height,Nets\n"
    (tmp_path / "many.csv").write_text(head + rows, encoding="utf-8")
    window.commands.files.open_path(tmp_path / "many.csv")
    corners = [(0.0, 0.0), (60.0, 0.0), (60.0, 48.0), (0.0, 48.0)]
    points = [Point(at, (at[0], 48.0 - at[1]), f"p{at}") for at in corners]
    window.desk.boards.set_points(points)
    began = time.process_time()
    for words in ("R", "R1", "R12", "R129", ""):
        window.board.parts.search.setText(words)
        window.picture.canvas.repaint()
    # five keys: a tenth of a second each would be felt; three times that for a busy machine
    assert time.process_time() - began < 1.5
    window.board.parts.net.setCurrentText("NET7")
    assert len(shown(window)) == 75


def test_no_list_no_search_and_a_bad_one_is_said(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    (tmp_path / "bad.csv").write_text("nothing,here\n1,2\n", encoding="utf-8")
    with qtbot.waitSignal(window.desk.said) as said:
        window.commands.files.open_path(tmp_path / "bad.csv")
    assert said.args is not None
    assert said.args[0] == "error"
    assert "header" in said.args[1]
    assert not window.board.parts.search.isVisible()
