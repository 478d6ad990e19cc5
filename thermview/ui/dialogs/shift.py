"""How far away the equal channel lies."""

from __future__ import annotations

from PySide6.QtWidgets import QDialog, QDoubleSpinBox, QFormLayout, QWidget

from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row


class ShiftDialog(QDialog):
    """Asks for a shift to the right and down: mm where the picture's size is known, else pixels."""

    def __init__(self, mm_per_px: float | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("shiftDialog")
        self.setWindowTitle("shifted copy")
        self._px_per_unit = 1.0 if mm_per_px is None else 1.0 / mm_per_px
        unit = " px" if mm_per_px is None else " mm"
        self.right = self._field("shiftRight", unit)
        self.down = self._field("shiftDown", unit)
        self.right.setValue(10.0)
        form = QFormLayout()
        form.addRow("to the right", self.right)
        form.addRow("down", self.down)
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("Copy to an equal channel", "shiftTitle", "title"))
        layout.addLayout(form)
        layout.addLayout(
            row(
                None,
                button("cancel", "shiftCancel", self.reject),
                button("copy", "shiftCopy", self.accept, role="primary"),
            )
        )

    @staticmethod
    def _field(name: str, unit: str) -> QDoubleSpinBox:
        made = named(QDoubleSpinBox(), name)
        made.setRange(-4000.0, 4000.0)
        made.setDecimals(1)
        made.setSuffix(unit)
        return made

    def shift_px(self) -> tuple[float, float]:
        """Return the shift in pixels."""
        return self.right.value() * self._px_per_unit, self.down.value() * self._px_per_unit
