"""A user's folder that takes nothing: each use of it is one line, and the work goes on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, opened_window, write_warming

from thermview.errors import InputError
from thermview.regions import Rectangle
from thermview.ui import app
from thermview.ui.desk import Desk
from thermview.ui.window import MainWindow

FOLDERS = ("recordings", "stills", "exports", "regions", "shelf", "boards", "shiny")


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[MainWindow]:
    """Return a window whose user's folder can hold no folder: files are in the way of each."""
    home = tmp_path / "home"
    home.mkdir()
    for name in FOLDERS:
        (home / name).write_text("in the way")
    monkeypatch.setenv("THERMVIEW_HOME", str(home))
    with opened_window(qtbot) as made:
        yield made


def test_what_cannot_be_kept_is_said_in_one_line(
    qtbot: QtBot, window: MainWindow, tmp_path: Path
) -> None:
    desk = window.desk
    said: list[tuple[str, str]] = []
    desk.said.connect(lambda severity, words: said.append((severity, words)))
    write_warming(tmp_path / "w.h5")
    open_and_wait(qtbot, window, str(tmp_path / "w.h5"))
    desk.document.add(Rectangle(40.0, 20.0, 8.0, 8.0), "square")

    def errors() -> list[str]:
        return [words for severity, words in said if severity == "error"]

    def keep() -> None:
        window.compare.shelf.keep(tmp_path / "w.h5", "board", {})

    acts: tuple[Callable[[], None], ...] = (desk.remember, window.commands.save.still, keep)
    for number, act in enumerate(acts, 1):
        act()
        qtbot.waitUntil(partial(lambda n: len(errors()) >= n, number))
        assert "cannot be" in errors()[-1]
        assert "THERMVIEW_HOME" in errors()[-1]
        assert "\n" not in errors()[-1]
    assert desk.shown is not None


def test_a_live_recording_that_cannot_begin_is_said(qtbot: QtBot, window: MainWindow) -> None:
    said: list[str] = []
    window.desk.said.connect(lambda severity, words: said.append(f"{severity}: {words}"))
    open_and_wait(qtbot, window, "simulated:good")
    window.desk.record_toggle()
    assert any(words.startswith("error: the folder for your own files") for words in said)
    session = window.desk.session
    assert session is not None
    assert session.recording is None
    assert not session.trouble


def test_an_error_that_nobody_caught_is_said(
    qtbot: QtBot, capsys: pytest.CaptureFixture[str]
) -> None:
    desk = Desk()
    said: list[str] = []
    desk.said.connect(lambda severity, words: said.append(f"{severity}: {words}"))
    take = app.uncaught(desk)
    take(InputError, InputError("no such thing"), None)
    assert said == ["error: no such thing"]
    assert capsys.readouterr().err == ""
    fault = ZeroDivisionError("by nothing")
    take(ZeroDivisionError, fault, None)
    assert said[-1] == "error: a fault of the program: ZeroDivisionError: by nothing"
    assert "ZeroDivisionError" in capsys.readouterr().err
    desk.shut()
