"""Where files are written: with an ending by which they are found again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget
from pytestqt.qtbot import QtBot

from thermview.ui.asking import ask_path

Ask = Callable[..., Path | None]
KINDS = "known-good board (*.knowngood.zip *.zip);;recording (*.h5);;all (*)"


@pytest.fixture
def answered(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Ask:
    """Return what asks, told the name that is typed and the kind that is chosen."""
    parent = QWidget()
    qtbot.addWidget(parent)

    def ask(name: str, chosen: str = KINDS.split(";;", maxsplit=1)[0]) -> Path | None:
        typed = str(tmp_path / name) if name else ""
        monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (typed, chosen))
        return ask_path(parent, "export", "proposed", KINDS)

    return ask


@pytest.mark.parametrize(
    ("typed", "made"),
    [
        ("owl", "owl.knowngood.zip"),
        ("owl.v2", "owl.v2.knowngood.zip"),
        ("owl.zip", "owl.zip"),
        ("owl.h5", "owl.h5"),  # of another kind than the chosen one
        ("owl.KNOWNGOOD.ZIP", "owl.KNOWNGOOD.ZIP"),
    ],
)
def test_a_name_gets_its_ending(answered: Ask, tmp_path: Path, typed: str, made: str) -> None:
    assert answered(typed) == tmp_path / made


def test_any_name_of_any_kind_stays(answered: Ask, tmp_path: Path) -> None:
    assert answered("owl", "all (*)") == tmp_path / "owl"
    assert answered("") is None


@pytest.mark.parametrize("yes", [True, False])
def test_what_is_there_is_asked_for(
    answered: Ask, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, yes: bool
) -> None:
    (tmp_path / "owl.knowngood.zip").write_text("kept")
    buttons = QMessageBox.StandardButton
    asked: list[str] = []

    def ask(_parent: QWidget, _heading: str, words: str) -> QMessageBox.StandardButton:
        asked.append(words)
        return buttons.Yes if yes else buttons.No

    monkeypatch.setattr(QMessageBox, "question", ask)
    assert (answered("owl") is not None) == yes
    assert asked == ["owl.knowngood.zip is there already. Replace it?"]
