"""The picture held still by a switch and a key; offered when the camera moves."""

from __future__ import annotations

import json
from pathlib import Path

import h5py
import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from scipy.ndimage import gaussian_filter, shift
from window_kit import open_and_wait, session_of

from thermview.board import Landmark
from thermview.regions import Rectangle
from thermview.session.boards import Board
from thermview.ui.picture.notices import notices
from thermview.ui.window import MainWindow


def write_moving(path: Path, frames: int = 60) -> None:
    """Write a recording in which a board moves to and fro, by plain h5py."""
    rng = np.random.default_rng(3)
    scene = gaussian_filter(rng.normal(0, 2.0, (136, 168)), 2.0) * 4 + 295.0
    counts = np.empty((frames, 96, 128), np.uint16)
    for n in range(frames):
        moved = shift(scene, (5 * np.sin(n / 5), 8 * np.sin(n / 7)), order=1)[20:-20, 20:-20]
        counts[n] = np.rint((moved + rng.normal(0, 0.03, moved.shape)) * 100)
    with h5py.File(path, "w") as file:
        data = file.create_dataset("entry/thermal/counts", data=counts)
        data.attrs["scale_factor"], data.attrs["add_offset"] = 0.01, 0.0
        file.create_dataset("entry/thermal/time", data=np.arange(frames) / 25.0)


def test_a_key_holds_the_picture_still(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    path = tmp_path / "moving.h5"
    write_moving(path)
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(path))
    region = desk.document.add(Rectangle(60, 40, 10, 8))
    assert session_of(main_window).wait(20)
    moving = float(np.ptp(session_of(main_window).curves.column(region.id, "mean")))
    desk.following.look()
    qtbot.waitUntil(lambda: desk.following.moves)
    assert any("[8]" in words for words in notices(desk))

    QTest.keyClick(main_window, Qt.Key.Key_8)
    session = session_of(main_window)
    assert desk.following.on
    assert main_window.picture.actions_by_name["follow"].isChecked()
    assert session.wait(20)
    column = session.curves.column(region.id, "mean")
    assert np.ptp(column) < 0.2 * moving  # a board that does not change
    desk.seek(11)
    assert desk.shown is not None
    held = desk.shown.kelvin()[30:60, 40:80]
    desk.seek(0)
    assert desk.shown is not None
    assert np.nanmax(np.abs(held - desk.shown.kelvin()[30:60, 40:80])) < 1.0
    assert not any("[8]" in words for words in notices(desk))

    QTest.keyClick(main_window, Qt.Key.Key_8)
    assert session.poses is None
    assert session.wait(20)
    assert np.ptp(session.curves.column(region.id, "mean")) == moving


def test_parts_are_held_where_their_points_were_given(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    """A recording's points are those of its first frame, whatever is shown when it is held."""
    path = tmp_path / "moving.h5"
    write_moving(path)
    points = [((x, y), (x, 96.0 - y)) for x in (10.0, 110.0) for y in (10.0, 80.0)]
    landmarks = {"landmarks": [{"board_mm": mm, "pixel": px} for mm, px in points]}
    path.with_suffix(".landmarks.json").write_text(json.dumps(landmarks))
    rows = "Designator,X,Y,Rotation,Side,Package,Width,Height\nU1,40,50,0,top,X,8,8\n"
    path.with_suffix(".parts.csv").write_text(rows)
    desk = main_window.desk
    open_and_wait(qtbot, main_window, str(path))
    assert desk.board is not None
    desk.seek(20)
    desk.following.toggle()
    session = session_of(main_window)
    assert session.poses is not None
    assert session.poses.anchor == 0
    desk.following.toggle()
    # points given anew while frame 30 is shown
    desk.seek(30)
    moved = [Landmark(mm, (px[0] + 3.0, px[1])) for mm, px in points]
    desk.set_board(Board.of(desk.board.parts, moved))
    desk.seek(40)
    desk.following.toggle()
    assert session.poses is not None
    assert session.poses.anchor == 30
