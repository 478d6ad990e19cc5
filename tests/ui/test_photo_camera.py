"""A second, visible camera as the photo under the heat."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, write_warming

from thermview.errors import DeviceError
from thermview.sources.cameras import FoundCamera
from thermview.sources.visible import VisibleCamera, grey_of
from thermview.ui.board.panel import PHOTO
from thermview.ui.board.photo import Pair
from thermview.ui.window import MainWindow

BENCH = FoundCamera(3, "bench camera")


class FakeCapture:
    """Gives pictures that brighten by one step each, until it is unplugged."""

    def __init__(self) -> None:
        self.level = 0
        self.plugged = threading.Event()
        self.plugged.set()
        self.released = threading.Event()

    def read(self) -> tuple[bool, Any]:
        if not self.plugged.is_set():
            return False, None
        self.level = min(self.level + 1, 250)
        return True, np.full((48, 64, 3), self.level, np.uint8)

    def set(self, prop: int, value: float) -> bool:
        return True

    def get(self, prop: int) -> float:
        return 0.0

    def release(self) -> None:
        self.released.set()


def test_grey_is_bt_601() -> None:
    # ITU-R BT.601-7, 2.5.1: Y = 0.299 R + 0.587 G + 0.114 B
    blue_green_red = np.array([[[200, 0, 0], [0, 200, 0], [0, 0, 200]]], np.uint8)
    assert grey_of(blue_green_red).tolist() == [[23, 117, 60]]
    assert grey_of(np.full((2, 2), 7, np.uint8)).tolist() == [[7, 7], [7, 7]]


def test_a_busy_camera_is_said() -> None:
    with pytest.raises(DeviceError, match=r"camera:3 \(bench camera\).*busy"):
        VisibleCamera(BENCH, lambda _: None)


def test_the_cameras_pictures_lie_under_the_heat(
    qtbot: QtBot, main_window: MainWindow, tmp_path: Path
) -> None:
    write_warming(tmp_path / "w.h5")
    open_and_wait(qtbot, main_window, str(tmp_path / "w.h5"))
    desk, page = main_window.desk, main_window.board.photo
    main_window.board.open_page(PHOTO)
    capture = FakeCapture()
    live = page.camera
    live._find = lambda: [BENCH]
    live._open = lambda _: VisibleCamera(BENCH, lambda _: capture, pause_s=0.01)
    live.offer()
    live.menu.actions()[0].trigger()
    photo = desk.boards.photo
    qtbot.waitUntil(lambda: photo.image is not None)
    corners = ((4.0, 4.0), (60.0, 4.0), (60.0, 44.0), (4.0, 44.0))
    photo.set_pairs(tuple(Pair(at, at) for at in corners))
    assert photo.seen
    image = photo.image
    assert image is not None
    before = image.pixelColor(30, 20).lightness()
    qtbot.waitUntil(lambda: _lightness(photo.image) > before)
    assert photo.to_photo() is not None  # the points stay while pictures come
    assert len(photo.pairs) == 4
    capture.plugged.clear()
    qtbot.waitUntil(lambda: live.camera is None)
    qtbot.waitUntil(capture.released.is_set)
    assert photo.seen  # its last picture stays


def _lightness(image: Any) -> int:
    return int(image.pixelColor(30, 20).lightness())
