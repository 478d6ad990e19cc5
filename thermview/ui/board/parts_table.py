"""The table of parts behind a search line: thousands of rows, none of them a widget."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from thermview.board import Part, kind_of

Index = QModelIndex | QPersistentModelIndex
HEADS = ("part", "value", "package")
KINDS = {  # by the designator's letters, IEEE 315 and IEC 81346 as commonly used; from memory
    "C": "capacitors",
    "R": "resistors",
    "L": "coils",
    "D": "diodes",
    "LED": "light-emitting diodes",
    "Q": "transistors",
    "T": "transformers",
    "U": "integrated circuits",
    "IC": "integrated circuits",
    "J": "connectors",
    "X": "connectors",
    "P": "connectors",
    "K": "relays",
    "F": "fuses",
    "FB": "ferrite beads",
    "Y": "crystals",
    "S": "switches",
    "SW": "switches",
    "TP": "test points",
    "H": "holes",
    "MH": "holes",
}


def kind_words(part: Part) -> str:
    """Return what a part is by its designator, in words; unknown letters stand for themselves."""
    letters = kind_of(part.designator)
    return KINDS.get(letters, letters or "other")


class PartsTable(QAbstractTableModel):
    """Rows of parts, in the order of their designators."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.parts: list[Part] = []

    def show(self, parts: Sequence[Part]) -> None:
        """Show these parts."""
        self.beginResetModel()
        self.parts = list(parts)
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's signature
        """Return how many parts are shown."""
        return 0 if parent.isValid() else len(self.parts)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's signature
        """Return the number of columns."""
        return 0 if parent.isValid() else len(HEADS)

    def headerData(
        self,
        section: int,
        orientation: Qt.Orientation,
        role: int = Qt.ItemDataRole.DisplayRole,
    ) -> object:
        """Return a column's head."""
        if role == Qt.ItemDataRole.DisplayRole and orientation is Qt.Orientation.Horizontal:
            return HEADS[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Return a cell's text, or all of a part in its tool tip."""
        part = self.parts[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return (part.designator, part.value, part.package)[index.column()]
        if role == Qt.ItemDataRole.ToolTipRole:
            size = f"{part.width_mm:g} × {part.height_mm:g} mm"
            size += " (assumed)" if part.size_assumed else ""
            words = [part.designator, part.value, part.package, size, part.side, *part.nets]
            return "   ".join(word for word in words if word)
        return None
