"""The keys: what each does, and another one if wished."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QDialog,
    QGridLayout,
    QKeySequenceEdit,
    QScrollArea,
    QWidget,
)

from thermview.errors import UsageError
from thermview.ui.keys import ACTIONS, KeyAction, Keys
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, set_tone

COLUMNS = 3
FIELD_PX = 110
FIELD_HEIGHT_PX = 27
GAP_PX = 8


class KeysDialog(QDialog):
    """Columns of actions, each with its key in a field that takes another."""

    changed = Signal()

    def __init__(self, keys: Keys, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("keysDialog")
        self.setWindowTitle("keys")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._keys = keys
        self.fields: dict[str, QKeySequenceEdit] = {}
        self.words = label("Click a key and press another to change it.", "keysWords", "dim")
        content = named(QWidget(), "keysContent", "page")
        grid = QGridLayout(content)
        grid.setVerticalSpacing(1)
        grid.setContentsMargins(0, 0, GAP_PX, 0)
        lines = -(-len(ACTIONS) // COLUMNS)
        for position, action in enumerate(ACTIONS):
            place, line = divmod(position, lines)
            words = label(action.words, f"keyWords_{action.name}")
            words.setIndent(GAP_PX)
            grid.addWidget(words, line, 2 * place)
            grid.addWidget(self._field(action), line, 2 * place + 1)
        for place in range(COLUMNS):
            grid.setColumnStretch(2 * place, 1)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(content)
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("keys", "keysTitle", "title"))
        layout.addWidget(self.words)
        layout.addWidget(area, 1)
        layout.addLayout(
            row(
                button("back to the defaults", "keysReset", self._reset),
                None,
                button("close", "keysClose", self.accept, role="primary"),
            )
        )
        self.resize(1240, 776)

    def _field(self, action: KeyAction) -> QKeySequenceEdit:
        field = named(QKeySequenceEdit(QKeySequence(self._keys.key(action.name))), action.name)
        field.setMaximumSequenceLength(1)
        field.setFixedSize(FIELD_PX, FIELD_HEIGHT_PX)
        field.setAccessibleName(action.words)
        field.editingFinished.connect(lambda: self._bind(action.name))
        self.fields[action.name] = field
        return field

    def _bind(self, name: str) -> None:
        field = self.fields[name]
        key = field.keySequence().toString(QKeySequence.SequenceFormat.PortableText)
        if key == self._keys.key(name):
            return
        try:
            self._keys.bind(name, key)
        except UsageError as error:
            self.words.setText(str(error))
            set_tone(self.words, "error")
            field.setKeySequence(QKeySequence(self._keys.key(name)))
            return
        self.words.setText("Changed.")
        set_tone(self.words, "")
        self.changed.emit()

    def _reset(self) -> None:
        self._keys.reset()
        for name, field in self.fields.items():
            field.setKeySequence(QKeySequence(self._keys.key(name)))
        self.changed.emit()
