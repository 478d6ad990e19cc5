"""What the window's tests share."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from window_kit import opened_window

from thermview.ui.rubbish import Collector
from thermview.ui.window import MainWindow

HUNG_MS = 120_000  # what has not come about by then will not, however busy the machine is


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let pass what Qt's offscreen platform says of itself whenever a window is shown on it."""
    for item in items:
        item.add_marker(pytest.mark.qt_log_ignore("This plugin does not support"))


@pytest.fixture(autouse=True, scope="session")
def collector(qapp: QApplication) -> Collector:
    """Collect garbage as the program does: windows of failed tests go with their tracebacks."""
    return Collector(qapp)


@pytest.fixture
def qtbot(qtbot: QtBot) -> QtBot:
    """Return a robot whose waits end where the program hangs, not where the machine is slow."""
    qtbot.waitUntil = partial(qtbot.waitUntil, timeout=HUNG_MS)  # type: ignore[method-assign]
    return qtbot


@pytest.fixture
def main_window(qtbot: QtBot) -> Iterator[MainWindow]:
    """Return a shown window over the real rooms."""
    with opened_window(qtbot) as window:
        yield window
