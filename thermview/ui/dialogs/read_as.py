"""How a file is to be read that does not say what its numbers mean."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QFormLayout,
    QWidget,
)

from thermview.sources import OpenOptions
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

BRIGHTNESS, SCALED, CELSIUS, KELVIN = range(4)
MEANINGS = (
    "brightness only (no temperatures)",
    "counts: temperature = counts × scale + offset",
    "degrees Celsius",
    "kelvin",
)


class ReadAsDialog(QDialog):
    """Asks for the dataset, what the numbers mean, and the frame rate."""

    def __init__(self, name: str, datasets: list[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("readAsDialog")
        self.setWindowTitle("how to read it")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.dataset = named(QComboBox(), "datasetBox")
        self.dataset.addItems(datasets)
        self.meaning = named(QComboBox(), "meaningBox")
        self.meaning.addItems(MEANINGS)
        self.scale = self._number("scaleField", 0.01, " K per count", 6)
        self.offset = self._number("offsetField", 0.0, " K", 3)
        self.rate = self._number("rateField", 25.0, " frames per second", 3)
        self.rate.setMinimum(0.001)
        self.form = QFormLayout()
        if len(datasets) > 1:
            self.form.addRow("pictures", self.dataset)
        self.form.addRow("numbers are", self.meaning)
        self.form.addRow("scale", self.scale)
        self.form.addRow("offset", self.offset)
        self.form.addRow("rate", self.rate)
        self.meaning.currentIndexChanged.connect(lambda _: self._show_fields())
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label(name, "readAsTitle", "title"))
        layout.addWidget(
            label("This file does not say what its numbers mean.", "readAsWords", "dim", wrap=True)
        )
        layout.addLayout(self.form)
        layout.addLayout(
            row(
                None,
                button("cancel", "readAsCancel", self.reject),
                button("open", "readAsOpen", self.accept, role="primary"),
            )
        )
        self._show_fields()

    @staticmethod
    def _number(name: str, value: float, suffix: str, decimals: int) -> QDoubleSpinBox:
        made = named(QDoubleSpinBox(), name)
        made.setDecimals(decimals)
        made.setRange(-1e5, 1e5)
        made.setValue(value)
        made.setSuffix(suffix)
        return made

    def _show_fields(self) -> None:
        scaled = self.meaning.currentIndex() == SCALED
        self.form.setRowVisible(self.scale, scaled)
        self.form.setRowVisible(self.offset, scaled)
        self.adjustSize()

    def options(self) -> OpenOptions:
        """Return what was chosen."""
        meaning = self.meaning.currentIndex()
        scaled = meaning == SCALED
        return OpenOptions(
            dataset=self.dataset.currentText() or None,
            scale_k=self.scale.value() if scaled else None,
            offset_k=self.offset.value() if scaled else None,
            celsius=meaning == CELSIUS,
            kelvin=meaning == KELVIN,
            rate_hz=self.rate.value(),
        )
