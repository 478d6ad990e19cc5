"""What is known of the supply: the resistance of its leads, and its period where it is pulsed."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDoubleSpinBox, QGridLayout, QWidget

from thermview.analysis.leads import MOST_OHM
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

LEADS = (
    "Both leads with their clips. Measured with the board off: clip the ends together, let 1 A "
    "flow, and read the volts; so many ohms they are. What they take (I²R) is taken off the "
    "supply's V·I: no more than the rest can be turned into heat by the board. Remembered for "
    "this bench."
)
PULSES = (
    "On and off together. What follows the pulses is told from drift and from hands far more "
    "surely. Only pulse what its current limit keeps safe: the board is live in every pulse."
)


class SupplyDialog(QDialog):
    """Leads and period; the period can be looked for in the pictures."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("supplyDialog")
        self.setWindowTitle("supply")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk = desk
        findings = desk.findings
        self.leads = named(QDoubleSpinBox(), "supplyLeads")
        self.leads.setRange(0.0, MOST_OHM)
        self.leads.setDecimals(3)
        self.leads.setSingleStep(0.01)
        self.leads.setSuffix(" Ω")
        self.leads.setSpecialValueText("not stated")
        self.leads.setValue(findings.lead_ohm)
        self.period = named(QDoubleSpinBox(), "supplyPeriod")
        self.period.setRange(0.0, 120.0)
        self.period.setDecimals(3)
        self.period.setSingleStep(0.1)
        self.period.setSuffix(" s")
        self.period.setSpecialValueText("as its log tells")
        self.period.setValue(findings.period_s or 0.0)
        self.seek = button("find it in the pictures", "supplyFind", self._find)
        self.told = label("", "supplyTold", "small", wrap=True)
        grid = QGridLayout()
        grid.setSpacing(tokens().space)
        grid.addWidget(label("resistance of the leads", "supplyLeadsLabel"), 0, 0)
        grid.addWidget(self.leads, 0, 1)
        grid.addWidget(label("period of a pulsed supply", "supplyPeriodLabel"), 1, 0)
        grid.addWidget(self.period, 1, 1)
        grid.addWidget(self.seek, 1, 2)
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("Supply", "supplyTitle", "title"))
        layout.addLayout(grid)
        layout.addWidget(self.told)
        layout.addWidget(label(LEADS, "supplyLeadsWords", "dim", wrap=True))
        layout.addWidget(label(PULSES, "supplyPulsesWords", "dim", wrap=True))
        layout.addLayout(
            row(
                None,
                button("cancel", "supplyCancel", self.reject),
                button("use", "supplyUse", self._use, role="primary"),
            )
        )
        self.resize(540, self.sizeHint().height())
        self._open = True
        desk.said.connect(self._hear)

    def _find(self) -> None:
        self.told.setText("looking …")
        self._desk.findings.find_period(self._found)

    def _found(self, period_s: float) -> None:
        if not self._open:
            return
        self.period.setValue(period_s)
        self.told.setText(f"the pictures come and go every {period_s:.3f} s")

    def _hear(self, severity: str, words: str) -> None:
        if severity != "info" and self.told.text():
            self.told.setText(words)

    def _use(self) -> None:
        self._desk.findings.set_supply(self.period.value() or None, self.leads.value())
        self.accept()

    def done(self, result: int) -> None:
        """Stop listening."""
        if self._open:
            self._open = False
            self._desk.said.disconnect(self._hear)
        super().done(result)
