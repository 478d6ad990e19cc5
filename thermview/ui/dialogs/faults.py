"""At which temperatures the fault came and went."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialog, QTableWidget, QTableWidgetItem, QWidget

from thermview.errors import UsageError
from thermview.session.faults import FaultRow, fault_table, separating
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row
from thermview.ui.worth_words import worth_text

HEADS = ("mark", "region", "lowest", "highest", "known at", "width ÷ chance")
NARROW = (
    "width of the temperatures at the marks over the width that chance would give; near 0 the "
    "temperature decides, near 1 it has nothing to do with the fault"
)
HOW = (
    "Warm and cool one part at a time, and press the keys for “fault appears” and “fault gone” at "
    "the moments; each is set against the regions' temperatures here."
)


def rows_of(desk: Desk) -> tuple[FaultRow, ...]:
    """Return the table of the open session's marks against its regions' own statistics."""
    session = desk.session
    if session is None:
        return ()
    curves = {}
    for region in desk.document.current.regions:
        try:
            curves[region.name] = session.curves.column(region.id, region.statistic)
        except UsageError:  # not measured yet
            continue
    length = min((len(c) for c in curves.values()), default=0)
    curves = {name: curve[:length] for name, curve in curves.items()}
    return fault_table(session.marks, session.curves.times_s[:length], curves)


class FaultTableDialog(QDialog):
    """The table, and in words the region that separates best."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("faultDialog")
        self.setWindowTitle("fault table")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk = desk
        self.words = label("", "faultWords", wrap=True)
        self.table = named(QTableWidget(0, len(HEADS)), "faultTable")
        self.table.setHorizontalHeaderLabels(HEADS)
        self.table.verticalHeader().hide()
        narrow = self.table.horizontalHeaderItem(len(HEADS) - 1)
        if narrow is not None:
            narrow.setToolTip(NARROW)
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("When does the fault come?", "faultTitle", "title"))
        layout.addWidget(self.words)
        layout.addWidget(self.table, 1)
        layout.addWidget(
            label(
                "A pointer, not a proof: parts that warm together look alike.", "faultNote", "dim"
            )
        )
        layout.addLayout(
            row(
                None,
                button("copy the words", "faultCopy", self._copy),
                button("close", "faultClose", self.accept, role="primary"),
            )
        )
        self.resize(720, 420)
        self.refresh()

    def refresh(self) -> None:
        """Fill the table."""
        rows = rows_of(self._desk)
        unit = self._desk.display.unit
        self.sentences = [found.sentence(unit) for found in rows]
        best = separating(rows)
        if best is not None:
            self.words.setText(best.sentence(unit))
        elif rows:
            self.words.setText("No region's temperature separates the moments yet.")
        else:
            self.words.setText(HOW)
        self.table.setRowCount(len(rows))
        for line, found in enumerate(rows):
            for position, text in enumerate(self._cells(found)):
                self.table.setItem(line, position, QTableWidgetItem(text))
        self.table.resizeColumnsToContents()

    def _cells(self, found: FaultRow) -> tuple[str, ...]:
        narrow = found.narrowness
        return (
            found.kind.value,
            found.region,
            *(self._worth(found, value_k) for value_k in (found.low_k, found.high_k)),
            f"{found.known} of {len(found.temperatures_k)}",
            "" if math.isnan(narrow) else f"{narrow:.2f}",
        )

    def _worth(self, found: FaultRow, value_k: float) -> str:
        """Return one end of the temperatures with its uncertainty, or that it is not readable."""
        desk = self._desk
        region = next((r for r in desk.document.current.regions if r.name == found.region), None)
        if region is None or desk.session is None:
            return desk.display.temperature_text(value_k)
        judged = desk.optics.judge().temperature(region, region.statistic, value_k)
        return worth_text(judged, desk.display)

    def _copy(self) -> None:
        QGuiApplication.clipboard().setText("\n".join(self.sentences))
