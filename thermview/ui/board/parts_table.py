"""The table of parts behind a search line: thousands of rows, none of them a widget."""

from __future__ import annotations

import re
from collections.abc import Sequence

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from thermview.board import Part

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


def kind_of(part: Part) -> str:
    """Return what a part is by its designator, in words; unknown letters stand for themselves."""
    letters = re.match(r"[A-Za-z]*", part.designator)
    key = letters[0].upper() if letters else ""
    return KINDS.get(key, key or "other")


def in_order(part: Part) -> tuple[str, int, str]:
    """Return what sorts C2 before C10."""
    match = re.match(r"([A-Za-z]*)(\d*)(.*)", part.designator)
    assert match is not None
    return match[1].upper(), int(match[2] or 0), match[3]


def matches(part: Part, words: str) -> bool:
    """Tell whether each of the words begins the designator or stands in value, package or nets."""
    for word in words.lower().split():
        begun = part.designator.lower().startswith(word)
        rest = f"{part.value} {part.package} {' '.join(part.nets)}".lower()
        if not (begun or (len(word) > 1 and word in rest)):
            return False
    return True


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
