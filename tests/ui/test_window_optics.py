"""Camera and surfaces in the window: guided measurements, shiny places, profile, averaging."""

from __future__ import annotations

import math
import re
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog, QPushButton
from pytestqt.qtbot import QtBot
from scipy.special import ndtr
from scipy.stats import t
from window_kit import ScriptedSource, open_and_wait, session_of

from thermview.frames import Footage, Frame, FrameSource, Scale, SourceInfo
from thermview.radiometry import (
    CameraProfile,
    ResponseCurve,
    Setting,
    apparent_temperature,
    object_temperature,
    profile_of,
    profile_text,
)
from thermview.radiometry.calibration import CalibrationKind, ContactPoint, fit_calibration
from thermview.radiometry.noise import NoiseReport
from thermview.radiometry.size import Spread
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer
from thermview.regions import Rectangle, Region
from thermview.session.profiles import keep_profile, kept_profile
from thermview.session.still import measure_still
from thermview.sources import OpenOptions
from thermview.ui import opening, optics
from thermview.ui.dialogs.camera import CameraDialog
from thermview.ui.dialogs.scene import SceneDialog
from thermview.ui.dialogs.shiny import ShinyDialog
from thermview.ui.guides.camera import CalibrationGuide, PalmGuide, WireGuide
from thermview.ui.optics import FINE, Optics
from thermview.ui.panels.region_settings import NOT_CHOSEN
from thermview.ui.picture.notices import kind_words
from thermview.ui.strip.content import gather
from thermview.ui.window import MainWindow

SCALE = Scale(0.01, 0.0)
ROWS, COLUMNS = 48, 64
ROOM_K = 296.15
SURFACE = Rectangle(4.0, 4.0, 10.0, 10.0)  # at 60 °C, looks like 50 °C
PATCH = Rectangle(18.0, 4.0, 10.0, 10.0)  # tape on it, emissivity .96
FOIL = Rectangle(32.0, 4.0, 10.0, 10.0)  # crumpled, mirrors 22 °C
EDGE_AT, EDGE_SIGMA = 50.0, 0.9  # a warm body's straight, slanted side, right of the rest


def scene_k() -> NDArray[np.float64]:
    """Return one picture of all that is measured, K, shape (row, column)."""
    kelvin = np.full((ROWS, COLUMNS), ROOM_K)
    patch = float(apparent_temperature(333.15, Setting(0.96, ROOM_K)))
    foil = float(apparent_temperature(ROOM_K, Setting(0.05, 295.15)))
    for box, value in ((SURFACE, 323.15), (PATCH, patch), (FOIL, foil)):
        left, top, right, bottom = (int(side) for side in box.bounds())
        kelvin[top:bottom, left:right] = value
    # nine points in every pixel: the pixel's own square over the Gaussian spread
    sub = (np.arange(9) + 0.5) / 9
    rows = (np.arange(20, ROWS)[:, None] + sub).ravel()
    columns = (np.arange(44, 58)[:, None] + sub).ravel()
    across = (columns[None, :] - EDGE_AT + 0.1 * (rows[:, None] - 34.0)) / math.hypot(1.0, 0.1)
    fine = ndtr(across / EDGE_SIGMA).reshape(ROWS - 20, 9, 14, 9).mean(axis=(1, 3))
    kelvin[20:, 44:58] = ROOM_K + 20.0 * fine
    return kelvin


def write(
    path: Path,
    pictures: Callable[[int], NDArray[np.float64]],
    frames: int = 40,
    profile: CameraProfile | None = None,
) -> Path:
    info = SourceInfo(
        "lab", "", COLUMNS, ROWS, SCALE, True, datetime(2026, 1, 1, tzinfo=UTC), camera="lab cam 7"
    )
    with Writer(path, info) as writer:
        if profile is not None:
            writer.set_profile(profile_text(profile))
        for number in range(frames):
            counts = np.rint(pictures(number) / SCALE.k_per_count).astype(np.uint16)
            writer.take(Frame(counts, number / 25, number, SCALE))
    return path


@pytest.fixture
def still_scene(tmp_path: Path) -> Path:
    kelvin, rng = scene_k(), np.random.default_rng(7)
    return write(tmp_path / "still.h5", lambda _: kelvin + rng.normal(0, 0.03, kelvin.shape))


@pytest.fixture
def opened(qtbot: QtBot, main_window: MainWindow, still_scene: Path) -> MainWindow:
    open_and_wait(qtbot, main_window, str(still_scene))
    qtbot.waitUntil(lambda: main_window.desk.optics.noise is not None)
    return main_window


def drag(window: MainWindow, box: Rectangle, inset: float = 1.0) -> None:
    """Draw a box with the mouse, a little inside of another."""
    QApplication.processEvents()  # a guide's line above the picture makes it smaller
    canvas = window.picture.canvas
    mapping = canvas.mapping
    assert mapping is not None
    left, top, right, bottom = box.bounds()
    ends = ((left + inset, top + inset), (right - inset, bottom - inset))
    first, last = (mapping.to_widget(*end) for end in ends)
    points = [QPoint(round(p.x()), round(p.y())) for p in (first, last)]
    QTest.mousePress(canvas, Qt.MouseButton.LeftButton, pos=points[0])
    QTest.mouseMove(canvas, (points[0] + points[1]) / 2)
    QTest.mouseMove(canvas, points[1])
    QTest.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=points[1])


def use(window: MainWindow, number: int = 0) -> None:
    """Press a button of the guide's answer."""
    found = window.guides.findChild(QPushButton, f"guideUse_{number}")
    assert isinstance(found, QPushButton), window.guides.result.text()
    QTest.mouseClick(found, Qt.MouseButton.LeftButton)


def select_surface(window: MainWindow) -> Region:
    region = window.desk.document.add(SURFACE, "U3")
    window.desk.select([region.id])
    return region


def now(window: MainWindow, region: Region) -> Region:
    return window.desk.document.current.by_id(region.id)


def measured(qtbot: QtBot, window: MainWindow) -> None:
    session = session_of(window)
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    window.desk.tick()
    window.readings.refresh()


# ---- emissivity ----------------------------------------------------------------------------


def test_emissivity_by_a_contact_thermometer(qtbot: QtBot, opened: MainWindow) -> None:
    """CHECKS 2: T_app 50, contact 60, T_refl 23 °C gives .70013."""
    region = select_surface(opened)
    opened.optics.contact()
    assert opened.guides.isVisible()
    opened.guides.fields["contact"].setValue(60.0)
    assert opened.guides.result.text().startswith("emissivity 0.70 ± 0.0")
    use(opened)
    assert not opened.guides.isVisible()
    found = now(opened, region)
    assert found.emissivity == pytest.approx(0.70013, abs=2e-3)
    assert found.emissivity_u is not None
    assert 0.005 < found.emissivity_u < 0.1
    assert "contact thermometer (60.0 °C)" in found.emissivity_from
    measured(qtbot, opened)
    assert opened.readings.card.now.text().startswith("60.")
    assert opened.readings.card.settings.emissivity.text() == "0.7"
    opened.desk.undo()
    assert now(opened, region).emissivity is None


def test_emissivity_by_a_patch_beside_it(opened: MainWindow) -> None:
    """The tape has .96 and the surface's own temperature: .70 again, by another way."""
    region = select_surface(opened)
    opened.optics.patch()
    assert opened.desk.selected == {region.id}
    assert "tape or paint" in opened.guides.step.text()
    drag(opened, PATCH)
    assert "emissivity 0.70" in opened.guides.result.text()
    opened.guides.fields["patch"].setValue(0.5)
    assert "emissivity 0.36" in opened.guides.result.text()  # in proportion to the patch's own
    opened.guides.fields["patch"].setValue(0.96)
    use(opened)
    found = now(opened, region)
    assert found.emissivity == pytest.approx(0.70, abs=5e-3)
    assert "patch" in found.emissivity_from
    assert [r.name for r in opened.desk.document.current.regions] == ["U3"]  # a box is no region


def test_a_cold_surface_gives_no_emissivity(opened: MainWindow) -> None:
    region = opened.desk.document.add(Rectangle(4.0, 30.0, 10.0, 10.0), "cold")
    opened.desk.select([region.id])
    opened.optics.contact()
    opened.guides.fields["contact"].setValue(23.2)
    assert "warm it and try again" in opened.guides.result.text()
    assert opened.guides.findChild(QPushButton, "guideUse_0") is None


def test_reflected_temperature_by_foil_for_the_scene_and_its_undo(opened: MainWindow) -> None:
    desk = opened.desk
    region = select_surface(opened)
    desk.document.configure(region.id, emissivity=0.7)
    opened.optics.foil()
    drag(opened, FOIL)
    assert "mirrored: 22.0 ±" in opened.guides.result.text()
    use(opened)
    scene = session_of(opened).scene
    assert scene.reflected_k == pytest.approx(295.15, abs=0.05)
    assert scene.reflected_u_k is not None
    assert scene.reflected_u_k > 0.3
    desk.document.rename(region.id, "Q1")
    desk.undo()  # the name
    assert session_of(opened).scene.reflected_k == pytest.approx(295.15, abs=0.05)
    desk.undo()  # the scene
    assert session_of(opened).scene.reflected_k is None
    desk.undo()  # the emissivity
    assert now(opened, region).emissivity is None
    for _ in range(2):
        desk.redo()
    assert now(opened, region).emissivity == pytest.approx(0.7)
    assert session_of(opened).scene.reflected_k == pytest.approx(295.15, abs=0.05)


def test_foil_for_one_region_only(opened: MainWindow) -> None:
    region = select_surface(opened)
    opened.optics.foil()
    drag(opened, FOIL)
    use(opened, 1)
    assert session_of(opened).scene.reflected_k is None
    assert now(opened, region).reflected_k == pytest.approx(295.15, abs=0.05)
    assert now(opened, region).reflected_u_k is not None


def test_escape_gives_a_measurement_up(opened: MainWindow) -> None:
    select_surface(opened)
    opened.optics.patch()
    QTest.keyClick(opened.picture.canvas, Qt.Key.Key_Escape)
    assert not opened.guides.isVisible()
    drag(opened, FOIL)
    assert len(opened.desk.document.current.regions) == 1


def test_escape_ends_a_measurement_without_boxes_and_keeps_the_selection(
    opened: MainWindow,
) -> None:
    region = select_surface(opened)
    opened.steps.choose("measure")
    assert opened.sheet.isVisible()
    opened.optics.contact()
    assert not opened.sheet.isVisible()  # there is not room for both at 800 px
    QTest.keyClick(opened.picture.canvas, Qt.Key.Key_Escape)
    assert not opened.guides.isVisible()
    assert opened.sheet.isVisible()
    assert opened.desk.selected == {region.id}


def test_a_measurement_needs_its_region(opened: MainWindow) -> None:
    opened.optics.contact()
    assert not opened.guides.isVisible()
    assert "select the region first" in opened.status.words.text()


def test_material_from_the_table_with_its_range_and_cautions(
    qtbot: QtBot, opened: MainWindow
) -> None:
    card = opened.readings.card
    region = select_surface(opened)
    box = card.settings.material
    assert box.itemText(0) == NOT_CHOSEN

    def choose(name: str) -> None:
        place = next(n for n in range(box.count()) if box.itemText(n).startswith(name))
        box.setCurrentIndex(place)
        box.activated.emit(place)
        measured(qtbot, opened)

    choose("solder mask")
    found = now(opened, region)
    assert found.emissivity == pytest.approx(0.90)
    assert found.emissivity_u == pytest.approx(0.05 / math.sqrt(3), abs=1e-3)
    assert "common practice" in box.toolTip()
    choose("lacquer")
    assert "the reading is the coat's" in card.remark.text()
    choose("tin or solder, bright")
    assert card.now.text() == "not readable"
    assert "not readable: uncertain by" in card.remark.text()
    assert "safe to touch" in card.remark.text()
    card.settings.emissivity.setText("0.9")
    card.settings.emissivity.editingFinished.emit()
    assert now(opened, region).emissivity_from == ""
    assert box.currentIndex() == 0
    measured(qtbot, opened)
    assert "Hot: " in card.remark.text()  # 53 ± 1.2 °C: 10 s of touch may burn


def test_changing_the_emissivity_changes_reading_past_curve_still_and_export(
    qtbot: QtBot, opened: MainWindow, tmp_path: Path
) -> None:
    region = select_surface(opened)
    measured(qtbot, opened)
    curve = session_of(opened).curves.column(region.id, "mean").copy()
    np.testing.assert_allclose(curve, 323.15, atol=0.02)
    before = opened.picture.still()
    settings = opened.readings.card.settings
    settings.emissivity.setText("0.70013")
    settings.emissivity.editingFinished.emit()
    measured(qtbot, opened)
    # CHECKS 2, backwards: 60 °C at emissivity .70013 looks like 50 °C, in every past frame
    curve = session_of(opened).curves.column(region.id, "mean")
    np.testing.assert_allclose(curve, 333.15, atol=0.05)
    assert opened.picture.still() != before
    table = opened.readings.model
    assert table.data(table.index(0, 2)).startswith("60.")
    out = tmp_path / "out.csv"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(out), "table (*.csv)"))
        opened.commands.save.export_curves()
    qtbot.waitUntil(lambda: opened.desk.task is None and out.exists())
    lines = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    heads, first = lines[0].split(","), lines[1].split(",")
    row = dict(zip(heads, map(float, first), strict=True))
    assert row["U3_mean_C"] == pytest.approx(60.0, abs=0.05)
    assert 1.0 < row["U3_mean_u_K"] < 3.0


def test_emissivity_typed_into_the_window_is_followed_by_reading_past_curve_and_report(
    qtbot: QtBot, opened: MainWindow, tmp_path: Path
) -> None:
    """CHECKS 2: what looks like 50 °C at emissivity .70013, T_refl 23 °C, is at 60 °C."""
    region = select_surface(opened)
    opened.desk.to_end()
    measured(qtbot, opened)
    session, table = session_of(opened), opened.readings.model

    def reported(name: str) -> str:
        """Write a report by the button of the last step and return the region's line."""
        out = tmp_path / name
        opened.steps.choose("write_down")
        pressed = opened.sheet.findChild(QPushButton, "stepAction_report")
        assert isinstance(pressed, QPushButton)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(out), "(*.html)"))
            QTest.mouseClick(pressed, Qt.MouseButton.LeftButton)
        qtbot.waitUntil(lambda: opened.desk.task is None and out.exists())
        (line,) = [part for part in out.read_text().split("<tr>") if part.startswith("<td>U3")]
        return line

    assert "<td>50." in reported("before.html")
    assert "apparent" in (tmp_path / "before.html").read_text()
    opened.activateWindow()
    field = opened.readings.card.settings.emissivity
    QTest.mouseClick(field, Qt.MouseButton.LeftButton)
    QTest.keyClick(field, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    QTest.keyClicks(field, "0.70013")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert now(opened, region).emissivity == pytest.approx(0.70013)
    measured(qtbot, opened)
    assert str(table.data(table.index(0, 2))).startswith("60.")
    past = session.curves.column(region.id, "mean")
    assert len(past) == 40
    np.testing.assert_allclose(past, 333.15, atol=0.05)
    after = reported("after.html")
    assert "<td>0.70013</td><td>60." in after
    assert "apparent" not in after
    opened.desk.undo()
    measured(qtbot, opened)
    np.testing.assert_allclose(session.curves.column(region.id, "mean"), 323.15, atol=0.02)
    assert "<td>50." in reported("undone.html")


def test_the_camera_s_response_is_read_from_a_table(
    qtbot: QtBot, opened: MainWindow, tmp_path: Path
) -> None:
    """A camera of 3 to 5 µm sees a surface of emissivity .7 at 50 °C apparent elsewhere than .7."""
    file = tmp_path / "response.csv"
    file.write_text("um,response\n3,0\n3.5,1\n4.5,1\n5,0\n")
    desk, session = opened.desk, session_of(opened)
    region = select_surface(opened)
    desk.document.configure(region.id, emissivity=0.7)
    dialog = SceneDialog(desk, session.scene, opened)
    dialog.show()
    pressed = dialog.findChild(QPushButton, "sceneResponse")
    assert isinstance(pressed, QPushButton)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(file), ""))
        QTest.mouseClick(pressed, Qt.MouseButton.LeftButton)
    assert dialog.band_words.text() == "by a curve of 4 points, 3 to 5 µm"
    assert not dialog.low.isEnabled()
    dialog._use()
    measured(qtbot, opened)
    curve = ResponseCurve((3.0, 3.5, 4.5, 5.0), (0.0, 1.0, 1.0, 0.0))
    expected_k = float(object_temperature(323.15, Setting(0.7, ROOM_K, band=curve)))
    assert abs(expected_k - 333.15) > 2.0  # of 8 to 14 µm
    found_k = session.curves.column(region.id, "mean")
    np.testing.assert_allclose(found_k, expected_k, atol=0.05)
    opened.desk.undo()
    measured(qtbot, opened)
    np.testing.assert_allclose(session.curves.column(region.id, "mean"), 333.15, atol=0.05)


def test_the_user_s_limit_decides_what_is_readable(qtbot: QtBot, opened: MainWindow) -> None:
    card, optics = opened.readings.card, opened.desk.optics
    region = select_surface(opened)
    opened.desk.document.configure(region.id, emissivity=0.3)
    measured(qtbot, opened)
    assert card.now.text() == "not readable"
    optics.set_limit(100.0)
    opened.readings.refresh()
    assert card.now.text() != "not readable"
    assert Optics(opened.desk).limit_k == 100.0  # kept with the window's settings
    label = opened.picture.canvas.grab()
    optics.set_limit(0.5)
    opened.readings.refresh()
    assert "the limit is 0.5 K" in card.remark.text()
    assert opened.picture.canvas.grab().toImage() != label.toImage()


# ---- shiny places --------------------------------------------------------------------------


@pytest.fixture
def waved(tmp_path: Path) -> Path:
    """A hand waved over an unpowered board with one mirror on it."""
    rng = np.random.default_rng(3)

    def picture(number: int) -> NDArray[np.float64]:
        kelvin = np.full((ROWS, COLUMNS), ROOM_K) + rng.normal(0, 0.03, (ROWS, COLUMNS))
        kelvin[10:20, 10:24] += 6.0 * max(0.0, math.sin(number / 8.0))
        return kelvin

    return write(tmp_path / "waved.h5", picture, 80)


def test_shiny_places_are_found_hatched_and_not_read(
    qtbot: QtBot, main_window: MainWindow, waved: Path
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(waved))
    mirror = desk.document.add(Rectangle(11.0, 11.0, 8.0, 8.0), "can")
    desk.document.add(Rectangle(40.0, 30.0, 8.0, 8.0), "dull")
    desk.to_end()
    main_window.optics.find_shiny()
    dialog = main_window.findChild(ShinyDialog)
    assert isinstance(dialog, ShinyDialog)
    plain = main_window.picture.canvas.grab().toImage()
    look = dialog.findChild(QPushButton, "shinyLook")
    assert isinstance(look, QPushButton)
    QTest.mouseClick(look, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: desk.optics.shiny is not None)
    found = session_of(main_window).shiny
    assert found is not None
    assert found.mask[10:20, 10:24].mean() > 0.95
    assert found.mask[26:, 30:].mean() < 0.01
    assert "changed while nothing was powered" in main_window.status.words.text()
    assert main_window.picture.canvas.grab().toImage() != plain
    main_window.activateWindow()
    qtbot.waitUntil(main_window.isActiveWindow)
    QTest.keyClick(main_window, Qt.Key.Key_E)
    assert not desk.optics.shiny_shown
    desk.select([mirror.id])
    measured(qtbot, main_window)
    model = main_window.readings.model
    assert model.data(model.index(0, 1)) == "not readable"  # heeded, hatched or not
    assert model.data(model.index(1, 1)) != "not readable"
    assert "shiny" in main_window.readings.card.remark.text()
    assert "safe to touch" in main_window.readings.card.remark.text()
    assert "shiny" in main_window.readings.trust.text()
    desk.optics.forget_shiny()
    main_window.readings.refresh()
    assert model.data(model.index(0, 1)) != "not readable"


def test_what_is_opened_next_does_not_wait_for_the_last_ones_noise(
    qtbot: QtBot, main_window: MainWindow, waved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with h5py.File(waved, "r+") as file:
        marks = file.create_group("entry/marks")
        marks["time"], marks["kind"], marks["text"] = [3.1], ["power on"], [""]
    release, asked = threading.Event(), list[int]()

    def slowly(footage: Footage, until_s: float) -> tuple[NoiseReport, NDArray[np.bool_]]:
        asked.append(1)
        if len(asked) == 1:
            release.wait(20)
        return measure_still(footage, until_s)

    monkeypatch.setattr(optics, "measure_still", slowly)
    open_and_wait(qtbot, main_window, str(waved))
    qtbot.waitUntil(lambda: len(asked) == 1)
    try:
        open_and_wait(qtbot, main_window, str(waved))
        qtbot.waitUntil(lambda: main_window.desk.optics.noise is not None)
    finally:
        release.set()


def test_what_passed_before_the_power_is_hatched_by_itself(
    qtbot: QtBot, main_window: MainWindow, waved: Path
) -> None:
    """The recording says when its power came; its shiny places are looked for unasked."""
    with h5py.File(waved, "r+") as file:
        marks = file.create_group("entry/marks")
        marks["time"], marks["kind"], marks["text"] = [3.1], ["power on"], [""]
    open_and_wait(qtbot, main_window, str(waved))
    desk = main_window.desk
    qtbot.waitUntil(lambda: desk.optics.shiny is not None)
    found = session_of(main_window).shiny
    assert found is not None
    assert found.mask[10:20, 10:24].mean() > 0.95
    desk.optics.forget_shiny()
    desk.tick()
    assert desk.optics.shiny is None
    open_and_wait(qtbot, main_window, str(waved))  # what was taken back stays so
    qtbot.waitUntil(lambda: desk.optics.noise is not None)
    qtbot.waitUntil(lambda: not desk._aside)
    assert desk.optics.shiny is None


def test_tips_tell_the_interval_and_what_few_frames_are_worth(
    qtbot: QtBot, opened: MainWindow
) -> None:
    """A rise rests on noise measured over few frames: Student's t, JCGM 100 G.3."""
    region = select_surface(opened)
    opened.desk.to_end()
    measured(qtbot, opened)
    judge, noise = opened.desk.optics.judge(), opened.desk.optics.noise
    assert noise is not None
    assert judge.netd_freedom == noise.frames - 2
    tip = opened.readings.card.rise_doubt.toolTip()
    found = re.search(r"95 %: (\S+) … (\S+) K \(factor (\S+), (\d+) degrees of freedom\)", tip)
    assert found is not None, tip
    low, high, factor, freedom = (float(part.replace("−", "-")) for part in found.groups())
    assert low < high
    assert factor == pytest.approx(float(t.ppf(0.975, freedom)), abs=0.01)
    assert noise.frames - 2 <= freedom < 100
    table = opened.readings.model
    row = table.data(table.index(0, 1), Qt.ItemDataRole.ToolTipRole)
    assert row.count("95 %: ") == 2
    assert "factor 1.96)" in row  # of the temperature: mostly the camera's own error
    assert region.id in opened.desk.selected


# ---- noise, averaging, bad pixels ----------------------------------------------------------------


def test_noise_of_the_still_frames_and_the_smallest_rise(qtbot: QtBot, opened: MainWindow) -> None:
    """30 mK of one pixel were put in: 3·√(30² + 30²/n) mK can be trusted.

    n, the frames of the zero, counts only as far as means were seen to fall with it.
    """
    noise = opened.desk.optics.noise
    assert noise is not None
    assert noise.netd_k == pytest.approx(0.030, rel=0.1)
    least_k = opened.desk.optics.smallest_rise_k()
    assert least_k == pytest.approx(0.09 * math.sqrt(1 + 1 / noise.knee_frames), rel=0.1)
    opened.desk.to_end()
    opened.optics._measure_noise()
    qtbot.waitUntil(lambda: opened.desk.optics.noise is not noise)
    least_k = opened.desk.optics.smallest_rise_k()
    assert "still frames, drift" in opened.status.words.text()
    opened.readings.refresh()
    assert "rises to trust: 0." in opened.readings.trust.text()
    QTest.keyClick(opened, Qt.Key.Key_U)
    assert opened.desk.optics.averaging
    again = opened.desk.optics.noise
    assert again is not None
    assert again.knee_frames == 4  # of 40 frames no longer means can be told
    averaged_k = opened.desk.optics.smallest_rise_k()
    assert averaged_k / least_k == pytest.approx(math.sqrt((1 / 4 + 1 / 4) / (1 + 1 / 4)), rel=0.1)


def test_averaging_calms_the_picture_and_leaves_readings_raw(
    qtbot: QtBot, opened: MainWindow
) -> None:
    desk = opened.desk
    region = select_surface(opened)
    measured(qtbot, opened)
    opened.picture.actions_by_name["average"].trigger()
    raw = []
    for number in range(desk.shown_number, 40):
        desk.seek(number)
        raw.append(desk.optics.pictured())
    last, shown = raw[-1], desk.shown
    assert last is not None
    assert shown is not None
    assert last.scale == FINE
    dull = (slice(30, 46), slice(4, 40))
    assert last.kelvin()[dull].std() < 0.45 * shown.kelvin()[dull].std()
    curve = session_of(opened).curves.column(region.id, "mean")
    assert np.ptp(curve) > 0  # of single frames still
    assert session_of(opened).footage.frame(39).scale == SCALE


def test_a_step_shows_at_once_in_the_averaged_picture(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    rng = np.random.default_rng(1)

    def picture(number: int) -> NDArray[np.float64]:
        kelvin = np.full((ROWS, COLUMNS), ROOM_K) + rng.normal(0, 0.03, (ROWS, COLUMNS))
        kelvin[10:30, 10:30] += 2.0 * (number >= 30)
        return kelvin

    path = write(tmp_path / "step.h5", picture)
    open_and_wait(qtbot, main_window, str(path))
    desk = main_window.desk
    desk.optics.set_averaging(True)
    for number in range(31):
        desk.seek(number)
    last = desk.optics.pictured()
    assert last is not None
    assert last.kelvin()[12:28, 12:28].mean() == pytest.approx(ROOM_K + 2.0, abs=0.02)


def test_bad_pixels_are_found_filled_and_left_in_recordings(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    rng = np.random.default_rng(5)

    def picture(_: int) -> NDArray[np.float64]:
        kelvin = np.full((ROWS, COLUMNS), ROOM_K) + rng.normal(0, 0.03, (ROWS, COLUMNS))
        kelvin[20, 30] = 330.0
        return kelvin

    path = write(tmp_path / "bad.h5", picture)
    open_and_wait(qtbot, main_window, str(path))
    desk = main_window.desk
    qtbot.waitUntil(lambda: not desk.optics.noise_busy)
    desk.to_end()
    main_window.optics.camera()
    dialog = main_window.findChild(CameraDialog)
    assert isinstance(dialog, CameraDialog)
    find = dialog.findChild(QPushButton, "pixelsAct")
    assert isinstance(find, QPushButton)
    find.click()
    qtbot.waitUntil(lambda: bool(desk.optics.profile.bad_pixels))
    assert 20 * COLUMNS + 30 in desk.optics.profile.bad_pixels
    assert len(desk.optics.profile.bad_pixels) < 5
    pictured, shown = desk.optics.pictured(), desk.shown
    assert pictured is not None
    assert shown is not None
    assert pictured.kelvin()[20, 30] < 300.0
    assert shown.kelvin()[20, 30] == pytest.approx(330.0)
    region = desk.document.add(Rectangle(25.0, 15.0, 10.0, 10.0))
    measured(qtbot, main_window)
    assert session_of(main_window).curves.column(region.id, "max").max() < 300.0
    dialog.fill.setChecked(False)
    measured(qtbot, main_window)
    assert session_of(main_window).curves.column(region.id, "max").max() > 329.0
    dialog.close()


# ---- the camera's profile ------------------------------------------------------------------


def test_calibration_by_contact_readings_is_kept_for_the_camera(
    qtbot: QtBot, opened: MainWindow
) -> None:
    """The camera reads tape at 60 °C (looks like 58.6) as it is; the thermometer says 58.0."""
    desk = opened.desk
    opened.optics.camera()
    dialog = opened.findChild(CameraDialog)
    assert isinstance(dialog, CameraDialog)
    dialog.tabs.setCurrentIndex(1)
    add = dialog.findChild(QPushButton, "addReading")
    assert isinstance(add, QPushButton)
    add.click()
    assert isinstance(opened.guides.guide, CalibrationGuide)
    drag(opened, PATCH)
    opened.guides.fields["contact"].setValue(58.0)
    assert "too high here" in opened.guides.result.text()
    use(opened)
    calibration = desk.optics.profile.calibration
    assert calibration is not None
    assert calibration.kind is CalibrationKind.OFFSET
    look = Rectangle(19.0, 5.0, 8.0, 8.0)
    region = desk.document.add(look, "tape")
    desk.document.configure(region.id, emissivity=0.96)
    measured(qtbot, opened)
    curve = session_of(opened).curves.column(region.id, "mean")
    np.testing.assert_allclose(curve, 331.15, atol=0.05)  # 58 °C now, in every frame
    add.click()
    drag(opened, Rectangle(4.0, 30.0, 10.0, 10.0))
    opened.guides.fields["contact"].setValue(22.5)
    use(opened)
    calibration = desk.optics.profile.calibration
    assert calibration is not None
    assert calibration.kind is CalibrationKind.LINEAR
    assert dialog.plot.isVisible()
    assert "a line" in dialog.fit_words.text()
    kept = kept_profile(session_of(opened).info)
    assert kept is not None
    assert kept.calibration == calibration
    dialog._remove_reading(0)
    assert desk.optics.profile.calibration is not None
    assert len(desk.optics.profile.calibration.points) == 1
    dialog.close()


def test_undo_takes_a_contact_reading_back_where_it_is_kept_too(opened: MainWindow) -> None:
    desk, info = opened.desk, session_of(opened).info
    for contact_c, box in ((58.0, PATCH), (22.5, Rectangle(4.0, 30.0, 10.0, 10.0))):
        opened.guides.begin(CalibrationGuide(desk))
        drag(opened, box)
        opened.guides.fields["contact"].setValue(contact_c)
        use(opened)
    assert "undo takes it back" in opened.status.words.text()

    def points() -> tuple[int, int]:
        kept = kept_profile(info)
        known = [p.calibration for p in (desk.optics.profile, kept) if p is not None]
        return tuple(0 if c is None else len(c.points) for c in known)  # type: ignore[return-value]

    assert points() == (2, 2)
    undo = opened.actions_["undo"]
    undo.trigger()
    assert points() == (1, 1)
    region = select_surface(opened)
    undo.trigger()  # the region goes first: it came last
    assert region.id not in {r.id for r in desk.document.current.regions}
    undo.trigger()
    assert points() == (0, 0)
    desk.redo()
    assert points() == (1, 1)


def test_a_box_on_two_surfaces_is_refused(opened: MainWindow) -> None:
    beside = Rectangle(PATCH.x - 5.0, PATCH.y, PATCH.width, PATCH.height)
    opened.guides.begin(CalibrationGuide(opened.desk))
    drag(opened, beside)
    opened.guides.fields["contact"].setValue(58.0)
    assert opened.guides.result.text().startswith("not even: it scatters by")
    assert opened.guides.findChild(QPushButton, "guideUse_0") is None
    drag(opened, PATCH)  # anew
    assert "too high here" in opened.guides.result.text()
    select_surface(opened)
    opened.optics.patch()
    drag(opened, beside)
    assert opened.guides.result.text().startswith("not even")


def test_spread_on_a_hot_wire_of_known_width(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """A slanted wire of 1.4 px over the same Gaussian spread as the edge's, and pixels' squares."""
    sub = (np.arange(9) + 0.5) / 9
    rows = (np.arange(ROWS)[:, None] + sub).ravel()
    columns = (np.arange(COLUMNS)[:, None] + sub).ravel()
    across = (columns[None, :] - 30.0 + 0.12 * (rows[:, None] - 24.0)) / math.hypot(1.0, 0.12)
    wire = ndtr((across + 0.7) / EDGE_SIGMA) - ndtr((across - 0.7) / EDGE_SIGMA)
    kelvin = ROOM_K + 30.0 * wire.reshape(ROWS, 9, COLUMNS, 9).mean(axis=(1, 3))
    rng = np.random.default_rng(4)
    path = write(tmp_path / "wire.h5", lambda _: kelvin + rng.normal(0, 0.03, kelvin.shape))
    open_and_wait(qtbot, main_window, str(path))
    main_window.guides.begin(WireGuide(main_window.desk))
    drag(main_window, Rectangle(18.0, 12.0, 24.0, 24.0))
    assert "type: width of the wire" in main_window.guides.result.text()
    main_window.guides.fields["width"].setValue(1.4)
    assert "a point spreads over 0.9" in main_window.guides.result.text()
    use(main_window)
    spread = main_window.desk.optics.profile.spread
    assert spread is not None
    assert spread.sigma_px == pytest.approx(EDGE_SIGMA, abs=0.03)


def test_a_palm_that_looks_wrong_is_no_good_news(opened: MainWindow) -> None:
    opened.guides.begin(PalmGuide(lambda _: None))
    drag(opened, Rectangle(4.0, 30.0, 10.0, 10.0))  # the room
    assert "wrong scale, cold hands" in opened.guides.result.text()
    assert opened.guides.result.property("tone") == "warning"


def test_step_and_fields_share_the_room_of_a_small_window(opened: MainWindow) -> None:
    """Both at once would push the strip's controls off a screen of 800 px."""
    opened.resize(1280, 780)
    select_surface(opened)
    opened.readings.settings.setChecked(True)
    opened.steps.choose("measure")
    assert opened.sheet.isVisible()
    assert not opened.readings.settings.isChecked()
    opened.readings.settings.setChecked(True)
    assert not opened.sheet.isVisible()
    QApplication.processEvents()
    assert opened.height() <= 780


def test_a_thermometer_s_reading_must_be_typed(opened: MainWindow) -> None:
    """What stands in the field first is no reading; Enter says that it happens to be right."""
    select_surface(opened)
    opened.optics.contact()
    assert "type: the thermometer reads" in opened.guides.result.text()
    assert opened.guides.findChild(QPushButton, "guideUse_0") is None
    field = opened.guides.fields["contact"]
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert opened.guides.result.text().startswith("emissivity 1.00")
    opened.guides.begin(CalibrationGuide(opened.desk))
    drag(opened, PATCH)
    assert "type: the thermometer" in opened.guides.result.text()


def test_what_the_camera_corrects_itself_is_undone_first(qtbot: QtBot, opened: MainWindow) -> None:
    desk = opened.desk
    opened.optics.camera()
    dialog = opened.findChild(CameraDialog)
    assert isinstance(dialog, CameraDialog)
    assert "corrects nothing itself" in dialog.applied.text()
    dialog.inside.click()
    assert "applies emissivity 0.95 itself" in dialog.applied.text()
    assert desk.optics.profile.applied is not None
    region = select_surface(opened)
    measured(qtbot, opened)
    curve = session_of(opened).curves.column(region.id, "mean")
    expected = float(apparent_temperature(323.15, Setting(0.95, ROOM_K)))
    np.testing.assert_allclose(curve, expected, atol=0.02)
    dialog.close()


def test_spread_on_an_edge_and_small_parts(qtbot: QtBot, opened: MainWindow) -> None:
    """A spread of 0.9 px is found; a part as small as it is refused, a larger one corrected."""
    desk, card = opened.desk, opened.readings.card
    opened.optics.camera()
    dialog = opened.findChild(CameraDialog)
    assert isinstance(dialog, CameraDialog)
    edge = dialog.findChild(QPushButton, "checkAct_2")
    assert isinstance(edge, QPushButton)
    edge.click()
    drag(opened, Rectangle(44.0, 24.0, 13.0, 18.0), inset=0.2)
    assert "a point spreads over 0.9" in opened.guides.result.text()
    use(opened)
    spread = desk.optics.profile.spread
    assert spread is not None
    assert spread.sigma_px == pytest.approx(EDGE_SIGMA, abs=0.05)
    assert "✓" in dialog._checks[2][0].text()
    dialog.close()
    region = select_surface(opened)
    desk.document.configure(region.id, emissivity=0.95)
    desk.display.set_mm_per_px(0.5)
    card.settings.body.setText("0.2 x 0.2")
    card.settings.body.editingFinished.emit()
    measured(qtbot, opened)
    assert card.rise.text() == "not readable"
    assert "too small, reads low" in card.remark.text()
    card.settings.body.setText("1.5 x 1.5")
    card.settings.body.editingFinished.emit()
    measured(qtbot, opened)
    assert now(opened, region).body_mm == (1.5, 1.5)
    assert "corrected for its size" in card.remark.text()
    assert float(card.now.text().split()[0]) > 53.0  # more than it looks like
    card.settings.body.setText("x")
    card.settings.body.editingFinished.emit()
    assert "not a number" in opened.status.words.text()


def test_the_one_minute_check_asks_four_questions(qtbot: QtBot, opened: MainWindow) -> None:
    opened.desk.to_end()
    opened.optics.camera()
    dialog = opened.findChild(CameraDialog)
    assert isinstance(dialog, CameraDialog)
    signs = [sign.text() for sign, _, _ in dialog._checks]
    assert signs == ["✓", "✓", "?", "?"]
    palm = dialog.findChild(QPushButton, "checkAct_3")
    assert isinstance(palm, QPushButton)
    palm.click()
    drag(opened, PATCH)
    assert "wrong scale, cold hands" in opened.guides.result.text()  # 58 °C is no palm
    use(opened)
    assert dialog._checks[3][0].text() == "✗"
    dialog.close()


def test_profile_in_a_recording_is_applied_when_it_is_opened(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    applied = Setting(emissivity=0.95, reflected_k=ROOM_K)
    profile = CameraProfile("lab cam 7", applied=applied, spread=Spread(0.8, 0.05))
    path = write(tmp_path / "kept.h5", lambda _: np.full((ROWS, COLUMNS), 323.15), profile=profile)
    open_and_wait(qtbot, main_window, str(path))
    desk = main_window.desk
    assert desk.optics.profile == profile
    shown = desk.shown
    assert shown is not None
    seen = float(desk.display.kelvin_of(shown.counts[:1, 0], shown.scale)[0])
    assert seen == pytest.approx(float(apparent_temperature(323.15, applied)), abs=0.01)
    footage = open_recording(path)
    assert footage.profile_json is not None
    assert profile_of(footage.profile_json, "") == profile
    assert footage.frame(0).kelvin()[0, 0] == pytest.approx(323.15)
    footage.close()


def test_apparent_is_said_until_an_emissivity_is_stated(opened: MainWindow) -> None:
    region = select_surface(opened)
    assert "apparent" in kind_words(opened.desk)
    opened.desk.document.configure(region.id, emissivity=0.9)
    assert "apparent" not in kind_words(opened.desk)
    spot = opened.picture.canvas
    mapping = spot.mapping
    assert mapping is not None
    spot._cursor = QPointF(mapping.to_widget(20.5, 8.5))
    assert "± 1.2 °C" in spot._readout()


def test_the_strip_tells_no_number_of_what_is_not_readable(
    qtbot: QtBot, opened: MainWindow
) -> None:
    region = select_surface(opened)
    opened.desk.document.add(Rectangle(4.0, 30.0, 10.0, 10.0), "dull")
    opened.desk.document.configure(region.id, emissivity=0.1)
    measured(qtbot, opened)
    readable = {curve.name: curve.readable for curve in gather(opened.desk).curves if curve.id}
    assert readable == {"U3": False, "dull": True}
    before = opened.strip.grab().toImage()
    opened.desk.optics.set_limit(1000.0)
    opened.desk.curves_changed.emit()
    qtbot.waitUntil(lambda: opened.strip.grab().toImage() != before)


def test_a_camera_s_kept_profile_is_applied_live_and_written_into_recordings(
    qtbot: QtBot, main_window: MainWindow, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The scripted camera reads 298.15 K and more; its profile says that this is 1.5 K too high."""
    source = ScriptedSource()

    def open_it(address: str, options: OpenOptions | None = None) -> FrameSource:
        return source

    monkeypatch.setattr(opening, "open_source", open_it)
    profile = CameraProfile(calibration=fit_calibration([ContactPoint(301.5, 300.0)]))
    keep_profile(source.info, profile)
    source.give(5)
    open_and_wait(qtbot, main_window, "camera:9")
    session = session_of(main_window)
    assert session.profile is not None
    assert session.profile.calibration == profile.calibration
    region = main_window.desk.document.add(Rectangle(5.0, 5.0, 8.0, 8.0))
    path = tmp_path / "live.h5"
    session.start_recording(path)
    source.give(10)
    qtbot.waitUntil(lambda: len(session.footage) == 15)
    session.stop_recording()
    measured(qtbot, main_window)
    curve = session.curves.column(region.id, "mean")
    np.testing.assert_allclose(curve, 296.65 + 0.01 * (np.arange(15) % 7), atol=2e-3)
    footage = open_recording(path)
    assert footage.profile_json is not None
    assert profile_of(footage.profile_json, "").calibration == profile.calibration
    assert footage.frame(0).kelvin().min() >= 298.15
    footage.close()
