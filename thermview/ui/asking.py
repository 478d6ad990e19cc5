"""Asking where a file is written."""

from __future__ import annotations

import re
from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

ENDING = r"\*(\.[\w.]+)"


def ask_path(parent: QWidget, heading: str, proposed: Path | str, kinds: str) -> Path | None:
    """Ask where a file is written; None where nothing is.

    Parameters
    ----------
    parent : QWidget
    heading : str
    proposed : Path or str
        What the name is at first.
    kinds : str
        Kinds of file in Qt's form, ``words (*.a *.b);;…``. A name that ends as none of them does
        gets the chosen kind's first ending, so that it is found again; then what is there already
        is asked for once more, for Qt asked for the name without.
    """
    name, chosen = QFileDialog.getSaveFileName(parent, heading, str(proposed), kinds)
    if not name:
        return None
    endings = re.findall(ENDING, chosen or kinds.split(";;", maxsplit=1)[0])
    if not endings or name.lower().endswith(tuple(re.findall(ENDING, kinds))):
        return Path(name)
    path = Path(name + endings[0])
    if path.exists():
        question = f"{path.name} is there already. Replace it?"
        if QMessageBox.question(parent, heading, question) != QMessageBox.StandardButton.Yes:
            return None
    return path
