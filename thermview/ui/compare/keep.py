"""The dialogs of the shelf: which board, under what conditions."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QLocale
from PySide6.QtGui import QDoubleValidator
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLineEdit,
    QWidget,
)

from thermview.job.shelf import Entry
from thermview.ui.theme import tokens
from thermview.ui.widgets import column, label, named

KEEP_WORDS = (
    "The recording is copied onto the shelf, with its parts and matching points. Keep only boards "
    "that are known to work; several of one model show how much good boards differ."
)
CHANGE_WORDS = "What is said of the board; its recording stays as it is."
NUMBERS = (
    ("ambient_c", "room, °C", (-40.0, 80.0)),
    ("supply_v", "supply, V", (0.0, 1000.0)),
    ("supply_a", "supply, A", (0.0, 1000.0)),
)
"""Field of `Entry`, its words, the range taken."""


class ConditionsDialog(QDialog):
    """Asks for the board's model, which one it is, and the conditions.

    Parameters
    ----------
    models : list of str
        To choose from.
    entry : Entry
        What is known already.
    words : str
        Stand above the fields.
    """

    def __init__(
        self, models: list[str], entry: Entry, heading: str, words: str, parent: QWidget
    ) -> None:
        super().__init__(parent)
        self.setObjectName("keepDialog")
        self.setWindowTitle(heading)
        self.setMinimumWidth(460)
        self.model = named(QComboBox(), "keepModel")
        self.model.setEditable(True)
        self.model.addItems(models)
        edit = self.model.lineEdit()
        assert edit is not None
        edit.setPlaceholderText("such as its part number and revision")
        if entry.model or not models:
            self.model.setCurrentText(entry.model)
        self.title = named(QLineEdit(entry.title), "keepTitle")
        self.title.setCursorPosition(0)
        self.note = named(QLineEdit(entry.note), "keepNote")
        self.note.setPlaceholderText("such as: display on, no load")
        form = QFormLayout()
        form.addRow("board model", self.model)
        form.addRow("which board", self.title)
        self.numbers = {}
        for name, heading_, span in NUMBERS:
            self.numbers[name] = _number(name, getattr(entry, name), span)
            form.addRow(heading_, self.numbers[name])
        form.addRow("note", self.note)
        kinds = QDialogButtonBox.StandardButton
        self.buttons = QDialogButtonBox(kinds.Save | kinds.Cancel)
        self.buttons.accepted.connect(self.accept)
        self.buttons.rejected.connect(self.reject)
        for field in self.numbers.values():
            field.textChanged.connect(self._allow)
        self.model.editTextChanged.connect(self._allow)
        self._allow()
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label(words, "keepWords", "dim", wrap=True))
        layout.addLayout(form)
        layout.addWidget(self.buttons)
        self.model.setFocus()

    def _allow(self) -> None:
        """Let it be saved once the model is named and the numbers are in their ranges."""
        fine = all(not f.text() or f.hasAcceptableInput() for f in self.numbers.values())
        save = self.buttons.button(QDialogButtonBox.StandardButton.Save)
        save.setEnabled(fine and bool(self.model.currentText().strip()))

    def stated(self) -> tuple[str, dict[str, Any]]:
        """Return the model, and the conditions as the shelf takes them; None where empty."""
        conditions: dict[str, Any] = {
            "title": self.title.text().strip(),
            "note": self.note.text().strip(),
        }
        for name, field in self.numbers.items():
            text = field.text().strip()
            conditions[name] = float(text) if text else None
        return self.model.currentText().strip(), conditions


def _number(name: str, value: float | None, span: tuple[float, float]) -> QLineEdit:
    made = named(QLineEdit("" if value is None else f"{value:.6g}"), f"keep_{name}")
    check = QDoubleValidator(*span, 3, made)
    check.setLocale(QLocale.c())  # a point, whatever the machine's language
    check.setNotation(QDoubleValidator.Notation.StandardNotation)
    made.setValidator(check)
    made.setPlaceholderText("not known")
    made.setToolTip(f"{span[0]:g} to {span[1]:g}")
    return made
