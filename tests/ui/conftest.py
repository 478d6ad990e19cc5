"""What the window's tests share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from window_kit import opened_window

from thermview.ui.rubbish import Collector
from thermview.ui.window import MainWindow


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let pass what Qt's offscreen platform says of itself whenever a window is shown on it."""
    for item in items:
        item.add_marker(pytest.mark.qt_log_ignore("This plugin does not support"))


@pytest.fixture(autouse=True, scope="session")
def collector(qapp: QApplication) -> Collector:
    """Collect garbage as the program does: windows of failed tests go with their tracebacks."""
    return Collector(qapp)


@pytest.fixture
def main_window(qtbot: QtBot) -> Iterator[MainWindow]:
    """Return a shown window over the real rooms."""
    with opened_window(qtbot) as window:
        yield window
