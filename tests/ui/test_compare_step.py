"""The step "compare" over the real rooms, driven as a user drives it."""

from __future__ import annotations

import json
import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QPushButton, QToolButton
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of, write_warming

from thermview.board import fit_homography, load_landmarks, load_placement
from thermview.frames import Mark, MarkKind
from thermview.paths import sample_recordings
from thermview.recording.writer import Writer
from thermview.regions import Rectangle
from thermview.session.boards import CarriesBoard
from thermview.sources import OpenOptions, open_footage
from thermview.ui.compare.keep import ConditionsDialog
from thermview.ui.compare.page import ComparePage
from thermview.ui.compare.pane import MatchPane
from thermview.ui.compare.question import By, Reference
from thermview.ui.compare.table import HEADS, WORDS
from thermview.ui.compare.twin import LinkedPicture
from thermview.ui.window import MainWindow

GOOD = sample_recordings() / "good.h5"
COLD = sample_recordings() / "cold-drivers.h5"


def page_of(window: MainWindow) -> ComparePage:
    window.steps.choose("compare")
    return window.compare.page


def choose(qtbot: QtBot, window: MainWindow, good: Path) -> ComparePage:
    """Choose a known-good recording and wait until its picture is there."""
    page = page_of(window)
    page.room.choose(Reference(good, good.stem))
    qtbot.waitUntil(lambda: page.room.good_picture is not None or bool(page.room.trouble))
    return page


def answered(qtbot: QtBot, page: ComparePage) -> None:
    qtbot.waitUntil(lambda: page.room.answer is not None or bool(page.room.trouble))
    assert page.room.trouble == ""


def click(picture: LinkedPicture | MatchPane, x: float, y: float) -> None:
    mapping = picture.mapping
    assert mapping is not None
    at = mapping.to_widget(x, y)
    QTest.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(round(at.x()), round(at.y())))


def texts(page: ComparePage, place: int) -> dict[str, str]:
    model = page.result.model
    return dict(zip(("name", *HEADS[1:3]), model.texts(model.rows[place]), strict=False))


def test_cold_drivers_against_the_good_board(qtbot: QtBot, main_window: MainWindow) -> None:
    """The worked example: one package of drivers is cold, and a click flies there in all."""
    desk = main_window.desk
    desk.settings.add_recent(GOOD)
    open_and_wait(qtbot, main_window, str(COLD))
    page = page_of(main_window)
    assert page.isVisible()
    assert not main_window.picture.isVisible()
    offer = page.choose.findChild(QPushButton, f"choose_{GOOD}")
    assert offer is not None
    offer.click()  # parts are known on both: nothing else is asked
    answered(qtbot, page)

    result, found = page.result, page.room.answer
    assert found is not None
    assert texts(page, 0)["name"] == "U6"
    assert texts(page, 0)["what it is"] == WORDS["colder"]
    assert [one.name for one in result.model.rows if one.verdict in ("colder", "hotter")] == ["U6"]
    assert "1 colder" in result.summary.text()

    # one scale for both boards, and zero in the middle of the difference
    assert result.good.scale == result.bad.scale
    assert result.difference.scale is not None
    assert result.difference.scale.low_k == -result.difference.scale.high_k
    # the drivers' place is cold in the difference, and only there
    x, y = found.places_px["U6"]
    assert result.difference.levels_k is not None
    seen = result.difference.levels_k
    assert seen[int(y), int(x)] < -5.0
    assert np.nanmedian(np.abs(seen)) < 0.3

    # the playhead moves both boards, each from when its own power came
    desk.seek_time(found.found.on_s[1] + 5.0)
    qtbot.waitUntil(lambda: "5.0 s after" in result.bad.title or "4.9 s after" in result.bad.title)
    step = found.films.at(5.0)
    assert result.bad.levels_k is not None
    np.testing.assert_array_equal(result.bad.levels_k, found.films.bad_k[step])
    assert result.good.levels_k is not None
    assert found.films.good_k is not None
    np.testing.assert_array_equal(result.good.levels_k, found.films.good_k[step])

    result.table.selectRow(0)
    assert result.link.zoom > 1.0
    for picture in result.pictures:
        mapping = picture.mapping
        assert mapping is not None
        at = mapping.to_widget(x, y)
        assert at.x() == pytest.approx(picture.width() / 2, abs=1.0)
        assert at.y() == pytest.approx(picture.height() / 2, abs=1.0)
    assert [r.name for r in desk.selected_regions()] == ["U6"]

    QTest.mouseDClick(result.good, Qt.MouseButton.LeftButton)
    assert result.link.zoom == 1.0
    click(result.difference, *found.places_px["U1"])
    assert result.chosen == "U1"
    assert result.table.currentIndex().row() == result.model.row_of("U1")

    main_window.board.find_part()  # beside the usual picture, which the page gives way to
    assert main_window.board.isVisible()
    assert main_window.picture.isVisible()


@pytest.mark.slow
def test_another_programs_pair_by_matching_points(
    qtbot: QtBot, main_window: MainWindow, samples: Path, tmp_path: Path
) -> None:
    """No list, no landmarks: four places clicked in both pictures find the cold chips' places."""
    for stem in ("pair-good", "pair-bad"):  # without what lies beside them
        shutil.copy(samples / f"{stem}.h5", tmp_path / f"{stem}.h5")
    marks = {s: load_landmarks(samples / f"{s}.landmarks.json") for s in ("pair-good", "pair-bad")}
    pixels = {s: {m.board_mm: m.pixel for m in found} for s, found in marks.items()}
    common = [at for at in pixels["pair-good"] if at in pixels["pair-bad"]][:4]
    assert len(common) == 4
    open_and_wait(qtbot, main_window, str(tmp_path / "pair-bad.h5"))
    page = choose(qtbot, main_window, tmp_path / "pair-good.h5")
    matching = page.matching
    qtbot.waitUntil(matching.isVisible)
    assert page.room.by is By.PLACE
    assert not matching.go.isEnabled()
    for at in common:
        click(matching.good, *pixels["pair-good"][at])
        click(matching.bad, *pixels["pair-bad"][at])
    assert len(matching.pairs) == 4
    click(matching.good, 5.0, 5.0)
    assert "number 5" in matching.hint.text()
    matching.back.click()
    matching.go.click()
    answered(qtbot, page)
    found = page.room.answer
    assert found is not None
    truth = json.loads((samples / "truth.json").read_text())["pair"]
    view = fit_homography(marks["pair-bad"])
    parts = {p.designator: p for p in load_placement(samples / "pair-bad.parts.csv")}
    cold = [found.places_px[o.name] for o in found.found.subjects if o.verdict == "colder"]
    for name in truth["colder"]:
        place = view.board_to_pixel((parts[name].x_mm, parts[name].y_mm))
        assert min(float(np.hypot(*(place - at))) for at in cold) < 4.0
    assert len(cold) <= len(truth["colder"]) + 1


def test_the_shelf_keeps_lists_and_changes(qtbot: QtBot, main_window: MainWindow) -> None:
    """Keep a good board with its conditions, and say something else of it later."""
    desk, keeper = main_window.desk, main_window.compare.shelf
    open_and_wait(qtbot, main_window, str(GOOD))
    page = page_of(main_window)
    shelf = page.choose.shelf
    shelf.keep.click()
    dialog = shelf.findChild(ConditionsDialog)
    assert dialog is not None
    save = dialog.buttons.button(dialog.buttons.StandardButton.Save)
    assert not save.isEnabled()  # a model must be given
    dialog.model.setEditText("valve driver, revision C")
    dialog.title.setText("number 7")
    dialog.note.setText("24 V, no load")
    assert dialog.numbers["supply_v"].text() == "24"  # of the recording's own log
    dialog.numbers["ambient_c"].setText("900")
    assert not save.isEnabled()
    dialog.numbers["ambient_c"].setText("21.5")
    save.click()
    qtbot.waitUntil(lambda: len(keeper.entries()) == 1 and desk.task is None)
    (entry,) = keeper.entries()
    assert (entry.model, entry.title) == ("valve driver, revision C", "number 7")
    details = shelf.findChild(QLabel, f"shelfDetails_{entry.id}")
    assert details is not None
    assert "24 V, no load" in details.text()

    assert (entry.ambient_c, entry.supply_v) == (21.5, 24.0)
    assert "21.5 °C · 24 V" in details.text()
    qtbot.waitUntil(lambda: shelf.findChild(ConditionsDialog) is None)
    shelf.ask_change(entry)
    dialog = shelf.findChild(ConditionsDialog)
    assert dialog is not None
    dialog.numbers["ambient_c"].setText("")
    dialog.note.setText("display on")
    dialog.buttons.button(dialog.buttons.StandardButton.Save).click()
    (entry,) = keeper.entries()
    assert (entry.ambient_c, entry.note, entry.title) == (None, "display on", "number 7")


def test_an_entry_travels_as_one_file_and_can_be_put_back(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    desk, keeper = main_window.desk, main_window.compare.shelf
    open_and_wait(qtbot, main_window, str(GOOD))
    shelf = page_of(main_window).choose.shelf
    entry = keeper.shelf.add(GOOD, "valve driver, revision C", title="number 7")
    shelf.refresh()
    out = tmp_path / "good.knowngood.zip"
    keeper.export(entry, out)
    qtbot.waitUntil(lambda: desk.task is None and out.is_file())
    keeper.take_in(out)
    qtbot.waitUntil(lambda: len(keeper.entries()) == 2 and desk.task is None)
    model = shelf.findChild(QLabel, f"shelfModel_{entry.model}")
    assert model is not None
    reference = keeper.reference(entry)
    assert len(reference.fellows) == 1

    keeper.remove(entry)
    assert [e.id for e in keeper.entries()] != [entry.id]
    assert len(keeper.entries()) == 1
    assert shelf.undo.isVisible()
    shelf.undo.click()
    assert len(keeper.entries()) == 2
    assert keeper.shelf.recording(entry).is_file()
    keeper.remove(entry)
    keeper.clear()  # as at the program's end
    assert not keeper.shelf.recording(entry).exists()


@pytest.mark.slow
def test_several_good_boards_show_their_range(qtbot: QtBot, main_window: MainWindow) -> None:
    keeper = main_window.compare.shelf
    for title in ("first", "second"):
        keeper.shelf.add(GOOD, "valve driver", title=title)
    open_and_wait(qtbot, main_window, str(COLD))
    page = page_of(main_window)
    page.choose.shelf.refresh()
    offer = page.choose.findChild(QPushButton, f"shelf_{keeper.entries()[0].id}")
    assert offer is not None
    offer.click()
    answered(qtbot, page)
    found = page.room.answer
    assert found is not None
    assert found.goods == 2
    low_w, high_w = found.range_w["U1"]
    assert low_w == pytest.approx(high_w)  # twice the same recording
    assert "2 good boards" in page.result.notes.toolTip()


def test_matching_points_in_any_order_dragged_judged_and_taken_back(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """Four in one picture, then in the other; a swap is refused at once, a drag corrects it."""
    write_warming(tmp_path / "good.h5")
    write_warming(tmp_path / "bad.h5")
    open_and_wait(qtbot, main_window, str(tmp_path / "bad.h5"))
    page = choose(qtbot, main_window, tmp_path / "good.h5")
    matching = page.matching
    qtbot.waitUntil(matching.isVisible)
    session = session_of(main_window)
    assert main_window.desk.shown_number == len(session.footage) - 1  # warm, as the good one is
    corners = [(4.0, 4.0), (60.0, 5.0), (59.0, 44.0), (5.0, 43.0)]
    for x, y in corners:
        click(matching.good, x, y)
    assert "numbers 1 to 4" in matching.hint.text()
    for place in (0, 2, 1, 3):
        click(matching.bad, *corners[place])
    assert "swap" in matching.hint.text()
    assert not matching.go.isEnabled()
    page.room.set_by(By.PLACE)  # what else is chosen meanwhile does not cost the points
    assert len(matching.pairs) == 4

    def drag(start: tuple[float, float], end: tuple[float, float]) -> None:
        mapping, left = matching.bad.mapping, Qt.MouseButton.LeftButton
        assert mapping is not None
        one, other = (mapping.to_widget(*at).toPoint() for at in (start, end))
        QTest.mousePress(matching.bad, left, pos=one)
        QTest.mouseMove(matching.bad, (one + other) / 2)
        QTest.mouseMove(matching.bad, other)
        QTest.mouseRelease(matching.bad, left, pos=other)

    drag(corners[1], (32.0, 24.0))
    drag(corners[2], corners[1])
    drag((32.0, 24.0), corners[2])
    assert "a fifth tells" in matching.hint.text()
    assert matching.go.isEnabled()
    click(matching.good, 30.0, 20.0)
    click(matching.bad, 33.0, 20.0)  # three pixels off
    assert "disagree" in matching.hint.text()
    assert "pixels" in matching.hint.text()
    QTest.keyClick(main_window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    QTest.keyClick(main_window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(matching.pairs) == 4
    assert matching.points[0][4:] == ()
    matching.again.click()
    assert len(matching.points[0]) == 5


@pytest.mark.slow
def test_by_region_with_an_unmoved_camera(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """Before and after on one board: the camera did not move, a region is compared."""
    shutil.copy(COLD, tmp_path / "before.h5")
    shutil.copy(COLD, tmp_path / "after.h5")
    open_and_wait(qtbot, main_window, str(tmp_path / "after.h5"))
    page = choose(qtbot, main_window, tmp_path / "before.h5")
    answered(qtbot, page)  # the recordings carry their board
    assert "nothing colder or hotter" in page.result.summary.text()
    main_window.desk.document.add(Rectangle(70.0, 60.0, 12.0, 12.0), "mine")
    page.room.set_by(By.REGION)
    qtbot.waitUntil(page.matching.isVisible)
    page.matching.unmoved.click()
    answered(qtbot, page)
    names = [one.name for one in page.result.model.rows]
    assert "mine" in names
    assert {one.verdict for one in page.result.model.rows} <= {"alike", "unreadable"}
    page.room.let_go()
    assert page.choose.isVisible()


def test_what_goes_wrong_is_said(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> None:
    write_warming(tmp_path / "small.h5")
    open_and_wait(qtbot, main_window, str(COLD))
    page = choose(qtbot, main_window, tmp_path / "nothing.h5")
    assert "nothing.h5" in page.words.text()
    # pictures of another size cannot be of an unmoved camera: it is not offered
    page = choose(qtbot, main_window, tmp_path / "small.h5")
    page.room.set_by(By.PLACE)
    assert page.matching.isVisible()
    assert not page.matching.unmoved.isVisible()
    page.room.compare()
    # the square's frames are alike to the count before it warms, as a frozen camera's are
    qtbot.waitUntil(lambda: "frames show the scene" in page.words.text())
    assert page.room.answer is None


def test_comparing_can_be_cancelled(qtbot: QtBot, main_window: MainWindow) -> None:
    open_and_wait(qtbot, main_window, str(COLD))
    page = page_of(main_window)
    page.room.choose(Reference(GOOD, "good"))
    qtbot.waitUntil(lambda: page.room.good_picture is not None and page.room.busy)
    assert page.cancel.isVisible()
    page.cancel.click()
    qtbot.waitUntil(lambda: not page.room.busy)
    assert page.room.answer is None
    assert page.room.trouble == ""
    assert page.go.isVisible()


def test_left_against_right(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> None:
    """A square that warms by 10 K a second, its mirror image on the cold half: pairs, numbers."""
    write_warming(tmp_path / "w.h5")
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(tmp_path / "w.h5"))
    page = page_of(main_window)
    opener = page.choose.findChild(QPushButton, "chooseHalves")
    assert opener is not None
    opener.click()
    halves = main_window.compare.halves
    assert halves.isVisible()
    assert main_window.picture.isVisible()  # regions are drawn on it
    assert not main_window.findings.isVisible()
    desk.document.add(Rectangle(40.0, 20.0, 8.0, 8.0), "left")
    halves.mirror()
    first, second = desk.document.current.regions
    assert second.shape == Rectangle(16.0, 20.0, 8.0, 8.0)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    desk.to_end()
    halves.refresh()
    cells = [halves.table.item(0, at) for at in range(3)]
    name, now, since = (cell.text() if cell is not None else "" for cell in cells)
    assert name == f"{first.name} − {second.name}"
    # at 59/25 s the square is 13.6 K above the rest
    assert now.startswith("+13.6")
    assert since.startswith("▲ +13.6")
    halves.mirror()  # the pair is there already, and one of it is selected: a copy of the copy
    desk.undo()
    desk.undo()
    assert [r.name for r in desk.document.current.regions] == ["left"]
    assert desk.document.current.differences == ()
    back = halves.findChild(QToolButton, "halvesBack")
    assert back is not None
    back.click()
    assert page.choose.isVisible()


@pytest.mark.slow
def test_live_board_is_compared_while_it_warms(qtbot: QtBot, main_window: MainWindow) -> None:
    desk = main_window.desk
    desk.open("simulated:cold-drivers", OpenOptions(speed=1.0))
    qtbot.waitUntil(lambda: desk.shown is not None)
    page = page_of(main_window)
    page.room.choose(Reference(GOOD, "good"))
    until: list[float] = []

    def note() -> None:
        if page.room.answer is not None:
            until.append(page.room.answer.found.until_s)

    page.room.answered.connect(note)
    qtbot.waitUntil(lambda: len(until) >= 2)
    assert until[1] > until[0]  # more of the warm-up each time
    result = page.result
    assert [o.name for o in result.model.rows if o.verdict == "colder"] == ["U6"]
    # a table that gets the keys takes a current row by itself: that is nobody's choice
    result.table.setFocus()
    assert (result.chosen, result.link.zoom) == ("", 1.0)
    result.table.selectRow(0)
    assert result.link.zoom > 1.0
    result.link.lay((20.0, 20.0), 6.0)  # the user looks elsewhere
    qtbot.waitUntil(lambda: len(until) >= 3)
    assert result.chosen == "U6"
    assert result.table.selectionModel().selectedRows()
    assert (result.link.centre, result.link.zoom) == ((20.0, 20.0), 6.0)  # and is left there
    rect = result.table.visualRect(result.model.index(0, 0))
    QTest.mouseClick(result.table.viewport(), Qt.MouseButton.LeftButton, pos=rect.center())
    assert page.room.answer is not None
    assert result.link.centre == pytest.approx(page.room.answer.places_px["U6"])
    main_window.steps.choose("")
    assert not page.room.attended


@pytest.mark.slow
def test_equal_regions_need_no_good_board(qtbot: QtBot, main_window: MainWindow) -> None:
    """Four of the example's series resistors: those beside the running drivers do alike."""
    open_and_wait(qtbot, main_window, str(COLD))
    desk = main_window.desk
    page = page_of(main_window)
    page.room.choose_equals()  # its own parts are known
    answered(qtbot, page)
    found = page.room.answer
    assert found is not None
    assert found.alone
    assert page.room.by is By.EQUAL_PARTS
    assert not page.result.good.isVisible()
    assert not page.result.difference.isVisible()
    assert "equals" in page.result.summary.text()
    page.result.choose("R7")
    assert "R8" in found.equals_of("R7")
    assert {s.name for s in page.result.bad.signs if s.equal} == set(found.equals_of("R7"))
    board = desk.board
    assert board is not None
    desk.boards.make_regions(("R11", "R12", "R13"))
    page.room.set_by(By.EQUAL_REGIONS)
    page.room.compare()
    answered(qtbot, page)
    assert {one.name for one in page.result.model.rows} >= {"R11", "R12", "R13"}
    page.room.let_go()
    assert page.choose.isVisible()


def test_a_list_without_equals_shows_its_error_and_no_empty_pictures(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    open_and_wait(qtbot, main_window, str(COLD))
    page, boards = page_of(main_window), main_window.desk.boards
    one_each = {part.package: part for part in boards.parts}
    boards.take_parts(tuple(one_each.values()))
    page.room.choose_equals()
    qtbot.waitUntil(lambda: bool(page.room.trouble))
    assert "no three equal parts" in page.words.text()
    assert page.words.isVisible()
    assert not page.result.isVisible()
    assert page.choose.isVisible()


def test_power_ups_are_offered_once_two_are_marked(qtbot: QtBot, main_window: MainWindow) -> None:
    open_and_wait(qtbot, main_window, str(GOOD))
    desk, ups = main_window.desk, page_of(main_window).choose.ups
    assert ups.isVisible()
    assert "where the power came (P) and went (O)" in ups.words.text()
    assert not ups.go.isVisible()  # its log tells of one
    assert not ups.before.isVisible()
    assert desk.session is not None
    desk.seek(150)
    desk.mark(MarkKind.POWER_ON)
    qtbot.waitUntil(ups.go.isVisible)
    assert "Mark where the power went off (O)" in ups.words.text()
    desk.seek(140)
    desk.mark(MarkKind.POWER_OFF)
    qtbot.waitUntil(lambda: "Mark where" not in ups.words.text())
    assert [ups.after.itemText(n)[:2] for n in range(ups.after.count())] == ["1:", "2:"]
    desk.close_session()
    open_and_wait(qtbot, main_window, str(GOOD))  # what was marked is remembered
    qtbot.waitUntil(ups.go.isVisible)
    assert desk.session is not None
    desk.remove_mark(desk.session.marks[-1])
    qtbot.waitUntil(lambda: not ups.go.isVisible())


@pytest.mark.slow
def test_two_power_ups_of_one_recording(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """The same warm-up twice in one file: nothing is colder or hotter the second time."""
    twice = tmp_path / "twice.h5"
    with closing(open_footage(str(GOOD))) as good:
        assert isinstance(good, CarriesBoard)
        length_s = float(good.times_s[-1]) + 0.16
        with Writer(twice, good.info) as writer:
            writer.set_board(good.placement_csv, good.landmarks_json)
            for number in range(2 * len(good)):
                again, place = divmod(number, len(good))
                frame = good.frame(place)
                time_s = frame.time_s + again * length_s
                writer.take(replace(frame, time_s=time_s, index=number))
            for time_s, kind in ((4.0, MarkKind.POWER_ON), (length_s, MarkKind.POWER_OFF)):
                writer.add_mark(Mark(time_s, kind))
            writer.add_mark(Mark(4.0 + length_s, MarkKind.POWER_ON))
    open_and_wait(qtbot, main_window, str(twice))
    page = page_of(main_window)
    ups = page.choose.ups
    qtbot.waitUntil(ups.isVisible)
    assert (ups.before.currentIndex(), ups.after.currentIndex()) == (0, 1)
    ups.go.click()
    answered(qtbot, page)
    found = page.room.answer
    assert found is not None
    assert found.found.on_s == pytest.approx((4.0, 4.0 + length_s))
    assert "nothing colder or hotter" in page.result.summary.text()
    assert page.room.by is By.PART
