"""The strip with hands on it: mouse, wheel and keys on an invented film."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QImage, QMouseEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QToolButton, QWidget
from pytestqt.qtbot import QtBot
from strip_desk import FilmDesk

from thermview.frames import MarkKind, SupplyLog
from thermview.ui.display import LevelMode, View
from thermview.ui.region_worth import difference_worth
from thermview.ui.strip import StripView
from thermview.ui.strip.content import Lane, gather
from thermview.ui.strip.plot import Plot
from thermview.ui.strip.timeline import Timeline
from thermview.ui.theme import set_theme, tokens
from thermview.units import TemperatureUnit

SHIFT, CONTROL = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier
NONE = Qt.KeyboardModifier.NoModifier
LEFT, MIDDLE = Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton
Show = Callable[[FilmDesk], StripView]


@pytest.fixture
def show(qtbot: QtBot) -> Show:
    def shown(film: FilmDesk) -> StripView:
        view = StripView(film.desk)
        qtbot.addWidget(view)
        view.resize(1000, 320)
        with qtbot.waitExposed(view):
            view.show()
        view.grab()
        return view

    return shown


def warming(count: int = 500) -> FilmDesk:
    """Return 20 s in which U3 warms from 23 to 53 °C, and U4 stays."""
    times_s = np.arange(count) / 25.0
    steady = np.full(count, 23.0)
    return FilmDesk(times_s, {"U3": 23.0 + 30.0 * times_s / times_s[-1], "U4": steady})


def plot_of(view: StripView) -> Plot:
    view.grab()
    assert view.chart.plot is not None
    return view.chart.plot


def drag(
    widget: QWidget,
    start: tuple[float, float],
    end: tuple[float, float],
    *,
    button: Qt.MouseButton = LEFT,
    modifier: Qt.KeyboardModifier = NONE,
) -> None:
    """Press, move in five steps, release."""

    def send(kind: QEvent.Type, at: tuple[float, float], held: Qt.MouseButton) -> None:
        place = QPointF(*at)
        event = QMouseEvent(kind, place, widget.mapToGlobal(place), button, held, modifier)
        QApplication.sendEvent(widget, event)

    send(QEvent.Type.MouseButtonPress, start, button)
    for i in range(1, 6):
        at = tuple(a + (b - a) * i / 5 for a, b in zip(start, end, strict=True))
        send(QEvent.Type.MouseMove, (at[0], at[1]), button)
    send(QEvent.Type.MouseButtonRelease, end, Qt.MouseButton.NoButton)


def turn_wheel(
    widget: QWidget, at: QPointF, notches: int, modifier: Qt.KeyboardModifier = NONE
) -> None:
    event = QWheelEvent(
        at,
        widget.mapToGlobal(at),
        QPoint(),
        QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton,
        modifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(widget, event)


def pixels_of(image: QImage) -> NDArray[np.uint32]:
    image = image.convertToFormat(QImage.Format.Format_RGB32)
    flat = np.frombuffer(bytes(image.constBits()), dtype=np.uint32)
    return flat.reshape(image.height(), image.bytesPerLine() // 4)[:, : image.width()]


def rows_of_colour(image: QImage, left: int, right: int, colour: str) -> NDArray[np.intp]:
    """Return the rows, from the top, with this very colour between two pixel columns."""
    wanted = 0xFF000000 | int(colour[1:], 16)
    return np.flatnonzero((pixels_of(image)[:, left:right] == wanted).any(axis=1))


# ---- nothing is thinned away -------------------------------------------------------------------


@pytest.mark.parametrize("spike", [1, 45_321, 89_990, 89_998, 89_999])
def test_an_hour_shows_a_spike_of_one_frame(show: Show, spike: int) -> None:
    """Zoomed out fully, as pixels of the grabbed picture, also in the trailing remainder."""
    times_s = np.arange(90_000) / 25.0
    celsius = np.full(90_000, 23.0)
    celsius[spike] = 58.0
    film = FilmDesk(times_s, {"U3": celsius})
    view = show(film)
    film.desk.seek(20_000)
    plot = plot_of(view)
    x = plot.x_of(times_s[spike])
    image = view.chart.grab().toImage()
    colour = film.desk.colour("u3")
    rows = rows_of_colour(
        image, int(x) - 2, min(int(x) + 2, round(plot.lanes.main.right())), colour
    )
    top, foot = plot.main.y_of(58.0 + 273.15), plot.main.y_of(23.0 + 273.15)
    assert rows.min() <= top + 2
    assert len(rows) >= foot - top - 2
    elsewhere = rows_of_colour(image, int(x) - 60, int(x) - 10, colour)
    assert elsewhere.size == 0 or elsewhere.min() > foot - 4


def test_the_newest_frame_of_a_growing_film_shows(show: Show) -> None:
    times_s = np.arange(1001) / 25.0
    celsius = np.full(1001, 23.0)
    film = FilmDesk(times_s, {"U3": celsius}, live=True)
    film.session.is_live = True
    view = show(film)
    film.desk.follow()
    for count in (1002, 1003, 1010):
        celsius = np.full(count, 23.0)
        celsius[-1] = 55.0
        film.grow(np.arange(count) / 25.0, {"U3": celsius})
        drawn = plot_of(view).drawn[0]
        assert np.nanmax(drawn.high) == np.float32(55.0 + 273.15)


# ---- time --------------------------------------------------------------------------------------


def test_a_click_seeks_and_a_drag_scrubs(show: Show, qtbot: QtBot) -> None:
    film = warming()
    view = show(film)
    plot = plot_of(view)
    y = plot.lanes.time.center().y()
    QTest.mouseClick(view.chart, LEFT, NONE, QPoint(round(plot.x_of(10.0)), round(y)))
    assert film.desk.now_s == pytest.approx(10.0, abs=0.04)
    drag(view.chart, (plot.x_of(10.0), 60.0), (plot.x_of(15.0), 90.0))
    assert film.desk.now_s == pytest.approx(15.0, abs=0.04)
    drag(view.chart, (plot.x_of(15.0), 60.0), (5000.0, 90.0))
    assert film.desk.shown_number == 499


def test_keys(show: Show, qtbot: QtBot) -> None:
    film = warming()
    for time_s in (4.0, 12.0):
        film.mark(time_s)
    view = show(film)
    view.setFocus()
    film.desk.seek(100)

    def press(key: Qt.Key, modifier: Qt.KeyboardModifier = NONE) -> int:
        QTest.keyClick(view, key, modifier)
        return film.desk.shown_number

    assert press(Qt.Key.Key_Right) == 101
    assert press(Qt.Key.Key_Left) == 100
    assert press(Qt.Key.Key_Right, SHIFT) == 125
    assert press(Qt.Key.Key_Left, SHIFT) == 100
    assert press(Qt.Key.Key_BracketRight) == 300
    assert press(Qt.Key.Key_BracketLeft) == 100
    assert press(Qt.Key.Key_End) == 499
    assert press(Qt.Key.Key_Home) == 0
    press(Qt.Key.Key_Space)
    player = film.desk.player
    assert [player.playing, press(Qt.Key.Key_Space), player.playing] == [True, 0, False]
    whole_s = view.chart.timeline.span_s
    press(Qt.Key.Key_Plus)
    assert view.chart.timeline.span_s == pytest.approx(whole_s / 1.25)
    press(Qt.Key.Key_Minus)
    assert view.chart.timeline.whole
    press(Qt.Key.Key_Plus)
    press(Qt.Key.Key_0)
    assert view.chart.timeline.whole


def test_the_wheel_zooms_about_the_cursor_and_a_double_click_shows_all(
    show: Show, qtbot: QtBot
) -> None:
    view = show(warming())
    plot = plot_of(view)
    at = QPointF(plot.x_of(6.0), 60.0)
    for _ in range(5):
        turn_wheel(view.chart, at, 1)
    zoomed = plot_of(view)
    assert zoomed.time_of(at.x()) == pytest.approx(6.0, abs=1e-6)
    assert view.chart.timeline.span_s == pytest.approx(19.96 / 1.25**5, rel=1e-3)
    button = view.findChild(QToolButton, "strip_fit")
    assert button is not None
    assert button.isEnabled()
    place = QPoint(round(at.x()), round(plot.lanes.time.center().y()))
    QTest.mouseDClick(view.chart, LEFT, NONE, place)
    assert view.chart.timeline.whole
    assert not button.isEnabled()


@pytest.mark.parametrize(("button", "modifier"), [(MIDDLE, NONE), (LEFT, SHIFT)])
def test_a_drag_pans_a_zoomed_stretch(
    show: Show, qtbot: QtBot, button: Qt.MouseButton, modifier: Qt.KeyboardModifier
) -> None:
    film = warming()
    view = show(film)
    view.chart.zoom(0.25, 10.0)
    before = plot_of(view).time_of(500.0)
    drag(view.chart, (500.0, 60.0), (400.0, 60.0), button=button, modifier=modifier)
    assert plot_of(view).time_of(400.0) == pytest.approx(before, abs=1e-6)
    assert film.desk.shown_number == 0


def test_playing_turns_the_page(show: Show) -> None:
    film = warming()
    view = show(film)
    view.chart.zoom(0.1, 0.0)
    film.desk.seek(200)
    assert view.chart.timeline.start_s <= film.desk.now_s <= view.chart.timeline.end_s


def test_control_and_a_drag_choose_what_is_looped(show: Show, qtbot: QtBot) -> None:
    film = warming()
    view = show(film)
    plot = plot_of(view)
    y = plot.lanes.time.center().y()
    drag(view.chart, (plot.x_of(4.0), y), (plot.x_of(6.0), y), modifier=CONTROL)
    assert film.desk.player.loop
    assert film.desk.player.loop_s == pytest.approx((4.0, 6.0), abs=0.05)
    film.desk.seek(100)
    film.desk.player.play()
    shown = {film.desk.player.tick(t / 25.0) for t in range(200)}
    assert shown == set(range(100, max(shown) + 1))
    assert max(shown) == pytest.approx(150, abs=1)
    QTest.mouseClick(view.chart, LEFT, CONTROL, QPoint(300, round(y)))
    assert film.desk.player.loop_s is None


def test_the_live_edge(show: Show, qtbot: QtBot) -> None:
    film = warming()
    film.session.is_live = True
    film.desk.session_changed.emit()
    view = show(film)
    live = view.findChild(QToolButton, "strip_live")
    assert live is not None
    assert live.isVisible()
    film.desk.seek(100)
    film.desk.state_changed.emit()
    assert not live.isChecked()
    QTest.mouseClick(live, LEFT)
    assert film.desk.player.follow
    assert live.isChecked()
    assert film.desk.shown_number == 499
    film.desk.seek(100)
    view.setFocus()
    QTest.keyClick(view, Qt.Key.Key_End)
    assert film.desk.player.follow


def test_buttons(show: Show, qtbot: QtBot) -> None:
    film = warming()
    film.mark(8.0)
    view = show(film)

    def click(name: str) -> int:
        button = view.findChild(QToolButton, name)
        assert button is not None
        QTest.mouseClick(button, LEFT)
        return film.desk.shown_number

    assert click("strip_forward") == 1
    assert click("strip_next_mark") == 200
    assert click("strip_back") == 199
    assert click("strip_start") == 0
    click("strip_loop")
    assert film.desk.player.loop
    view.transport.speed.setCurrentIndex(7)
    view.transport.speed.activated.emit(7)
    assert film.desk.player.speed == 16.0
    view.transport.statistic.activated.emit(1)
    assert film.desk.statistic == "mean"
    film.desk.seek(312)
    time, total = view.findChild(QLabel, "strip_time"), view.findChild(QLabel, "strip_total")
    assert time is not None
    assert total is not None
    assert time.text() == "00:12.48"
    assert "frame 312 of 500" in total.text()


# ---- the axis is the picture's scale -----------------------------------------------------------


def test_dragging_the_axis_sets_level_and_span(show: Show, qtbot: QtBot) -> None:
    film = warming()
    display = film.desk.display
    view = show(film)
    display.set_mode(LevelMode.AUTO)
    plot = plot_of(view)
    axis = plot.main
    middle = axis.y_of(313.15)
    drag(view.chart, (50.0, middle), (50.0, middle - 20))
    by_k = 20 * axis.per_px
    assert display.mode.name == "MANUAL"
    assert display.low_k == pytest.approx(293.15 + by_k)
    assert display.high_k == pytest.approx(333.15 + by_k)
    axis = plot_of(view).main
    low_k, high_k = display.low_k, display.high_k
    top = axis.y_of(high_k)
    drag(view.chart, (50.0, top), (50.0, top + 15))
    assert display.low_k == low_k
    assert display.high_k == pytest.approx(high_k - 15 * axis.per_px)
    foot = plot_of(view).main.y_of(low_k)
    drag(view.chart, (50.0, foot), (50.0, foot - 500))
    assert display.low_k < display.high_k
    QTest.mouseDClick(view.chart, LEFT, NONE, QPoint(50, round(middle)))
    assert display.mode is LevelMode.AUTO


def test_the_wheel_on_the_axis_changes_the_span_about_its_middle(show: Show) -> None:
    film = warming()
    view = show(film)
    turn_wheel(view.chart, QPointF(50.0, 80.0), 1)
    display = film.desk.display
    assert display.high_k - display.low_k == pytest.approx(40 / 1.25)
    assert (display.high_k + display.low_k) / 2 == pytest.approx(313.15)
    assert view.chart.timeline.whole


def test_the_axis_is_painted_in_the_pictures_colours(show: Show) -> None:
    film = warming()
    view = show(film)
    plot = plot_of(view)
    image = view.chart.grab().toImage()
    for kelvin in (298.0, 310.0, 325.0):
        y, x = plot.main.y_of(kelvin), plot.lanes.bar.center().x()
        got = image.pixelColor(round(x), int(y))
        wanted = film.desk.display.colour_of(plot.main.value_of(int(y) + 0.5))
        assert got.red() == pytest.approx(wanted.red(), abs=6)
        assert got.green() == pytest.approx(wanted.green(), abs=6)
        assert got.blue() == pytest.approx(wanted.blue(), abs=6)


def test_in_the_rise_view_curves_are_rises_and_zero_stays(show: Show, qtbot: QtBot) -> None:
    film = warming()
    view = show(film)
    film.desk.display.set_baseline(np.full((4, 4), 293.15, dtype=np.float32))
    film.desk.display.set_view(View.RISE)
    film.desk.display.set_level(-5.0, 40.0)
    plot = plot_of(view)
    assert float(np.nanmax(plot.drawn[0].high)) == pytest.approx(33.0, abs=0.1)
    y = plot.main.y_of(20.0)
    drag(view.chart, (50.0, y), (50.0, y + 20))
    assert film.desk.display.low_k == -5.0
    assert film.desk.display.high_k == pytest.approx(40.0 - 20 * plot.main.per_px)
    y = plot_of(view).main.y_of(-2.0)
    drag(view.chart, (50.0, y), (50.0, y - 900))
    assert film.desk.display.low_k < 0 < film.desk.display.high_k
    turn_wheel(view.chart, QPointF(50.0, 80.0), -2)
    assert film.desk.display.low_k < 0 < film.desk.display.high_k


def test_only_what_changes_is_drawn_anew(show: Show) -> None:
    film = warming()
    view = show(film)
    plot = plot_of(view)
    film.desk.seek(250)
    film.desk.display.set_level(293.2, 333.1)
    assert plot_of(view) is plot
    film.desk.display.set_level(293.15, 400.0)
    assert plot_of(view) is not plot
    plot = plot_of(view)
    film.desk.display.set_unit(TemperatureUnit.FAHRENHEIT)
    assert plot_of(view) is not plot


# ---- curves, marks, spans ----------------------------------------------------------------------


def test_a_click_on_a_curve_or_its_label_selects_the_region(show: Show, qtbot: QtBot) -> None:
    film = warming()
    view = show(film)
    plot = plot_of(view)
    x = plot.x_of(10.0)
    y = plot.main.y_of(273.15 + 38.0)
    QTest.mouseClick(view.chart, LEFT, NONE, QPoint(round(x), round(y)))
    assert film.desk.selected == {"u3"}
    assert film.desk.shown_number == 0
    label = plot_of(view).labels["u4"].center().toPoint()
    QTest.mouseClick(view.chart, LEFT, NONE, label)
    assert film.desk.selected == {"u4"}


def test_a_click_on_a_mark_selects_it_and_goes_there(show: Show, qtbot: QtBot) -> None:
    film = warming()
    mark = film.mark(12.0, MarkKind.FAULT_APPEARS, "tapped U7")
    view = show(film)
    plot = plot_of(view)
    at = QPoint(round(plot.x_of(12.0)), round(plot.lanes.rail.center().y()))
    assert view.chart.tip_at(QPointF(at)) == "fault appears at 00:12.00: tapped U7"
    QTest.mouseClick(view.chart, LEFT, NONE, at)
    assert film.desk.selected_mark == mark
    assert film.desk.now_s == pytest.approx(12.0)


def test_every_kind_of_mark_has_its_own_shape(show: Show) -> None:
    film = warming()
    for position, kind in enumerate(MarkKind):
        film.mark(1.0 + 2.0 * position, kind, ".")
    view = show(film)
    plot = plot_of(view)
    shapes = set()
    pixels = pixels_of(view.chart.grab().toImage())
    ground = pixels[2, round(plot.x_of(2.0))]
    for position, _ in enumerate(MarkKind):
        x = round(plot.x_of(1.0 + 2.0 * position))
        shapes.add((pixels[3:19, x - 7 : x + 8] != ground).tobytes())
    assert len(shapes) == len(MarkKind)


def test_lanes_for_differences_and_the_supply(show: Show) -> None:
    times_s = np.arange(500) / 25.0
    film = FilmDesk(times_s, {"A": 23 + times_s, "B": np.full(500, 23.0)}, with_difference=True)
    at_s = np.arange(40) / 2.0
    film.session.supply = SupplyLog(at_s, np.where(at_s > 3, 5.0, 0.0), np.where(at_s > 3, 0.2, 0))
    view = show(film)
    plot = plot_of(view)
    assert list(plot.lanes.of) == [Lane.MAIN, Lane.DIFFERENCE, Lane.VOLTAGE, Lane.CURRENT]
    difference = plot.axes[Lane.DIFFERENCE]
    assert difference.low == -difference.high
    highs = {d.curve.lane: float(np.nanmax(d.high)) for d in plot.drawn}
    assert highs[Lane.DIFFERENCE] == pytest.approx(19.96, abs=0.01)
    assert highs[Lane.VOLTAGE] == 5.0
    assert highs[Lane.CURRENT] == pytest.approx(0.2)
    lanes = list(plot.lanes.of.values())
    assert all(a.bottom() <= b.top() for a, b in itertools.pairwise(lanes))
    assert lanes[-1].bottom() <= plot.lanes.time.top() + 6


def test_a_difference_carries_the_band_of_its_uncertainty(show: Show) -> None:
    """Its half height is the label's own standard uncertainty, in every column."""
    times_s = np.arange(500) / 25.0
    film = FilmDesk(times_s, {"A": 33 + times_s, "B": np.full(500, 23.0)}, with_difference=True)
    view = show(film)
    plot = plot_of(view)
    (drawn,) = [d for d in plot.drawn if d.curve.lane is Lane.DIFFERENCE]
    assert drawn.doubt is not None
    middle = (drawn.low + drawn.high) / 2
    last = int(np.flatnonzero(np.isfinite(middle))[-1])
    (item,) = film.curves.differences
    for column, number in ((5, round(5 / last * 499)), (last, 499)):
        u_k = difference_worth(film.desk, item, number).u_k
        low, high = (side[column] for side in drawn.doubt)
        assert high - middle[column] == pytest.approx(u_k, rel=0.02, abs=0.05)
        assert middle[column] - low == pytest.approx(u_k, rel=0.02, abs=0.05)
    assert plot.axes[Lane.DIFFERENCE].high > float(drawn.doubt[1][last])
    pixels = pixels_of(plot.image)
    x = round(plot.lanes.left * plot.pixel_ratio) + last // 2
    y = [
        round(drawn.axis.y_of(float(side[last // 2])) * plot.pixel_ratio)
        for side in (drawn.doubt[1], middle)
    ]
    between = int(pixels[(y[0] + y[1]) // 2, x])
    above = int(pixels[y[0] - 4, x])
    assert between != above, "the band is tinted"


def test_labels_do_not_overlap(show: Show) -> None:
    times_s = np.arange(100) / 25.0
    film = FilmDesk(times_s, {f"U{i}": np.full(100, 23.0 + i / 50) for i in range(9)})
    view = show(film)
    labels = list(plot_of(view).labels.values())
    assert len(labels) == 9
    labels.sort(key=lambda r: r.top())
    assert all(a.bottom() <= b.top() + 1e-6 for a, b in itertools.pairwise(labels))


def test_held_frames_gaps_and_the_unmeasured_part_show(show: Show) -> None:
    film = warming()
    view = show(film)

    def main_lane() -> NDArray[np.uint32]:
        plot = plot_of(view)
        lane = plot.lanes.main.toRect()
        return pixels_of(view.chart.grab().toImage())[lane.top() : lane.bottom()]

    plain = main_lane()
    film.curves.held[200:230] = True
    film.desk.curves_changed.emit()
    changed = (main_lane() != plain).any(axis=0)
    x = plot_of(view).x_of
    assert changed[round(x(8.1)) : round(x(9.1))].mean() > 0.9
    assert not changed[round(x(10.0)) : round(x(19.0))].any()
    film.curves.held[:] = False
    film.curves.columns["u3"][300:] = np.nan
    film.curves.columns["u4"][300:] = np.nan
    film.session.progress = lambda: (300, 500)  # type: ignore[method-assign]
    film.desk.curves_grew.emit()
    changed = (main_lane() != plain).any(axis=0)
    assert changed[round(x(12.5)) : round(x(19.5))].mean() > 0.2
    assert not changed[round(x(1.0)) : round(x(11.0))].any()


def test_the_cursor_reads_time_and_values(show: Show, qtbot: QtBot) -> None:
    view = show(warming())
    before = view.chart.grab().toImage()
    QTest.mouseMove(view.chart, QPoint(500, 100))
    qtbot.waitUntil(lambda: view.chart.grab().toImage() != before)


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_both_themes_and_a_fine_screen(theme: str) -> None:
    film = warming()
    try:
        set_theme(theme)
        line = Timeline()
        line.set_film(0.0, 19.96, live=False, follow=False)
        plots = [
            Plot(
                gather(film.desk),
                line,
                film.desk.display,
                theme=tokens(),
                size=(800, 240),
                pixel_ratio=ratio,
            )
            for ratio in (1.0, 1.5, 2.0)
        ]
    finally:
        set_theme("dark")
    assert [p.image.size().toTuple() for p in plots] == [(800, 240), (1200, 360), (1600, 480)]
    assert len(plots[2].drawn[0].high) == round(plots[2].lanes.width * 2)


def test_without_a_session_the_strip_is_empty_and_dead(show: Show, qtbot: QtBot) -> None:
    film = warming()
    view = show(film)
    film.desk.session = None
    film.desk.shown = None
    film.desk.session_changed.emit()
    plot = plot_of(view)
    assert plot.drawn == []
    QTest.mouseClick(view.chart, LEFT, NONE, QPoint(300, 100))
    QTest.keyClick(view, Qt.Key.Key_Right)
    turn_wheel(view.chart, QPointF(300, 100), 3)
    plot_of(view)


def test_close_marks_stand_side_by_side_and_are_hit_apart(show: Show) -> None:
    film = warming()
    first, second = film.mark(10.0, MarkKind.ZERO), film.mark(10.04, MarkKind.POWER_ON)
    plot = plot_of(show(film))
    (_, left), (_, right) = plot.marks
    assert right - left >= 12
    assert abs((left + right) / 2 - plot.x_of(10.02)) < 1
    assert plot.mark_at(left, 10.0) == first
    assert plot.mark_at(right, 10.0) == second


@pytest.mark.parametrize("height", [226, 260, 400])
def test_lanes_fit_into_any_height(show: Show, height: int) -> None:
    """Nothing reaches into the time axis; a lane too low for all labels shows one."""
    times_s = np.arange(100) / 25.0
    columns = {f"U{i}": np.full(100, 23.0 + i) for i in range(15)}
    film = FilmDesk(times_s, columns, with_difference=True)
    film.session.supply = SupplyLog(times_s, np.ones(100), np.full(100, 0.02))
    view = show(film)
    view.resize(700, height)
    plot = plot_of(view)
    assert list(plot.lanes.of.values())[-1].bottom() <= plot.lanes.time.top()
    assert film.curves.differences[0].id in plot.labels
    shown = [key for key in plot.labels if key.startswith("u")]
    assert "u14" in shown  # the warmest comes first
    film.desk.select({"u0"})
    assert "u0" in plot_of(view).labels
