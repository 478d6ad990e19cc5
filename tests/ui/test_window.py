"""The whole window over the real rooms, driven as a user drives it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog, QLabel, QPushButton
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of, write_warming

from thermview.frames import MarkKind
from thermview.regions import Rectangle, load_regions, save_regions
from thermview.session.triggers import TriggerRule, parse_trigger
from thermview.ui.opening import memory_of
from thermview.ui.panels.readings_table import NOW, RISE
from thermview.ui.panels.steps import STEPS
from thermview.ui.picture import ToolKind
from thermview.ui.window import MainWindow

SQUARE = Rectangle(40.0, 20.0, 8.0, 8.0)


@pytest.fixture
def warming(tmp_path: Path) -> Path:
    path = tmp_path / "warming.h5"
    write_warming(path)
    return path


def measured(qtbot: QtBot, window: MainWindow) -> None:
    """Wait until the background measuring rests."""
    session = window.desk.session
    assert session is not None
    qtbot.waitUntil(lambda: session.wait_measured(0.0))
    window.desk.tick()
    window.readings.refresh()


def drag(
    qtbot: QtBot, window: MainWindow, start: tuple[float, float], end: tuple[float, float]
) -> None:
    canvas = window.picture.canvas
    mapping = canvas.mapping
    assert mapping is not None
    first, last = (mapping.to_widget(*p) for p in (start, end))
    points = [QPoint(round(p.x()), round(p.y())) for p in (first, last)]
    QTest.mousePress(canvas, Qt.MouseButton.LeftButton, pos=points[0])
    QTest.mouseMove(canvas, (points[0] + points[1]) / 2)
    QTest.mouseMove(canvas, points[1])
    QTest.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=points[1])


def test_from_the_empty_window_to_the_exported_curve(
    qtbot: QtBot, main_window: MainWindow, warming: Path, tmp_path: Path
) -> None:
    """Open, draw, see the curve, let a trigger mark, scrub back, export."""
    desk = main_window.desk
    assert main_window.pages.currentIndex() == 0
    open_and_wait(qtbot, main_window, str(warming))
    assert main_window.pages.currentIndex() == 1
    assert "a square that warms" in main_window.windowTitle()

    main_window.picture.choose_tool(ToolKind.RECTANGLE)
    drag(qtbot, main_window, (40.2, 20.2), (47.8, 27.8))
    (region,) = desk.document.current.regions
    measured(qtbot, main_window)
    assert desk.session is not None
    curve = desk.session.curves.column(region.id, "max")
    # what the file holds: 25 °C, and from 1 s on 10 K a second more
    times = np.arange(60) / 25.0
    expected_k = 298.15 + np.clip(times - 1.0, 0.0, None) * 10.0
    np.testing.assert_allclose(curve, expected_k, atol=0.006)

    desk.set_triggers((parse_trigger(f"{region.name} max above 30 C"),))
    measured(qtbot, main_window)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: any(m.kind is MarkKind.TRIGGER for m in session.marks))
    mark = next(m for m in session.marks if m.kind is MarkKind.TRIGGER)
    assert mark.time_s == pytest.approx(1.52)  # the first frame above 30 °C: 1.5 s is not above

    desk.seek(0)
    desk.next_mark(1)
    assert desk.now_s == pytest.approx(1.0 - 0.04, abs=0.05)  # the zero, taken at the quiet start
    desk.next_mark(1)
    assert desk.now_s == pytest.approx(1.52)
    main_window.readings.refresh()
    assert main_window.readings.model.data(main_window.readings.model.index(0, 2)) == "30.2 ± 1.2"

    out = tmp_path / "out.csv"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(out), "table (*.csv)"))
        main_window.commands.save.export_curves()
    qtbot.waitUntil(lambda: desk.task is None and out.exists())
    rows = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    name = region.name
    assert rows[0] == (
        f"time_s,frame,{name}_min_C,{name}_mean_C,{name}_max_C,"
        f"{name}_min_u_K,{name}_mean_u_K,{name}_max_u_K"
    )
    table = np.array([row.split(",") for row in rows[1:]], dtype=float)
    np.testing.assert_allclose(table[:, 4], expected_k - 273.15, atol=0.006)

    regions = tmp_path / "r.json"
    save_regions(regions, desk.document.current)
    command = [sys.executable, "-m", "thermview", "curve", str(warming), "--regions", str(regions)]
    command.append("--uncertainty")
    told = subprocess.run(command, capture_output=True, check=True)
    assert told.stdout == out.read_bytes()  # the window and the command say the same, to the byte


def test_another_programs_recording(qtbot: QtBot, main_window: MainWindow, samples: Path) -> None:
    """The part that its placement list names is the one that was shorted: at once by its rise."""
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(samples / "ramp-strong.h5"))
    assert desk.session is not None
    assert desk.board is not None
    desk.to_end()
    panel = main_window.findings
    panel.refresh()
    assert panel.rises[0].name == "C8"  # truth.json beside the recording
    assert "not yet proof" in panel.note.text().lower()
    qtbot.waitUntil(lambda: bool(panel.rows))  # and then by its heat
    assert panel.rows[0].name == "C8"
    assert "proof" not in panel.note.text()


def test_each_bench_action_has_a_key_of_its_own(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(warming))
    canvas = main_window.picture.canvas
    canvas.setFocus()
    desk.seek(30)
    for key in (Qt.Key.Key_M, Qt.Key.Key_P, Qt.Key.Key_F, Qt.Key.Key_G, Qt.Key.Key_O):
        QTest.keyClick(canvas, key)
    assert desk.session is not None
    made = {m.kind for m in desk.session.marks if m.time_s == pytest.approx(1.2)}
    assert made == {
        MarkKind.PLAIN,
        MarkKind.POWER_ON,
        MarkKind.FAULT_APPEARS,
        MarkKind.FAULT_GONE,
        MarkKind.POWER_OFF,
    }
    QTest.keyClick(canvas, Qt.Key.Key_Period)
    assert desk.shown_number == 31
    QTest.keyClick(canvas, Qt.Key.Key_Comma)
    assert desk.shown_number == 30
    QTest.keyClick(canvas, Qt.Key.Key_Z)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: (session.baseline or (0, 0))[1] == pytest.approx(1.2))
    QTest.keyClick(canvas, Qt.Key.Key_Space)
    assert desk.player.playing
    QTest.keyClick(canvas, Qt.Key.Key_X)
    assert not desk.player.playing


def test_readings_say_what_the_numbers_are(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    desk, card = main_window.desk, main_window.readings.card
    open_and_wait(qtbot, main_window, str(warming))
    region = desk.document.add(SQUARE, "U3")
    desk.select([region.id])
    measured(qtbot, main_window)
    desk.seek(50)  # 2 s: 35 °C
    main_window.readings.refresh()
    assert card.now.text() == "35.0 ± 1.2 °C"  # of a camera stated to ± 2 K: 2/√3
    assert "apparent" in card.kind.text()
    assert card.rise.fontMetrics().height() >= 32
    assert card.rise.text().startswith("+10.")
    assert card.rise_doubt.text() == "± 0.11"  # 1 % of 10 K and noise
    assert card.rate.text().startswith("↗")
    table = main_window.readings.table
    assert "+10." in table.model().index(0, RISE).data()
    for position in (RISE, NOW):  # no digit of a number is cut
        index = table.model().index(0, position)
        assert table.sizeHintForIndex(index).width() <= table.columnWidth(position)
    desk.document.configure(region.id, emissivity=0.9)
    measured(qtbot, main_window)
    assert "apparent" not in card.kind.text()
    assert (
        float(card.now.text().split()[0]) > 35.0
    )  # with less than a black body's glow it is hotter
    desk.document.configure(region.id, emissivity=None, limit_k=273.15 + 30)
    measured(qtbot, main_window)
    assert "above its limit of 30.0 °C" in card.remark.text()
    assert main_window.readings.model.data(main_window.readings.model.index(0, 2)) == (
        "▲ 35.0 ± 1.2"
    )


def test_settings_of_the_selected_region(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    desk, card = main_window.desk, main_window.readings.card.settings
    open_and_wait(qtbot, main_window, str(warming))
    region = desk.document.add(SQUARE)
    desk.select([region.id])
    card.emissivity.setText("0,95")
    card.emissivity.editingFinished.emit()
    card.limit.setText("60")
    card.limit.editingFinished.emit()
    now = desk.document.current.by_id(region.id)
    assert now.emissivity == pytest.approx(0.95)
    assert now.limit_k == pytest.approx(333.15)
    card.emissivity.setText("1.5")
    card.emissivity.editingFinished.emit()
    assert desk.document.current.by_id(region.id).emissivity == pytest.approx(0.95)
    assert "emissivity" in main_window.status.words.text()
    desk.undo()
    assert desk.document.current.by_id(region.id).limit_k is None


def test_renaming_in_the_list_and_the_triggers_follow(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    desk, model = main_window.desk, main_window.readings.model
    open_and_wait(qtbot, main_window, str(warming))
    desk.document.add(SQUARE, "U3")
    desk.document.add(SQUARE.moved(-20.0, 0.0), "U4")
    desk.set_triggers((TriggerRule("U3", 333.15),))
    assert model.setData(model.index(0, 0), "Q7")
    assert [rule.region for rule in desk.triggers] == ["Q7"]
    assert not model.setData(model.index(0, 0), "U4")
    assert "taken" in main_window.status.words.text()


def test_difference_and_copies(qtbot: QtBot, main_window: MainWindow, warming: Path) -> None:
    desk, edits = main_window.desk, main_window.commands.edits
    open_and_wait(qtbot, main_window, str(warming))
    hot = desk.document.add(SQUARE, "hot")
    desk.select([hot.id])
    edits.mirror_x()
    cold = desk.document.current.by_id(next(iter(desk.selected)))
    assert cold.shape == Rectangle(16.0, 20.0, 8.0, 8.0)  # about x = 32, the picture's middle
    desk.select([hot.id, cold.id])
    edits.difference()
    measured(qtbot, main_window)
    desk.seek(50)
    main_window.readings.refresh()
    model = main_window.readings.model
    assert model.data(model.index(2, 1)).startswith("+10.")  # 35 °C less 25 °C
    desk.undo()
    assert not desk.document.current.differences


def test_selection_is_one_everywhere(qtbot: QtBot, main_window: MainWindow, warming: Path) -> None:
    desk, table = main_window.desk, main_window.readings.table
    open_and_wait(qtbot, main_window, str(warming))
    first = desk.document.add(SQUARE)
    second = desk.document.add(SQUARE.moved(-20.0, 0.0))
    table.selectRow(1)
    assert desk.selected == {second.id}
    desk.select([first.id])
    assert [i.row() for i in table.selectionModel().selectedRows()] == [0]
    with qtbot.waitSignal(desk.flown_to) as flown:
        desk.select([second.id], fly=True)
    assert flown.args == [24.0, 24.0]


def test_what_was_drawn_is_there_again(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(warming))
    desk.document.add(SQUARE, "U3")
    rule = parse_trigger("U3 max above 60 C for 0.5 s")
    desk.set_triggers((rule,))
    desk.close_session()
    assert main_window.pages.currentIndex() == 0
    assert desk.document.current.regions == ()
    assert load_regions(memory_of(str(warming))).by_name("U3").shape == SQUARE
    open_and_wait(qtbot, main_window, str(warming))
    assert desk.document.current.by_name("U3").shape == SQUARE
    assert desk.triggers == (rule,)
    assert str(warming) in desk.settings.recent()


@pytest.mark.parametrize(
    ("name", "content"),
    [("missing.h5", None), ("empty.h5", b""), ("text.h5", b"not HDF5 at all"), ("a.bin", b"x")],
)
def test_what_cannot_be_opened_is_said_in_the_window(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path, name: str, content: bytes | None
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    main_window.desk.open(str(path))
    qtbot.waitUntil(lambda: main_window.desk.task is None)
    words = main_window.status.words.text()
    assert words.startswith("▲")
    assert name in words
    assert main_window.pages.currentIndex() == 0
    assert main_window.isVisible()


def test_a_dropped_file_opens(qtbot: QtBot, main_window: MainWindow, warming: Path) -> None:
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(warming))])
    drop = QDropEvent(
        QPointF(50, 50),
        Qt.DropAction.CopyAction,
        mime,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    main_window.dropEvent(drop)
    qtbot.waitUntil(lambda: main_window.desk.shown is not None)


def test_opening_can_be_cancelled(qtbot: QtBot, main_window: MainWindow, warming: Path) -> None:
    task = main_window.desk.open(str(warming))
    assert task is not None
    assert main_window.status.cancel.isVisible()
    main_window.status.cancel.click()
    qtbot.waitUntil(lambda: main_window.desk.task is None)
    assert main_window.desk.session is None
    assert "cancelled" in main_window.status.words.text()


def test_steps_show_needs_and_cautions_and_force_nothing(main_window: MainWindow) -> None:
    titles = [
        b.text()
        for b in main_window.steps.findChildren(QPushButton)
        if b.objectName().startswith("step_")
    ]
    assert titles == ["look", "measure", "power up", "compare", "write down"]
    main_window.steps.choose("power_up")
    assert main_window.sheet.isVisible()
    caution = main_window.sheet.caution.text()
    assert "Local codes" in caution
    assert "licensed" in caution
    main_window.steps.choose("")
    assert not main_window.sheet.isVisible()


@pytest.mark.parametrize("step", [""] + [step.name for step in STEPS])
def test_every_step_fits_a_small_screen(
    qtbot: QtBot, main_window: MainWindow, warming: Path, step: str
) -> None:
    """1366 x 768, less a title bar and a task bar of some 28 px each (common, no source)."""
    open_and_wait(qtbot, main_window, str(warming))
    main_window.steps.choose(step)
    qtbot.wait(50)
    least = main_window.minimumSizeHint()
    assert least.width() <= 1366
    assert least.height() <= 768 - 56


def test_splitters_and_theme_are_remembered(qtbot: QtBot, main_window: MainWindow) -> None:
    main_window.commands.set_theme("light")
    try:
        main_window.commands.set_unit(main_window.desk.display.unit.FAHRENHEIT)
        assert main_window.desk.settings.get("theme", "") == "light"
        assert main_window.desk.settings.get("unit", "") == "F"
    finally:
        main_window.commands.set_theme("dark")


def test_without_sound_the_tone_says_so(
    qtbot: QtBot, main_window: MainWindow, warming: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "PySide6.QtMultimedia", None)  # as where it is not installed
    open_and_wait(qtbot, main_window, str(warming))
    region = main_window.desk.document.add(SQUARE)
    main_window.tone.toggle()
    assert "select the region" in main_window.status.words.text()
    main_window.desk.select([region.id])
    main_window.tone.toggle()
    assert "no tone" in main_window.status.words.text()
    assert not main_window.tone.on


def test_space_presses_a_button_that_was_tabbed_to_and_else_plays(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    open_and_wait(qtbot, main_window, str(warming))
    step = main_window.findChild(QPushButton, "step_measure")
    assert isinstance(step, QPushButton)
    step.setFocus(Qt.FocusReason.TabFocusReason)
    QTest.keyClick(step, Qt.Key.Key_Space)
    assert step.isChecked()
    assert not main_window.desk.player.playing
    QTest.mouseClick(step, Qt.MouseButton.LeftButton)
    main_window.picture.canvas.setFocus()
    QTest.keyClick(main_window.picture.canvas, Qt.Key.Key_Space)
    assert main_window.desk.player.playing


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGTERM")
def listens_to_terminate(process: int) -> bool:
    """Tell whether a process has a handler for SIGTERM: the window's last step of starting."""
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        time.sleep(5.0)  # no such sign on this system
        return True
    (caught,) = (line for line in status.read_text().splitlines() if line.startswith("SigCgt:"))
    return bool(int(caught.split()[1], 16) >> (signal.SIGTERM - 1) & 1)


def test_the_program_starts_says_what_is_missing_and_ends_when_told(tmp_path: Path) -> None:
    missing = tmp_path / "missing.h5"
    command = [sys.executable, "-m", "thermview", str(missing), "--theme", "light"]
    quiet = os.environ | {"QT_QPA_PLATFORM": "offscreen"}
    with subprocess.Popen(command, env=quiet, stderr=subprocess.PIPE) as program:
        deadline = time.monotonic() + 60.0
        while not listens_to_terminate(program.pid) and time.monotonic() < deadline:
            time.sleep(0.2)
        time.sleep(0.5)
        assert program.poll() is None  # it stays open
        program.terminate()
        assert program.wait(10.0) == 0
        assert program.stderr is not None
        errors = program.stderr.read().decode()
    assert "Traceback" not in errors


def test_the_open_menu_offers_inputs_and_what_was_open_last(
    qtbot: QtBot, main_window: MainWindow, warming: Path
) -> None:
    open_and_wait(qtbot, main_window, str(warming))
    main_window.commands.files.fill_open_menu(main_window.open_menu)
    words = [action.text() for action in main_window.open_menu.actions()]
    assert "camera or simulated board …" in words
    assert "warming.h5" in words
    main_window.open_menu.actions()[words.index("start page")].trigger()
    assert main_window.pages.currentIndex() == 0
    page = main_window.start_page

    def all_are_offered() -> None:
        offered = {made.property("address") for made in page.findChildren(QPushButton)}
        shown = [made.text() for made in page.findChildren(QLabel)]
        assert {str(warming), "simulated:short"} <= offered, (offered, shown)

    qtbot.waitUntil(all_are_offered)
