"""Drawing, moving, reshaping and measuring on the picture, by mouse and keys."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from fake_desk import make_desk, show
from PySide6.QtCore import QEvent, QPoint, QPointF, QSize, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from thermview.regions import Ellipse, Line, Polygon, Rectangle, Region, Spot
from thermview.ui.desk import Desk
from thermview.ui.display import View
from thermview.ui.picture import PictureView, ToolKind

LEFT, MIDDLE = Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton
SHIFT = Qt.KeyboardModifier.ShiftModifier
ROWS, COLUMNS, ZOOM = 60, 80, 8


@pytest.fixture
def desk(qtbot: QtBot) -> Iterator[Desk]:
    rng = np.random.default_rng(5)
    pictures = [rng.normal(30_000, 20, (ROWS, COLUMNS)).astype(np.uint16) for _ in range(3)]
    made = make_desk(pictures)
    made.display.set_markers(False)
    yield made
    made.session = None


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> PictureView:
    made = PictureView(desk)
    qtbot.addWidget(made)
    made.show()
    qtbot.waitExposed(made)
    # the canvas shows 8 widget pixels per pixel of the picture
    extra = made.width() - made.canvas.width()
    made.resize(COLUMNS * ZOOM + extra, ROWS * ZOOM)
    show(desk, 0)
    size = QSize(COLUMNS * ZOOM, ROWS * ZOOM)
    qtbot.waitUntil(lambda: made.canvas.size() == size)  # a window system takes its time
    mapping = made.canvas.mapping
    assert mapping is not None
    assert mapping.zoom == pytest.approx(ZOOM)
    return made


def place(view: PictureView, x: float, y: float) -> QPoint:
    assert view.canvas.mapping is not None
    return view.canvas.mapping.to_widget(x, y).toPoint()


def send(
    view: PictureView,
    kind: QEvent.Type,
    at: QPoint,
    held: Qt.MouseButton = Qt.MouseButton.NoButton,
    modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier,
) -> None:
    canvas = view.canvas
    button = held if kind is not QEvent.Type.MouseMove else Qt.MouseButton.NoButton
    buttons = Qt.MouseButton.NoButton if kind is QEvent.Type.MouseButtonRelease else held
    event = QMouseEvent(
        kind, QPointF(at), QPointF(canvas.mapToGlobal(at)), button, buttons, modifiers
    )
    QApplication.sendEvent(canvas, event)


def drag(
    view: PictureView,
    start: tuple[float, float],
    end: tuple[float, float],
    modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier,
    button: Qt.MouseButton = LEFT,
) -> None:
    first, last = place(view, *start), place(view, *end)
    send(view, QEvent.Type.MouseButtonPress, first, button, modifiers)
    for step in range(1, 6):
        between = first + (last - first) * step / 5
        send(view, QEvent.Type.MouseMove, between, button, modifiers)
    send(view, QEvent.Type.MouseButtonRelease, last, button, modifiers)


def click(
    view: PictureView,
    x: float,
    y: float,
    modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier,
) -> None:
    QTest.mouseClick(view.canvas, LEFT, modifiers, place(view, x, y))


def only(desk: Desk) -> Region:
    (region,) = desk.document.current.regions
    return region


def test_each_tool_has_one_key_and_draws_its_shape(
    desk: Desk, view: PictureView, qtbot: QtBot
) -> None:
    view.activateWindow()  # keys of actions reach the active window only
    view.canvas.setFocus()
    qtbot.waitUntil(view.isActiveWindow)
    for key, kind in zip(range(Qt.Key.Key_1, Qt.Key.Key_8), ToolKind, strict=True):
        QTest.keyClick(view.canvas, key)
        assert view.canvas.tool_kind is kind
        assert view.actions_by_name[f"tool_{kind.value}"].isChecked()
    view.choose_tool(ToolKind.RECTANGLE)
    drag(view, (10, 10), (30, 25))
    view.choose_tool(ToolKind.ELLIPSE)
    drag(view, (60, 40), (40, 30))
    view.choose_tool(ToolKind.LINE)
    drag(view, (5, 50), (25, 55))
    view.choose_tool(ToolKind.SPOT)
    click(view, 70.2, 12.9)
    shapes = [region.shape for region in desk.document.current.regions]
    assert shapes == [
        Rectangle(10, 10, 20, 15),
        Ellipse(50, 35, 10, 5),
        Line(5, 50, 25, 55),
        Spot(70.5, 12.5),
    ]
    assert view.canvas.tool_kind is ToolKind.SELECT
    assert desk.selected == {desk.document.current.regions[-1].id}


def test_equal_sides_and_level_lines_with_shift(desk: Desk, view: PictureView) -> None:
    view.choose_tool(ToolKind.RECTANGLE)
    drag(view, (30, 30), (20, 25), SHIFT)
    view.choose_tool(ToolKind.LINE)
    drag(view, (10, 10), (30, 12), SHIFT)
    shapes = [region.shape for region in desk.document.current.regions]
    assert shapes == [Rectangle(20, 20, 10, 10), Line(10, 10, 30, 10)]


def test_a_click_draws_no_rectangle_and_says_what_to_do(desk: Desk, view: PictureView) -> None:
    said: list[str] = []
    desk.said.connect(lambda _, words: said.append(words))
    view.choose_tool(ToolKind.RECTANGLE)
    click(view, 20, 20)
    assert not desk.document.current.regions
    assert "drag to draw" in said[-1]
    assert view.canvas.tool_kind is ToolKind.RECTANGLE


@pytest.mark.parametrize("close", ["enter", "double", "first"])
def test_polygon_closes_in_three_ways(desk: Desk, view: PictureView, close: str) -> None:
    view.choose_tool(ToolKind.POLYGON)
    corners = [(10.0, 10.0), (40.0, 12.0), (35.0, 40.0), (12.0, 30.0)]
    for x, y in corners:
        click(view, x, y)
    if close == "enter":
        QTest.keyClick(view.canvas, Qt.Key.Key_Return)
    elif close == "double":
        QTest.mouseDClick(view.canvas, LEFT, pos=place(view, *corners[-1]))
    else:
        click(view, 10.2, 10.2)
    shape = only(desk).shape
    assert isinstance(shape, Polygon)
    assert shape.points == tuple(corners)


def test_escape_gives_up_and_two_corners_are_no_polygon(desk: Desk, view: PictureView) -> None:
    view.choose_tool(ToolKind.POLYGON)
    click(view, 10, 10)
    click(view, 20, 10)
    QTest.keyClick(view.canvas, Qt.Key.Key_Return)
    assert not desk.document.current.regions
    click(view, 10, 10)
    QTest.keyClick(view.canvas, Qt.Key.Key_Escape)
    assert view.actions_by_name["tool_polygon"].isChecked()
    QTest.keyClick(view.canvas, Qt.Key.Key_Escape)
    assert view.actions_by_name["tool_select"].isChecked()


def test_a_drag_moves_and_is_one_step_to_undo(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(10, 10, 20, 10))
    drag(view, (15, 15), (25, 22))
    assert only(desk).shape == Rectangle(20, 17, 20, 10)
    desk.undo()
    assert only(desk).shape == Rectangle(10, 10, 20, 10)
    desk.redo()
    assert only(desk).shape == Rectangle(20, 17, 20, 10)
    assert desk.selected == {region.id}


def test_a_trembling_click_moves_nothing(desk: Desk, view: PictureView) -> None:
    desk.document.add(Rectangle(10, 10, 20, 10))
    drag(view, (15, 15), (15.25, 15.125))
    assert only(desk).shape == Rectangle(10, 10, 20, 10)


def test_corner_reshapes_and_escape_puts_it_back(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(10, 10, 20, 10))
    desk.select((region.id,))
    drag(view, (30, 20), (40, 30))
    assert only(desk).shape == Rectangle(10, 10, 30, 20)
    desk.undo()
    assert only(desk).shape == Rectangle(10, 10, 20, 10)
    send(view, QEvent.Type.MouseButtonPress, place(view, 30, 20), LEFT)
    send(view, QEvent.Type.MouseMove, place(view, 45, 35), LEFT)
    assert only(desk).shape == Rectangle(10, 10, 35, 25)
    QTest.keyClick(view.canvas, Qt.Key.Key_Escape)
    send(view, QEvent.Type.MouseButtonRelease, place(view, 45, 35), LEFT)
    assert only(desk).shape == Rectangle(10, 10, 20, 10)
    assert desk.document.undo_label == "add A1"


def test_shift_adds_to_the_selection_and_all_move_together(desk: Desk, view: PictureView) -> None:
    one = desk.document.add(Rectangle(10, 10, 10, 10))
    two = desk.document.add(Ellipse(50, 30, 8, 8))
    click(view, 15, 15)
    assert desk.selected == {one.id}
    click(view, 50, 30, SHIFT)
    assert desk.selected == {one.id, two.id}
    drag(view, (50, 30), (54, 32))
    assert [r.shape for r in desk.document.current.regions] == [
        Rectangle(14, 12, 10, 10),
        Ellipse(54, 32, 8, 8),
    ]
    desk.undo()
    assert desk.document.current.regions[1].shape == Ellipse(50, 30, 8, 8)
    click(view, 15, 15, SHIFT)
    assert desk.selected == {two.id}
    click(view, 75, 55)
    assert desk.selected == frozenset()


def test_the_smallest_of_nested_regions_is_hit(desk: Desk, view: PictureView) -> None:
    desk.document.add(Rectangle(5, 5, 60, 50))
    inner = desk.document.add(Spot(30.5, 30.5))
    click(view, 30.5, 30.5)
    assert desk.selected == {inner.id}


def test_arrow_keys_nudge_as_seen_and_delete_deletes(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(20, 20, 10, 10))
    desk.select((region.id,))
    QTest.keyClick(view.canvas, Qt.Key.Key_Right)
    QTest.keyClick(view.canvas, Qt.Key.Key_Down, SHIFT)
    assert only(desk).shape == Rectangle(21, 30, 10, 10)
    desk.display.turn()  # clockwise: what was up is right now
    QTest.keyClick(view.canvas, Qt.Key.Key_Right)
    assert only(desk).shape == Rectangle(21, 29, 10, 10)
    QTest.keyClick(view.canvas, Qt.Key.Key_Delete)
    assert not desk.document.current.regions
    desk.undo()
    assert only(desk).id == region.id


def test_wheel_zooms_about_the_cursor_and_middle_drag_pans(desk: Desk, view: PictureView) -> None:
    canvas = view.canvas
    at = QPointF(200, 120)
    assert canvas.mapping is not None
    before = canvas.mapping.to_picture(at)
    for _ in range(4):
        event = QWheelEvent(
            at,
            QPointF(canvas.mapToGlobal(at.toPoint())),
            QPoint(),
            QPoint(0, 120),
            Qt.MouseButton.NoButton,
            Qt.KeyboardModifier.NoModifier,
            Qt.ScrollPhase.NoScrollPhase,
            False,
        )
        QApplication.sendEvent(canvas, event)
    assert canvas.mapping.zoom == pytest.approx(ZOOM * 1.2**4)
    assert canvas.mapping.to_picture(at) == pytest.approx(before)
    grip = canvas.mapping.to_picture(QPointF(300, 200))
    send(view, QEvent.Type.MouseButtonPress, QPoint(300, 200), MIDDLE)
    send(view, QEvent.Type.MouseMove, QPoint(330, 190), MIDDLE)
    send(view, QEvent.Type.MouseButtonRelease, QPoint(330, 190), MIDDLE)
    assert canvas.mapping.to_picture(QPointF(330, 190)) == pytest.approx(grip)
    view.fit()
    assert canvas.mapping.zoom == pytest.approx(ZOOM)


def test_a_drag_beside_the_regions_pans_and_a_selection_flies_there(
    desk: Desk, view: PictureView
) -> None:
    canvas = view.canvas
    canvas.zoom(3.0)
    assert canvas.mapping is not None
    centre = canvas.mapping.centre
    send(view, QEvent.Type.MouseButtonPress, QPoint(300, 200), LEFT)
    send(view, QEvent.Type.MouseMove, QPoint(324, 200), LEFT)
    send(view, QEvent.Type.MouseButtonRelease, QPoint(324, 200), LEFT)
    assert canvas.mapping.centre[0] == pytest.approx(centre[0] - 1.0)
    region = desk.document.add(Ellipse(12, 40, 3, 3))
    desk.select((region.id,), fly=True)
    assert canvas.mapping.centre == pytest.approx((12, 40))


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_drawing_lands_on_the_seen_pixels_in_every_orientation(
    desk: Desk, view: PictureView, turns: int, mirrored: bool
) -> None:
    if mirrored:
        desk.display.mirror()
    desk.display.turn(turns)
    view.choose_tool(ToolKind.SPOT)
    click(view, 61.5, 7.5)
    assert only(desk).shape == Spot(61.5, 7.5)


def test_double_click_on_a_label_renames(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(30, 30, 20, 10))
    view.canvas.repaint()
    rect = view.canvas.layer.label_rect(region.id)
    assert rect is not None
    QTest.mouseDClick(view.canvas, LEFT, pos=rect.center().toPoint())
    edit = view._name_edit
    assert edit.isVisible()
    edit.setText("U3")
    QTest.keyClick(edit, Qt.Key.Key_Return)
    assert only(desk).name == "U3"
    assert not edit.isVisible()


def test_escape_leaves_the_name_as_it_was(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(30, 30, 20, 10))
    view.start_rename(region.id)
    view._name_edit.setText("nonsense")
    QTest.keyClick(view._name_edit, Qt.Key.Key_Escape)
    assert only(desk).name == "A1"
    assert not view._name_edit.isVisible()


def test_ruler_gives_pixels_then_millimetres(desk: Desk, view: PictureView) -> None:
    view.choose_tool(ToolKind.RULER)
    click(view, 10, 10)
    click(view, 40, 50)
    assert view.ruler.isVisible()
    assert view.ruler.words.text() == "50.0 px"
    view.ruler.known_mm.setValue(10.0)
    view.ruler.use.click()
    assert desk.display.mm_per_px == pytest.approx(0.2)
    assert view.ruler.words.text() == "10.00 mm"
    drag(view, (0, 0), (30, 0))
    assert view.ruler.words.text() == "6.00 mm"
    QTest.keyClick(view.canvas, Qt.Key.Key_Escape)
    assert not view.ruler.isVisible()


def test_a_known_package_gives_the_length(desk: Desk, view: PictureView) -> None:
    view.choose_tool(ToolKind.RULER)
    drag(view, (10, 10), (26, 10))
    index = next(
        i for i in range(view.ruler.package.count()) if "0603" in view.ruler.package.itemText(i)
    )
    view.ruler.package.setCurrentIndex(index)
    view.ruler.use.click()
    # the chip size 0603 is 1.6 mm long: its metric code is 1608 (IEC 60115-8, from memory)
    assert desk.display.mm_per_px == pytest.approx(1.6 / 16)


def test_a_region_too_small_for_handles_is_moved(desk: Desk, view: PictureView) -> None:
    region = desk.document.add(Rectangle(20, 20, 2, 2))  # 16 px on screen
    desk.select((region.id,))
    drag(view, (20.25, 20.25), (30.25, 25.25))
    assert only(desk).shape == Rectangle(30, 25, 2, 2)
    view.canvas.zoom(4.0, QPointF(place(view, 31, 26)))
    drag(view, (32, 27), (33, 28))
    assert only(desk).shape == Rectangle(30, 25, 3, 3)


def test_another_view_has_its_automatic_level_at_once(desk: Desk, view: PictureView) -> None:
    desk.display.set_baseline(np.full((ROWS, COLUMNS), 299.0, np.float32))
    desk.display.set_view(View.RISE)
    assert desk.display.low_k == 0.0
    assert 1.0 < desk.display.high_k < 2.0
    desk.display.set_view(View.TEMPERATURE)
    assert 299.0 < desk.display.low_k < 300.0
