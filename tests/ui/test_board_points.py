"""Matching points and the photo, set by mouse and keys in the whole window."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog, QMessageBox, QWidget
from pytestqt.qtbot import QtBot
from test_board_panel import LIST
from window_kit import open_and_wait, write_warming

from thermview.board import load_landmarks
from thermview.regions import Polygon, Rectangle, Spot
from thermview.session.boards import board_of
from thermview.session.matching import Grade
from thermview.ui.board.files import save_map
from thermview.ui.board.panel import PARTS, PHOTO
from thermview.ui.board.point_tool import PointTool
from thermview.ui.picture.drawing import RulerTool
from thermview.ui.picture.still import caption, render_still
from thermview.ui.window import MainWindow

LEFT = Qt.MouseButton.LeftButton
# the camera looks straight down: a millimetre is a pixel, the board's y points up
PLACES = {"C1": (10.0, 38.0), "C2": (50.0, 38.0), "C10": (50.0, 8.0), "U1": (10.0, 8.0)}


@pytest.fixture
def window(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> MainWindow:
    write_warming(tmp_path / "square.h5")
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    open_and_wait(qtbot, main_window, str(tmp_path / "square.h5"))
    main_window.commands.files.open_path(tmp_path / "list.csv")
    return main_window


def begin(qtbot: QtBot, window: MainWindow) -> None:
    canvas = window.picture.canvas
    canvas.setFocus()
    QTest.keyClick(canvas, Qt.Key.Key_C)
    qtbot.waitUntil(lambda: isinstance(canvas.tool, PointTool))


def spot(window: MainWindow, x: float, y: float) -> QPoint:
    mapping = window.picture.canvas.mapping
    assert mapping is not None
    return mapping.to_widget(x, y).toPoint()


def click(window: MainWindow, x: float, y: float) -> None:
    canvas = window.picture.canvas
    QTest.mouseMove(canvas, spot(window, x, y))
    QTest.mouseClick(canvas, LEFT, pos=spot(window, x, y))


def set_points(window: MainWindow, places: dict[str, tuple[float, float]]) -> None:
    for name, (x, y) in places.items():
        window.board.points.field.part.setEditText(name)
        click(window, x, y)


def grade(window: MainWindow) -> Grade:
    return window.desk.boards.fit.grade


def drag(widget: QWidget, start: QPoint, end: QPoint) -> None:
    QTest.mousePress(widget, LEFT, pos=start)
    for share in (0.3, 0.7, 1.0):
        QTest.mouseMove(widget, start + (end - start) * share)
    QTest.mouseRelease(widget, LEFT, pos=end)


def test_four_clicks_lay_the_parts_on_the_picture(qtbot: QtBot, window: MainWindow) -> None:
    begin(qtbot, window)
    set_points(window, dict(list(PLACES.items())[:3]))
    assert grade(window) is Grade.FEW
    assert window.desk.boards.fit.view is None
    set_points(window, {"U1": PLACES["U1"]})
    board = window.desk.board
    assert board is not None
    u, v = board.view.board_to_pixel([30.0, 24.0]).tolist()
    assert (u, v) == pytest.approx((30.0, 24.0), abs=0.2)
    assert "✓" in window.board.points.verdict.text()
    QTest.keyClick(window.picture.canvas, Qt.Key.Key_Escape)
    assert window.board.tabs.currentIndex() == PARTS
    assert window.picture.canvas.tool_kind.value == "select"


def test_a_list_of_both_sides_says_how_the_bottom_is_chosen(
    qtbot: QtBot, window: MainWindow
) -> None:
    begin(qtbot, window)
    page = window.board.points
    assert "if the bottom is seen, choose a part of the bottom" in page.step.text()
    page.field.part.setEditText("R1")
    assert "It is on the bottom" in page.step.text()
    page.field.part.setEditText("C1")
    click(window, *PLACES["C1"])
    assert "is seen" not in page.step.text()  # the side is settled


def test_a_wrong_point_is_named_dragged_right_and_undone(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    begin(qtbot, window)
    boards, page, canvas = window.desk.boards, window.board.points, window.picture.canvas
    set_points(window, PLACES)
    page.field.what.setCurrentText("place in mm")
    for x, y in ((30.0, 10.0), (30.0, 40.0), (50.0, 25.0)):
        page.field.x_mm.setValue(x)
        page.field.y_mm.setValue(y)
        click(window, x, 48.0 - y)
    assert grade(window) is Grade.GOOD
    page.field.x_mm.setValue(30.0)
    page.field.y_mm.setValue(25.0)
    click(window, 34.0, 19.0)  # should be 30, 23
    assert grade(window) is Grade.POOR
    assert boards.fit.worst == 7
    assert "30, 25 mm" in page.verdict.text()
    drag(canvas, spot(window, 34.0, 19.0), spot(window, 30.0, 23.0))
    assert grade(window) is Grade.GOOD
    assert boards.points[7].pixel == pytest.approx((30.0, 23.0), abs=0.3)
    QTest.keyClick(canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert grade(window) is Grade.POOR
    QTest.keyClick(canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(boards.points) == 7
    file = tmp_path / "points.json"
    page.save(file)
    assert len(load_landmarks(file)) == 7
    page.clear()
    assert window.desk.board is None
    window.commands.files.open_path(file)  # as a drop does
    assert len(boards.points) == 7
    assert boards.points[0].name == "C1"


def test_swapped_points_are_refused_in_words(qtbot: QtBot, window: MainWindow) -> None:
    begin(qtbot, window)
    swapped = {**PLACES, "C1": PLACES["C2"], "C2": PLACES["C1"]}
    set_points(window, swapped)
    assert grade(window) is Grade.REFUSED
    assert window.desk.board is None
    assert "swap" in window.board.points.verdict.text()


def test_parts_become_regions_and_all_is_remembered(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    begin(qtbot, window)
    set_points(window, PLACES)
    QTest.keyClick(window.picture.canvas, Qt.Key.Key_Escape)
    page, desk = window.board.parts, window.desk
    page.net.setCurrentText("+3V3")
    assert desk.boards.lit == {"C1", "C10", "U1"}
    QTest.mouseClick(page.make, LEFT)
    regions = desk.document.current.regions
    assert {region.name for region in regions} == {"C1", "C10", "U1"}
    assert isinstance(regions[0].shape, Polygon)
    assert len(desk.selected) == 3
    desk.undo()
    assert not desk.document.current.regions
    path = str(tmp_path / "square.h5")
    desk.close_session()
    open_and_wait(qtbot, window, path)
    assert desk.board is not None
    assert [point.name for point in desk.boards.points] == list(PLACES)


def test_a_double_click_on_a_part_draws_its_region(qtbot: QtBot, window: MainWindow) -> None:
    begin(qtbot, window)
    set_points(window, PLACES)
    canvas = window.picture.canvas
    QTest.keyClick(canvas, Qt.Key.Key_Escape)
    QTest.mouseDClick(canvas, LEFT, pos=spot(window, 10.0, 8.0))
    assert [region.name for region in window.desk.document.current.regions] == ["U1"]


def test_the_board_is_kept_beside_the_recording(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    begin(qtbot, window)
    set_points(window, PLACES)
    window.board.keep_beside()
    board = board_of(None, tmp_path / "square.h5")
    assert board is not None
    assert len(board.parts) == 5
    assert board.view.board_to_pixel([30.0, 24.0]).tolist() == pytest.approx([30.0, 24.0], abs=0.2)


def test_regions_are_kept_as_a_part_map(qtbot: QtBot, window: MainWindow, tmp_path: Path) -> None:
    desk = window.desk
    desk.boards.take_parts(())
    desk.document.add(Rectangle(10.0, 10.0, 8.0, 4.0), "U7")
    save_map(desk, tmp_path / "map.json")
    assert desk.board is not None  # the picture itself is the plane
    (part,) = desk.board.parts
    assert (part.designator, part.width_mm, part.height_mm) == ("U7", 4.0, 2.0)
    desk.boards.take_parts(())
    window.commands.files.open_path(tmp_path / "map.json")
    assert [p.designator for p in desk.boards.parts] == ["U7"]
    assert "guessed scale" in window.status.words.text()


def test_a_map_of_three_parts_and_a_hole_is_found_again_by_four_clicks(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    desk, field = window.desk, window.board.points.field
    desk.boards.take_parts(())
    desk.display.set_mm_per_px(1.0)
    for name, (x, y) in {"A": (10, 8), "B": (50, 8), "D": (50, 36)}.items():
        desk.document.add(Rectangle(x - 3.0, y - 2.0, 6.0, 4.0), name)
    desk.document.add(Spot(8.5, 38.5), "hole")
    save_map(desk, tmp_path / "map.json")
    assert not any(part.size_assumed for part in desk.boards.parts)
    desk.boards.set_points(())
    begin(qtbot, window)
    seen = {"A": (10.0, 8.0), "B": (50.0, 8.0), "D": (50.0, 36.0), "hole": (8.5, 38.5)}
    for _ in range(4):
        name = field.part.currentText()
        click(window, *seen.pop(name))  # a name that was clicked already would raise
    assert not seen
    assert grade(window) is Grade.GOOD
    assert field.what.currentText().endswith("corner of part")  # what a fifth could stand on


def test_a_map_without_a_scale_asks_and_takes_up_the_ruler(
    qtbot: QtBot, window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = window.desk
    desk.boards.take_parts(())
    desk.document.add(Rectangle(10.0, 10.0, 8.0, 4.0), "U7")
    asked: list[str] = []

    def ask(*arguments: str) -> tuple[str, str]:
        asked.append(arguments[2])
        return "", ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", ask)

    def answer(words: str) -> None:
        def press() -> None:
            box = QApplication.activeModalWidget()
            assert isinstance(box, QMessageBox)
            next(b for b in box.buttons() if b.text() == words).click()

        QTimer.singleShot(50, press)
        window.board.ask_map()

    answer("measure a length")
    assert isinstance(window.picture.canvas.tool, RulerTool)
    assert not asked
    answer("guess")
    assert Path(asked.pop()).name == "square.partmap.json"
    desk.display.set_mm_per_px(0.4)
    window.board.ask_map()  # nothing is asked once a length is known
    assert len(asked) == 1


CORNERS = ((5.0, 5.0), (60.0, 6.0), (58.0, 44.0), (6.0, 42.0))


def test_a_photo_is_laid_under_the_heat(qtbot: QtBot, window: MainWindow, tmp_path: Path) -> None:
    picture = np.zeros((480, 640, 3), np.uint8)
    picture[100:200, 300:400] = 255  # at x 30 … 40, y 10 … 20 of the picture: ten times as large
    cv2.imwrite(str(tmp_path / "photo.jpg"), picture)
    window.commands.files.open_path(tmp_path / "photo.jpg")
    photo, pane, canvas = window.desk.boards.photo, window.board.photo.pane, window.picture.canvas
    qtbot.waitUntil(lambda: photo.image is not None)
    assert window.board.tabs.currentIndex() == PHOTO
    qtbot.waitUntil(lambda: isinstance(canvas.tool, PointTool))
    for x, y in CORNERS:
        mapping = pane.mapping
        assert mapping is not None
        QTest.mouseClick(pane, LEFT, pos=mapping.to_widget(10 * x, 10 * y).toPoint())
    assert window.board.photo.step.text() == "Now click place 1 in the picture."
    for x, y in CORNERS:  # all in the one first, then in the other
        click(window, x, y)
    to_photo = photo.to_photo()
    assert to_photo is not None
    u, v, w = to_photo @ [35.0, 15.0, 1.0]
    assert (u / w, v / w) == pytest.approx((350.0, 150.0), abs=12.0)  # a pane's pixel is 1.5 of it
    window.board.photo.blend.setValue(100)
    image = canvas.grab().toImage()
    inside, outside = spot(window, 35.0, 15.0), spot(window, 25.0, 30.0)
    assert image.pixelColor(inside).lightness() > 240
    assert image.pixelColor(outside).lightness() < 15
    still = render_still(window.desk, factor=8, regions=False)  # 12 px of margin
    assert still.pixelColor(12 + 8 * 35, 12 + 8 * 15).lightness() > 240
    assert still.pixelColor(12 + 8 * 25, 12 + 8 * 30).lightness() < 15
    assert "photo" in caption(window.desk)[-1]
    window.board.photo.split.setValue(90)  # the heat alone on the left
    assert canvas.grab().toImage().pixelColor(outside).lightness() > 15
    window.desk.undo()
    assert photo.to_photo() is None


def test_points_are_refined_by_the_picture_and_clicked_ones_come_back(
    qtbot: QtBot, main_window: MainWindow, samples: Path
) -> None:
    open_and_wait(qtbot, main_window, str(samples / "ramp-strong.h5"))
    boards, page = main_window.desk.boards, main_window.board.points
    begin(qtbot, main_window)
    true = [point.pixel for point in boards.points]
    boards.set_points([replace(p, pixel=(p.pixel[0] + 1.5, p.pixel[1])) for p in boards.points])
    clicked = [point.pixel for point in boards.points]
    said: list[str] = []
    main_window.desk.said.connect(lambda _, words: said.append(words))
    page.refine.click()
    qtbot.waitUntil(lambda: any("points moved by" in words for words in said))
    refined = [point.pixel for point in boards.points]
    apart = [np.hypot(*np.subtract(a, b)) for a, b in zip(refined, true, strict=True)]
    assert max(apart) < 1.0
    assert "mm remain" in page.verdict.text()
    offs = [page.table.item(line, 1) for line in range(page.table.rowCount())]
    assert {item.text() for item in offs if item is not None} == {"–"}  # they agree by making
    main_window.desk.undo()
    assert "mm remain" not in page.verdict.text()
    assert [point.pixel for point in boards.points] == clicked
    main_window.desk.redo()
    assert [point.pixel for point in boards.points] == refined
