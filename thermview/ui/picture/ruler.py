"""The ruler's box: the length just measured, and how long it is in truth."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QDoubleSpinBox, QFrame, QWidget

from thermview.board import body_size_mm
from thermview.ui.display import Display
from thermview.ui.picture.geometry import length_text
from thermview.ui.widgets import button, label, named, row

_PACKAGES = ("0402", "0603", "0805", "1206", "SOT-23", "SOIC-8", "SOIC-14", "SOIC-16", "TQFP-32")
"""Bodies that lie on most boards; the longer side counts."""


class RulerBox(QFrame):
    """Shows a length in px or mm; a known length makes px into mm."""

    closed = Signal()

    def __init__(self, display: Display, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        named(self, "rulerBox", "panel")
        self._display = display
        self._length_px = 0.0
        self.words = label("", "rulerLength", "large")
        self.known_mm = named(QDoubleSpinBox(), "rulerKnownLength")
        self.known_mm.setRange(0.0, 1000.0)
        self.known_mm.setDecimals(2)
        self.known_mm.setSuffix(" mm")
        self.known_mm.setSpecialValueText("true length")
        self.known_mm.setToolTip("how long this is in truth; all lengths then read in mm")
        self.package = named(QComboBox(), "rulerPackage")
        self.package.setToolTip("the length of this package's body, along its longer side")
        self.package.addItem("or a package …", 0.0)
        for name in _PACKAGES:
            if size := body_size_mm(name):
                self.package.addItem(f"{name}: {max(size):g} mm", max(size))
        self.use = button("use", "rulerUse", self._take, tip="lengths read in mm from now on")
        self.package.currentIndexChanged.connect(self._package_chosen)
        layout = row(self.words, self.known_mm, self.package, self.use)
        layout.setContentsMargins(8, 6, 8, 6)
        self.setLayout(layout)
        self.hide()

    def show_length(self, length_px: float) -> None:
        """Show a length, px; hide when it is 0."""
        self._length_px = length_px
        self.setVisible(length_px > 0)
        self.words.setText(length_text(length_px, self._display.mm_per_px))
        self.adjustSize()

    def _package_chosen(self, index: int) -> None:
        self.known_mm.setValue(float(self.package.itemData(index)))

    def _take(self) -> None:
        if self.known_mm.value() > 0 and self._length_px > 0:
            self._display.set_mm_per_px(self.known_mm.value() / self._length_px)
            self.show_length(self._length_px)
