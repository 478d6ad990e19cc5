"""Live sources in the window: a scripted camera, and the simulated board."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
from PySide6.QtWidgets import QMessageBox
from pytestqt.qtbot import QtBot
from window_kit import ScriptedSource, open_and_wait, session_of

from thermview.analysis.heat.locate import Located
from thermview.analysis.wanted import still_wanted
from thermview.errors import DeviceError
from thermview.frames import FrameSource, MarkKind
from thermview.paths import sample_recordings
from thermview.recording.reader import open_recording
from thermview.regions import Rectangle
from thermview.session.states import SessionState
from thermview.session.triggers import parse_trigger
from thermview.sources import OpenOptions
from thermview.ui import finding, opening
from thermview.ui.window import MainWindow


@pytest.fixture
def cameras(monkeypatch: pytest.MonkeyPatch) -> list[ScriptedSource]:
    """Let every `camera:…` be a scripted one; return those opened, newest last."""
    made: list[ScriptedSource] = []

    def open_scripted(address: str, options: OpenOptions | None = None) -> FrameSource:
        made.append(ScriptedSource())
        made[-1].give(30)
        return made[-1]

    def reopener(_: FrameSource, address: str, options: OpenOptions) -> Callable[[], FrameSource]:
        return lambda: open_scripted(address, options)

    monkeypatch.setattr(opening, "open_source", open_scripted)
    monkeypatch.setattr(opening, "reopener", reopener)
    return made


def test_live_state_losses_and_the_live_edge(
    qtbot: QtBot, main_window: MainWindow, cameras: list[ScriptedSource]
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    main_window.camera.refresh()
    assert main_window.camera.lost.text() == "lost 0"
    assert desk.player.follow
    desk.seek(3)
    cameras[0].give(20)
    qtbot.waitUntil(lambda: desk.session is not None and len(desk.session.footage) == 50)
    assert desk.shown_number == 3  # looking back is not disturbed by new frames
    desk.follow()
    assert desk.shown_number == 49


def test_a_recording_holds_every_frame_while_the_window_is_used(
    qtbot: QtBot, main_window: MainWindow, cameras: list[ScriptedSource], tmp_path: Path
) -> None:
    desk, path = main_window.desk, tmp_path / "live.h5"
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    desk.keeping.toggle(path)
    assert "REC" in main_window.camera.record.text()
    for step in range(10):
        cameras[0].give(10)
        desk.seek(step)
        main_window.resize(1100 + 20 * step, 700 + 10 * step)
        qtbot.wait(5)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: session.losses.received == 130)
    desk.record_toggle()
    qtbot.waitUntil(lambda: session.recording is None and desk.task is None)
    assert "recorded 100 frames" in main_window.status.words.text()
    assert not desk.keeping.unsaved()
    footage = open_recording(path)
    try:
        assert len(footage) == 100
        numbers = [footage.frame(n).counts[0, 0] - 29815 for n in range(100)]
        assert numbers == [(30 + n) % 7 for n in range(100)]
    finally:
        footage.close()


def test_stall_is_said_and_everything_is_kept(
    qtbot: QtBot, main_window: MainWindow, cameras: list[ScriptedSource]
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    assert not main_window.banner.isVisible()
    qtbot.waitUntil(lambda: desk.state is SessionState.STALLED)
    qtbot.waitUntil(main_window.banner.isVisible)
    assert "No new frame is coming" in main_window.banner.words.text()
    cameras[0].give(5)
    qtbot.waitUntil(lambda: not main_window.banner.isVisible())


def test_unplugged_and_back_goes_on_behind_a_gap(
    qtbot: QtBot, main_window: MainWindow, cameras: list[ScriptedSource]
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    cameras[0].vanish()
    qtbot.waitUntil(lambda: len(cameras) == 2)
    qtbot.waitUntil(lambda: desk.state is SessionState.RUNNING)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: len(session.footage) == 60)
    assert any(mark.kind is MarkKind.GAP for mark in session.marks)


def test_a_trigger_records_with_the_seconds_before_and_takes_a_still(
    qtbot: QtBot, main_window: MainWindow, cameras: list[ScriptedSource]
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    desk.keeping.set_pre_trigger(0.41)  # ten frames, and a little
    desk.document.add(Rectangle(10.0, 10.0, 5.0, 5.0), "U3")
    # the scripted pictures climb by 0.01 K a frame, seven frames long, from 298.15 K on
    rule = "U3 max above 25.055 C then start recording, still"
    desk.set_triggers((parse_trigger(rule),))
    cameras[0].give(20)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: session.recording is not None)
    stills = desk.keeping.next_path().parents[1] / "stills"
    qtbot.waitUntil(lambda: len(list(stills.glob("*.png"))) > 0)
    qtbot.waitUntil(lambda: session.losses.received == 50)
    desk.stop()
    qtbot.waitUntil(lambda: desk.task is None and session.recording is None)
    (saved,) = desk.keeping.next_path().parent.glob("*.h5")
    footage = open_recording(saved)
    crossed = 34  # the first frame from number 30 on with 34 % 7 == 6: 298.21 K, 25.06 °C
    assert footage.times_s[0] == pytest.approx((crossed - 10) / 25.0)
    assert footage.times_s[-1] == pytest.approx(49 / 25.0)
    footage.close()


@pytest.mark.parametrize("answer", ["Cancel", "Discard", "Save"])
def test_unsaved_live_pictures_are_asked_about(
    qtbot: QtBot,
    main_window: MainWindow,
    cameras: list[ScriptedSource],
    monkeypatch: pytest.MonkeyPatch,
    answer: str,
) -> None:
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    button = QMessageBox.StandardButton[answer]
    monkeypatch.setattr(QMessageBox, "exec", lambda _: button)
    main_window.commands.files.close_session()
    assert (desk.session is None) == (answer == "Discard")
    if answer == "Save":
        qtbot.waitUntil(lambda: desk.task is None)
        (saved,) = desk.keeping.next_path().parent.glob("*.h5")
        footage = open_recording(saved)
        assert len(footage) == 30
        footage.close()
        assert not desk.keeping.unsaved()


def test_the_simulated_board_ends_with_its_fault_on_screen(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    desk = main_window.desk
    desk.open("simulated:short", OpenOptions(speed=40.0, seed=1))
    qtbot.waitUntil(lambda: desk.shown is not None and desk.now_s > 33.0)
    session = session_of(main_window)
    assert desk.board is not None
    # the zero was taken by itself, just before the supply came on
    qtbot.waitUntil(lambda: session.baseline is not None)
    supply, baseline = session.supply, session.baseline
    assert supply is not None
    assert baseline is not None
    on_s = supply.time_s[np.argmax(supply.voltage_v > 0.05 * supply.voltage_v.max())]
    assert baseline[1] <= on_s
    desk.player.seek_time(32.0)
    desk.tick()
    panel = main_window.findings
    qtbot.waitUntil(lambda: bool(panel.rows))
    assert panel.rows[0].name == "C12"  # the story's shorted capacitor
    assert main_window.camera.words.text().startswith("simulated")


def test_a_recording_keeps_the_board(qtbot: QtBot, main_window: MainWindow, tmp_path: Path) -> None:
    desk, path = main_window.desk, tmp_path / "kept.h5"
    desk.open("simulated:short", OpenOptions(speed=20.0, seed=1))
    qtbot.waitUntil(lambda: desk.shown is not None)
    desk.keeping.toggle(path)
    session = session_of(main_window)
    qtbot.waitUntil(lambda: bool(session.recording and session.recording.frames > 3))
    desk.record_toggle()
    qtbot.waitUntil(lambda: session.recording is None and desk.task is None)
    assert desk.board is not None
    desk.open(str(path))
    qtbot.waitUntil(lambda: desk.session not in (None, session))
    assert desk.board is not None
    again = {part.designator: (part.x_mm, part.y_mm) for part in desk.board.parts}
    assert again["C12"]
    with h5py.File(path) as file:  # by plain h5py: both texts stand in the file
        texts = []
        file.visititems(lambda name, _: texts.append(name))
    assert {name.rsplit("/", 1)[-1] for name in texts} >= {"placement", "landmarks"}


def test_while_unplugged_the_banner_says_so(
    qtbot: QtBot,
    main_window: MainWindow,
    cameras: list[ScriptedSource],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def nowhere() -> FrameSource:
        raise DeviceError("not plugged in")

    monkeypatch.setattr(opening, "reopener", lambda *_: nowhere)
    desk = main_window.desk
    open_and_wait(qtbot, main_window, "camera:9")
    qtbot.waitUntil(lambda: desk.shown_number == 29)
    cameras[0].vanish()
    qtbot.waitUntil(lambda: desk.state is SessionState.RECONNECTING)
    qtbot.waitUntil(main_window.banner.isVisible)
    assert "unplugged" in main_window.banner.words.text()
    assert "kept" in main_window.banner.words.text()
    assert not main_window.banner.reconnect.isEnabled()


def test_closing_hides_the_window_and_breaks_a_search_off(
    qtbot: QtBot, main_window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thread that is alive at the program's end is killed in the midst of C++: it aborts."""
    begun, seen_at_its_end = threading.Event(), []

    def slow(*_: object, **__: object) -> Located:
        begun.set()
        try:
            while True:  # as each step of a search does
                still_wanted()
                time.sleep(0.01)
        finally:
            seen_at_its_end.append(main_window.isVisible())

    monkeypatch.setattr(finding, "find", slow)
    main_window.desk.open("simulated:short", OpenOptions(speed=8.0))
    qtbot.waitUntil(begun.is_set)
    main_window.leave()
    assert seen_at_its_end == [False]
    assert not [t for t in threading.enumerate() if t.name.startswith("task: looking for")]


def test_a_recording_played_as_a_camera_brings_its_parts(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    open_and_wait(qtbot, main_window, f"replay:{sample_recordings() / 'good.h5'}")
    session, board = session_of(main_window), main_window.desk.board
    assert session.is_live
    assert board is not None
    assert {"U5", "U6"} <= {part.designator for part in board.parts}
