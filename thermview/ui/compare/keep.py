"""The dialog "keep as known good": which board, under what conditions."""

from __future__ import annotations

from typing import Any

from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLineEdit,
    QWidget,
)

from thermview.ui.theme import tokens
from thermview.ui.widgets import column, label, named

WORDS = (
    "The recording is copied onto the shelf, with its parts and matching points. Keep only boards "
    "that are known to work; several of one model show how much good boards differ."
)


class KeepDialog(QDialog):
    """Asks for the board's model, which one it is, and the conditions."""

    def __init__(self, models: list[str], title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("keepDialog")
        self.setWindowTitle("keep as known good")
        self.setMinimumWidth(460)
        self.model = named(QComboBox(), "keepModel")
        self.model.setEditable(True)
        self.model.addItems(models)
        edit = self.model.lineEdit()
        assert edit is not None
        edit.setPlaceholderText("such as its part number and revision")
        if not models:
            self.model.setCurrentText("")
        self.title = named(QLineEdit(title), "keepTitle")
        self.note = named(QLineEdit(), "keepNote")
        self.note.setPlaceholderText("such as: display on, no load, 24 V, room at 22 °C")
        form = QFormLayout()
        form.addRow("board model", self.model)
        form.addRow("which board", self.title)
        form.addRow("conditions", self.note)
        kinds = QDialogButtonBox.StandardButton
        self.buttons = QDialogButtonBox(kinds.Save | kinds.Cancel)
        self.buttons.accepted.connect(self.accept)
        self.buttons.rejected.connect(self.reject)
        save = self.buttons.button(kinds.Save)
        self.model.editTextChanged.connect(lambda text: save.setEnabled(bool(text.strip())))
        save.setEnabled(bool(self.model.currentText().strip()))
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label(WORDS, "keepWords", "dim", wrap=True))
        layout.addLayout(form)
        layout.addWidget(self.buttons)
        self.model.setFocus()

    def stated(self) -> tuple[str, dict[str, Any]]:
        """Return the model, and the conditions as the shelf takes them."""
        conditions = {"title": self.title.text().strip(), "note": self.note.text().strip()}
        return self.model.currentText().strip(), {k: v for k, v in conditions.items() if v}
