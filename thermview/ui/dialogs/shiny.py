"""Looking for shiny places: what the unpowered board is at, if somebody has measured it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QDialog, QDoubleSpinBox, QWidget

from thermview.radiometry import ASSUMED_REFLECTED_K
from thermview.radiometry.touch import METAL_NOTE
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

WORDS = (
    "Looks at the frames before the power: everything on the board is then as warm as the board. "
    "What looks otherwise, or changes while a hand is waved over it, is a mirror. Such places are "
    "hatched and not read."
)


class ShinyDialog(QDialog):
    """Asks for a contact reading of the cold board; without one, movement alone is looked for."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("shinyDialog")
        self.setWindowTitle("shiny places")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk = desk
        unit = desk.display.unit
        assert desk.session is not None
        start_s, end_s = desk.optics.unpowered_s
        self.known = named(QCheckBox("a thermometer on the unpowered board reads"), "shinyKnown")
        self.contact = named(QDoubleSpinBox(), "shinyContact")
        self.contact.setRange(-273.0, 3000.0)
        self.contact.setDecimals(1)
        self.contact.setSuffix(f" {unit.symbol}")
        self.contact.setValue(unit.from_kelvin(desk.session.scene.air_k or ASSUMED_REFLECTED_K))
        self.contact.setEnabled(False)
        self.contact.setToolTip("it must differ from what is mirrored, by some kelvin")
        self.known.toggled.connect(self.contact.setEnabled)
        frames = f"Frames from {start_s:.1f} s to {end_s:.1f} s are looked at."
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("Shiny places", "shinyTitle", "title"))
        layout.addWidget(label(WORDS, "shinyWords", wrap=True))
        layout.addWidget(label(frames, "shinyFrames", "dim", wrap=True))
        layout.addLayout(row(self.known, self.contact, None))
        layout.addWidget(label(METAL_NOTE, "shinyMetal", "small", wrap=True))
        layout.addLayout(
            row(
                None,
                button("cancel", "shinyCancel", self.reject),
                button("look", "shinyLook", self._look, role="primary"),
            )
        )
        self.resize(520, self.sizeHint().height())

    def _look(self) -> None:
        contact_k = None
        if self.known.isChecked():
            contact_k = self._desk.display.unit.to_kelvin(self.contact.value())
        self.accept()
        self._desk.optics.find_shiny(contact_k)
