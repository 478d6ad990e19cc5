"""The window on small screens and at large scales: everything stays within reach."""

from __future__ import annotations

from itertools import combinations

import pytest
from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import QToolButton
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait

from thermview.paths import sample_recordings
from thermview.ui.panels.steps import STEPS
from thermview.ui.window import MainWindow

LAPTOP_PX = (1280, 640)
"""What a taskbar and a title leave of 1280 × 720: 1920 × 1080 at 150 %."""
SMALLEST_PX = (853, 533)
"""1280 × 800 at 150 %, as a whole screen."""


@pytest.mark.parametrize("step", ["", *(step.name for step in STEPS)])
def test_each_step_fits_a_laptop(qtbot: QtBot, main_window: MainWindow, step: str) -> None:
    open_and_wait(qtbot, main_window, str(sample_recordings() / "short.h5"))
    main_window.steps.choose(step)
    for _ in range(2):
        qtbot.wait(20)
        least = main_window.minimumSizeHint()
        assert (least.width() <= LAPTOP_PX[0], least.height() <= LAPTOP_PX[1]) == (True, True)


def test_all_tools_are_in_view_on_the_smallest_screen(
    qtbot: QtBot, main_window: MainWindow
) -> None:
    open_and_wait(qtbot, main_window, str(sample_recordings() / "short.h5"))

    def fits() -> bool:
        main_window.resize(*SMALLEST_PX)
        return bool(main_window.size().toTuple() == SMALLEST_PX)

    qtbot.waitUntil(fits)
    picture = main_window.picture
    tools = [one for one in picture.findChildren(QToolButton) if one.isVisible()]
    assert len(tools) > 10

    def in_view() -> bool:
        places = [QRect(one.mapTo(picture, QPoint()), one.size()) for one in tools]
        apart = not any(one.intersects(other) for one, other in combinations(places, 2))
        return apart and all(picture.rect().contains(place) for place in places)

    qtbot.waitUntil(in_view)  # once it is laid out
    main_window.resize(1280, 800)
    qtbot.waitUntil(lambda: len({one.x() for one in tools}) == 1)  # one column again
