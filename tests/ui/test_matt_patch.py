"""A region on matt tape: what it does is the camera's drift."""

from __future__ import annotations

from pathlib import Path

from pytestqt.qtbot import QtBot
from window_kit import open_and_wait

from thermview.regions import Rectangle
from thermview.ui.window import MainWindow


def test_a_region_on_tape_is_a_matt_patch_whose_drift_is_taken_off(
    qtbot: QtBot, main_window: MainWindow, samples: Path
) -> None:
    desk, findings = main_window.desk, main_window.desk.findings
    open_and_wait(qtbot, main_window, str(samples / "ramp-strong.h5"))
    qtbot.waitUntil(lambda: findings.located is not None)
    assert findings.located is not None
    assert not any("matt patch" in note for note in findings.located.notes)
    desk.select([])
    findings.toggle_matt_patch()  # nothing is selected: that is said, and nothing changes
    assert all(one.name != "matt patch" for one in desk.document.current.regions)
    region = desk.document.add(Rectangle(2, 2, 8, 8))
    desk.select([region.id])
    findings.toggle_matt_patch()
    assert desk.document.current.by_id(region.id).name == "matt patch"

    def told() -> None:
        assert findings.located is not None
        assert any("matt patch" in note for note in findings.located.notes)

    qtbot.waitUntil(told)
    findings.toggle_matt_patch()
    assert desk.document.current.by_id(region.id).name != "matt patch"
