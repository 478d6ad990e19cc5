"""What the window's tests share."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let pass what Qt's offscreen platform says of itself whenever a window is shown on it."""
    for item in items:
        item.add_marker(
            pytest.mark.qt_log_ignore("This plugin does not support propagateSizeHints")
        )
