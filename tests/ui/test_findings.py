"""The findings in the window: asked for by themselves, chosen, laid on the picture, remembered."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of, write_warming

from thermview.analysis.heat.findings import Place
from thermview.analysis.heat.nature import Nature
from thermview.frames import MarkKind
from thermview.paths import sample_recordings
from thermview.regions import Rectangle
from thermview.session.finding import Lack
from thermview.session.meant_warm import WarmPlace, covers, file_of, recall
from thermview.sources import OpenOptions
from thermview.ui.dialogs.supply import SupplyDialog
from thermview.ui.layers import Layer
from thermview.ui.panels.finding_rows import Row, row_of_place
from thermview.ui.panels.findings import JUST_ON, NO_POWER, NOT_SHOWN, NOTHING, RUNNING
from thermview.ui.strip.content import Lane, gather
from thermview.ui.window import MainWindow
from thermview.units import power_text


def answered(qtbot: QtBot, window: MainWindow, path: Path) -> list[Row]:
    """Open a recording and wait for the answer."""
    open_and_wait(qtbot, window, str(path))
    qtbot.waitUntil(lambda: window.desk.findings.located is not None)
    return window.findings.rows


def click_row(window: MainWindow, row: int) -> None:
    panel = window.findings
    rect = panel.list.visualItemRect(panel.list.item(row))
    QTest.mouseClick(
        panel.list.viewport(),
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
        rect.center(),
    )


def test_the_short_is_named_chosen_and_laid_on_the_picture(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk = main_window.desk
    rows = answered(qtbot, main_window, sample_recordings() / "short.h5")
    assert (rows[0].name, rows[0].nature, rows[0].rank) == ("C12", Nature.HEATING, 1)
    assert "±" in rows[0].power
    assert main_window.findings.heading.text() == "findings"

    main_window.picture.canvas.zoom(6.0)
    click_row(main_window, 0)
    suspect = desk.findings.suspect
    assert suspect is not None
    assert suspect.part == "C12"
    mapping = main_window.picture.canvas.mapping
    assert mapping is not None
    assert mapping.centre == pytest.approx((suspect.x_px, suspect.y_px))  # flown there
    assert [region.name for region in desk.selected_regions()] == ["C12"]

    curves = {c.name: c for c in gather(desk).curves if c.lane is Lane.DIFFERENCE}
    seen, fitted = curves["C12 seen"].values, curves["as heat"].values
    assert len(seen) == len(gather(desk).times_s)
    # the fit follows what is seen, far closer than the curve's own size
    assert np.nanstd(seen - fitted) < 0.2 * np.nanstd(seen)

    shown = []
    for _ in range(3):
        QTest.keyClick(main_window, Qt.Key.Key_V)
        shown.append((desk.display.view.value, desk.layers.shown))
    assert shown[0] == ("rise", Layer.NONE)
    assert shown[1][1] is Layer.SOURCES
    assert shown[2] == ("temperature", Layer.NONE)


def test_the_layer_colours_the_part_that_heats(qtbot: QtBot, main_window: MainWindow) -> None:
    desk, canvas = main_window.desk, main_window.picture.canvas
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    QTest.mouseClick(main_window.findings.on_picture, Qt.MouseButton.LeftButton)
    assert desk.layers.shown is Layer.SOURCES
    suspect = desk.findings.located.suspects[0] if desk.findings.located else None
    assert suspect is not None
    mapping = canvas.mapping
    assert mapping is not None
    at = mapping.to_widget(suspect.x_px, suspect.y_px).toPoint()
    ratio = canvas.devicePixelRatioF()
    image = canvas.grab().toImage()
    here = image.pixelColor(round(at.x() * ratio), round(at.y() * ratio))
    assert here.saturation() > 100  # a colour on a grey picture
    corner = image.pixelColor(image.width() // 2, image.height() - 4)
    assert corner.saturation() < 60


def test_meant_to_be_warm_is_remembered_for_the_model_and_taken_back(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk, panel = main_window.desk, main_window.findings
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    click_row(main_window, 0)
    QTest.keyClick(main_window, Qt.Key.Key_W)
    assert panel.rows[-1].name == "C12"
    assert panel.rows[-1].expected
    assert panel.rows[-1].rank == len(panel.rows)
    # another recording of the same model knows it at once
    open_and_wait(qtbot, main_window, str(sample_recordings() / "good.h5"))
    qtbot.waitUntil(lambda: "up" in session_of(main_window).info.title)
    assert desk.board is not None
    assert desk.findings.meant_warm.said == recall(desk.board) == {"C12"}
    desk.findings.meant_warm.toggle("U5")
    assert recall(desk.board) == {"C12", "U5"}
    QTest.keyClick(main_window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert recall(desk.board) == {"C12"}
    file_of(desk.board).write_text("edited by hand, badly")
    assert recall(desk.board) == frozenset()


def test_a_region_says_which_part_or_place_is_meant_to_be_warm(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """Without a finding, and without any list of parts, too."""
    desk = main_window.desk
    said: list[str] = []
    desk.said.connect(lambda _, words: said.append(words))
    write_warming(tmp_path / "w.h5")
    open_and_wait(qtbot, main_window, str(tmp_path / "w.h5"))
    QTest.keyClick(main_window, Qt.Key.Key_W)
    assert "select a region" in said[-1]
    desk.select([desk.document.add(Rectangle(40.0, 20.0, 8.0, 8.0), "square").id])
    QTest.keyClick(main_window, Qt.Key.Key_W)
    assert desk.findings.meant_warm.said == {WarmPlace(44.0, 24.0, on_board=False)}
    assert "44, 24 px is meant to be warm" in said[-1]
    heat = Place(45.0, 23.0, None, None, 1.0, Nature.HEATING, 2.0, 0.03, 0.01, 40.0, 0.9)
    assert covers(desk.findings.meant_warm.said, heat)  # found later, it is listed as that

    open_and_wait(qtbot, main_window, str(sample_recordings() / "good.h5"))
    qtbot.waitUntil(lambda: desk.board is not None)
    board = desk.board
    assert board is not None
    u5 = next(part for part in board.parts if part.designator == "U5")
    x, y = (float(v) for v in board.view.board_to_pixel((u5.x_mm, u5.y_mm)))
    desk.select([desk.document.add(Rectangle(x - 2, y - 2, 4.0, 4.0), "the driver").id])
    QTest.keyClick(main_window, Qt.Key.Key_W)
    assert desk.findings.meant_warm.said == {"U5"}


def test_a_place_is_chosen_meant_to_be_warm_undone_and_done_again(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk, panel = main_window.desk, main_window.findings
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    located, board = desk.findings.located, desk.board
    assert located is not None
    assert board is not None
    x_mm, y_mm = (float(v) for v in board.view.pixel_to_board((100.0, 60.0)))
    heat = Place(100.0, 60.0, x_mm, y_mm, 1.0, Nature.HEATING, 2.0, 0.03, 0.01, 40.0, 0.9)
    desk.findings._located = replace(located, elsewhere=(heat,))
    desk.findings.arrange()
    place = next(n for n, row in enumerate(panel.rows) if row.place is not None)
    click_row(main_window, place)
    assert desk.findings.place is not None
    assert panel.list.currentRow() == place
    for key, modifiers, expected in (
        (Qt.Key.Key_W, Qt.KeyboardModifier.NoModifier, True),
        (Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier, False),
        (
            Qt.Key.Key_Z,
            Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier,
            True,
        ),
    ):
        QTest.keyClick(main_window, key, modifiers)
        assert any(row.place is not None and row.expected for row in panel.rows) is expected
        assert any(isinstance(w, WarmPlace) for w in recall(board)) is expected
    assert panel.rows[-1].place is not None  # at the foot
    main_window.picture.canvas.grab()  # its sign and ring are painted
    QTest.keyClick(main_window, Qt.Key.Key_W)
    assert not any(row.expected for row in panel.rows)


def test_a_glowing_track_is_listed_before_doubts_and_drawn(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk, panel = main_window.desk, main_window.findings
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    located = desk.findings.located
    assert located is not None
    course = ((60.0, 40.0), (100.0, 40.0), (100.0, 60.0))
    course_mm = tuple((x / 2, y / 2) for x, y in course)
    track = Place(100.0, 60.0, 50.0, 30.0, 1.0, Nature.HEATING, 2.0, 0.03, 0.01, 40.0, 0.9)
    track = replace(track, path_px=course, path_mm=course_mm)
    doubted = tuple(replace(s, nature=Nature.UNCERTAIN) for s in located.suspects)
    desk.findings._located = replace(located, suspects=doubted, elsewhere=(track,))
    desk.findings.arrange()
    row = panel.rows[0]
    assert (row.name, row.rank) == ("glowing track", 1)
    assert "30 mm long, which ends at 50, 30 mm" in row.evidence
    before = main_window.picture.canvas.grab().toImage()
    click_row(main_window, 0)
    main_window.picture.canvas.fit()
    assert main_window.picture.canvas.grab().toImage() != before


def test_where_nothing_heats_it_says_so(
    qtbot: QtBot, main_window: MainWindow, samples: Path
) -> None:
    rows = answered(qtbot, main_window, samples / "ramp-quiet.h5")
    assert main_window.findings.hint.text() == NOTHING
    assert all(row.nature is not Nature.HEATING for row in rows)


def test_a_board_that_runs_from_the_start_has_no_baseline(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    path = tmp_path / "running.h5"
    write_warming(path, frames=200)
    with h5py.File(path, "r+") as file:
        supply = file.create_group("entry/supply")
        supply["time"] = np.arange(0.0, 8.0, 0.1)
        supply["voltage"] = np.full(80, 5.0)
        supply["current"] = np.full(80, 0.2)
    desk, panel = main_window.desk, main_window.findings
    open_and_wait(qtbot, main_window, str(path))
    qtbot.waitUntil(lambda: desk.findings.lack is Lack.NO_BASELINE)
    assert panel.hint.text() == RUNNING
    assert "ten seconds" in panel.hint.text()


def test_a_mark_of_the_power_asks_anew(
    qtbot: QtBot, main_window: MainWindow, samples: Path
) -> None:
    desk = main_window.desk
    answered(qtbot, main_window, samples / "ramp-faint.h5")
    before = desk.findings.located
    desk.seek_time(3.0)
    QTest.keyClick(main_window, Qt.Key.Key_P)
    assert any(mark.kind is MarkKind.POWER_ON for mark in session_of(main_window).marks)
    qtbot.waitUntil(lambda: desk.findings.located not in (None, before))
    located = desk.findings.located
    assert located is not None
    assert located.power_on_s == pytest.approx(3.0, abs=0.1)
    assert "your mark" in main_window.findings.when.text()


def test_a_pulse_test_has_its_layers_and_says_what_it_can_show(
    qtbot: QtBot, main_window: MainWindow, samples: Path
) -> None:
    desk, canvas = main_window.desk, main_window.picture.canvas
    rows = answered(qtbot, main_window, samples / "ramp-pulsed.h5")
    assert rows[0].name == "C15"  # truth.json beside the recording
    qtbot.waitUntil(lambda: desk.findings.pulse.found is not None)
    assert desk.layers.available == (Layer.SOURCES, Layer.AMPLITUDE, Layer.DELAY)
    assert main_window.findings.hint.text().startswith("Pulse test, 2 s: 20 periods.")
    suspect = desk.findings.located.suspects[0] if desk.findings.located else None
    mapping = canvas.mapping
    assert suspect is not None
    assert mapping is not None
    at = mapping.to_widget(suspect.x_px, suspect.y_px).toPoint()
    ratio = canvas.devicePixelRatioF()
    desk.display.set_parts(False)
    desk.layers.show(Layer.AMPLITUDE)
    image = canvas.grab().toImage()
    here = image.pixelColor(round(at.x() * ratio), round(at.y() * ratio))
    middle = image.pixelColor(image.width() // 2, image.height() // 2)
    assert here.lightness() > 2 * middle.lightness()
    desk.findings.set_period(3.7)  # not the supply's: nothing follows it
    qtbot.waitUntil(
        lambda: desk.findings.pulse.found is not None and desk.findings.pulse.found.period_s == 3.7,
    )
    assert "3.7 s" in desk.findings.pulse.words()


def test_closing_while_it_looks_leaves_nothing_behind(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(sample_recordings() / "good.h5"))
    qtbot.waitUntil(lambda: not np.isnan(desk.findings.done))
    desk.close_session()
    assert np.isnan(desk.findings.done)
    qtbot.wait(300)
    assert desk.findings.located is None


@pytest.mark.parametrize(
    ("power_w", "sigma_w", "words"),
    [
        (0.0334, 0.0083, "33 ± 8 mW"),
        (0.0021, 0.0006, "2.1 ± 0.6 mW"),
        (1.52, 0.31, "1.5 ± 0.3 W"),
        (0.00042, 0.00008, "420 ± 80 µW"),
        (0.00951, 0.00012, "9.51 ± 0.12 mW"),
    ],
)
def test_powers_in_words(power_w: float, sigma_w: float, words: str) -> None:
    assert power_text(power_w, sigma_w) == words


def test_a_source_on_no_listed_part_is_told_by_its_place() -> None:
    place = Place(
        x_px=80.0,
        y_px=60.0,
        x_mm=34.2,
        y_mm=20.6,
        radius_mm=1.2,
        nature=Nature.UNCERTAIN,
        rise_k=0.4,
        power_w=0.012,
        power_sigma_w=0.004,
        snr=9.0,
        likely=0.5,
    )
    row = row_of_place(place)
    assert (row.name, row.power) == ("at 34, 21 mm", "12 ± 4 mW")
    assert row.evidence == "Not on a listed part; within 1.2 mm; rises 0.4 K."
    assert "far side" in row_of_place(replace(place, radius_mm=7.0)).evidence
    bare = row_of_place(replace(place, x_mm=None, y_mm=None))
    assert bare.evidence == "Rises 0.4 K."  # no scale is known, nor which parts there are
    assert row_of_place(replace(place, x_mm=None, y_mm=None)).name == "at 80, 60 px"


def test_the_supply_s_leads_are_stated_and_its_period_is_found(
    qtbot: QtBot, main_window: MainWindow, samples: Path, tmp_path: Path
) -> None:
    bare = tmp_path / "bare.h5"
    shutil.copy(samples / "ramp-pulsed.h5", bare)
    with h5py.File(bare, "r+") as file:
        if "entry/supply" in file:
            del file["entry/supply"]
    open_and_wait(qtbot, main_window, str(bare))
    desk = main_window.desk
    main_window.commands.supply()
    dialog = main_window.findChild(SupplyDialog)
    assert isinstance(dialog, SupplyDialog)
    dialog.leads.setValue(0.12)
    QTest.mouseClick(dialog.seek, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: dialog.period.value() > 0)
    assert dialog.period.value() == pytest.approx(2.0, rel=0.02)
    assert "every" in dialog.told.text()
    use = dialog.findChild(QPushButton, "supplyUse")
    assert isinstance(use, QPushButton)
    QTest.mouseClick(use, Qt.MouseButton.LeftButton)
    assert desk.findings.lead_ohm == 0.12
    assert desk.settings.get("lead_ohm") == 0.12
    assert desk.findings.period_s == pytest.approx(2.0, rel=0.02)


def test_without_parts_a_search_that_found_nothing_says_so(
    qtbot: QtBot, main_window: MainWindow, samples: Path, tmp_path: Path
) -> None:
    shutil.copy(samples / "ramp-pulsed.h5", tmp_path / "pulsed.h5")  # no list beside it
    desk, panel = main_window.desk, main_window.findings
    answered(qtbot, main_window, tmp_path / "pulsed.h5")
    located = desk.findings.located
    assert located is not None
    desk.findings._located = replace(located, elsewhere=(), heated=False)
    desk.findings.arrange()
    assert panel.rows == []  # a spot that a finger warmed is the largest rise, and is no source
    assert panel.hint.text().startswith(NOT_SHOWN if panel.rises else NOTHING)


def test_large_rises_are_not_called_nothing(
    qtbot: QtBot, main_window: MainWindow, samples: Path, tmp_path: Path
) -> None:
    shutil.copy(samples / "ramp-strong.h5", tmp_path / "strong.h5")  # no list beside it
    desk, panel = main_window.desk, main_window.findings
    answered(qtbot, main_window, tmp_path / "strong.h5")
    located = desk.findings.located
    assert located is not None
    desk.findings._located = replace(located, elsewhere=(), suspects=(), heated=False)
    desk.findings.arrange()
    desk.to_end()
    qtbot.waitUntil(lambda: bool(panel.rises))
    assert panel.hint.text().startswith(NOT_SHOWN)
    assert NOTHING not in panel.hint.text()
    main_window.resize(1280, 700)
    main_window.steps.choose("look")  # its sheet leaves less room
    qtbot.waitUntil(lambda: panel.height() < 180)
    shown = [one for one in (panel.note, panel.hint) if one.isVisible()]
    assert shown
    assert not any(panel.list.geometry().intersects(one.geometry()) for one in shown)


def test_live_words_follow_the_power(qtbot: QtBot, main_window: MainWindow) -> None:
    """The simulated board is powered 4 s after the start, by its own supply's log."""
    desk, panel = main_window.desk, main_window.findings
    desk.open("simulated:good", OpenOptions(speed=1.0))
    said: list[str] = []

    def note() -> None:
        if panel.hint.text() not in said:
            said.append(panel.hint.text())

    desk.frame_shown.connect(note)
    qtbot.waitUntil(lambda: desk.findings._asked is not None)
    assert [words for words in said if words in (NO_POWER, JUST_ON)] == [NO_POWER, JUST_ON]


@pytest.mark.slow
def test_live_findings_grow_and_say_how_far_they_have_seen(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    """The simulated board as a camera: the short is named while it is fed, then with more heat."""
    desk, panel = main_window.desk, main_window.findings
    desk.open("simulated:short", OpenOptions(seed=7))
    seen: list[tuple[float, float]] = []

    def note() -> None:
        suspects = desk.findings.located.suspects if desk.findings.located is not None else ()
        watts = [one.power_w for one in suspects if one.part == "C12"]
        if watts and (not seen or desk.findings.until_s > seen[-1][0]):
            seen.append((desk.findings.until_s, watts[0]))

    desk.findings.changed.connect(note)
    # the supply is raised in steps
    qtbot.waitUntil(lambda: len(seen) >= 2 and seen[-1][1] > 1.5 * seen[0][1])
    assert f"seen to {seen[-1][0]:.0f} s" in panel.when.text()
    assert panel.rows[0].name == "C12"


def test_what_is_said_above_the_findings_pushes_nothing_about(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    panel, canvas = main_window.findings, main_window.picture.canvas
    qtbot.wait(50)
    before = canvas.width()
    panel.when.setText("power on at 1234.5 s, by the supply and whatever else may be said of it")
    qtbot.wait(50)
    assert canvas.width() == before


def test_words_below_the_findings_give_way_where_there_is_no_room(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    panel = main_window.findings
    answered(qtbot, main_window, sample_recordings() / "short.h5")
    main_window.resize(1280, 900)
    qtbot.waitUntil(panel.note.isVisible)
    assert not panel.list.geometry().intersects(panel.note.geometry())
    main_window.steps.choose("look")
    main_window.resize(1000, 640)
    qtbot.waitUntil(lambda: not panel.note.isVisible())
    assert panel.when.toolTip()  # there they are still told
