"""The table of all regions: name, number, rise, rate, and the rest as far as there is room."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QPixmap

from thermview.errors import ThermviewError
from thermview.regions import Difference, Region
from thermview.ui.desk import Desk
from thermview.ui.display import DASH
from thermview.ui.readings import (
    Reading,
    arrow,
    is_apparent,
    rate_number,
    read_difference,
    read_region,
)
from thermview.ui.theme import tokens

Index = QModelIndex | QPersistentModelIndex
COLUMNS = ("region", "now", "rise", "rate", "max", "mean", "min", "max at")
NAME, NOW, RISE, RATE, MAX, MEAN, MIN, PLACE = range(8)
TIPS = (
    "double-click to rename",
    "the region's own number: its highest, mean or lowest temperature at the shown moment",
    "how much it is above the zero",
    "how fast it changes: robust slope over the last 2 s; → is within its own uncertainty",
    "highest pixel",
    "mean of the pixels' temperatures",
    "lowest pixel",
    "column and row of the highest pixel",
)


class ReadingsModel(QAbstractTableModel):
    """Regions, then differences, at the shown moment."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._rows: list[Region | Difference] = []
        self._readings: dict[str, Reading] = {}
        self._differences: dict[str, float] = {}
        self.rebuild()

    def rebuild(self) -> None:
        """Take the regions anew."""
        current = self._desk.document.current
        rows: list[Region | Difference] = [*current.regions, *current.differences]
        self.headerDataChanged.emit(Qt.Orientation.Horizontal, 0, len(COLUMNS) - 1)
        if [r.id for r in rows] != [r.id for r in self._rows]:
            self.beginResetModel()
            self._rows = rows
            self.endResetModel()
        else:
            self._rows = rows
        self.refresh()

    def refresh(self) -> None:
        """Take the numbers anew."""
        session, number = self._desk.session, self._desk.shown_number
        self._readings.clear()
        self._differences.clear()
        if session is not None:
            for item in self._rows:
                if isinstance(item, Region):
                    self._readings[item.id] = read_region(session.curves, item, number)
                else:
                    stat = self._desk.statistic
                    value = read_difference(session.curves, item, stat, number)
                    self._differences[item.id] = value
        if self._rows:
            last = self.index(len(self._rows) - 1, len(COLUMNS) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def item(self, row: int) -> Region | Difference:
        """Return what stands in a row."""
        return self._rows[row]

    def reading(self, region_id: str) -> Reading | None:
        """Return a region's numbers at the shown moment."""
        return self._readings.get(region_id)

    def row_of(self, item_id: str) -> int:
        """Return the row of a region or difference, -1 for none."""
        return next((n for n, item in enumerate(self._rows) if item.id == item_id), -1)

    # ---- Qt's side -----------------------------------------------------------------------

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008  # Qt's signature
        """Return the number of regions and differences."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        """Return the number of columns."""
        return 0 if parent.isValid() else len(COLUMNS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return a column's head."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return self.head(section)
        if role == Qt.ItemDataRole.ToolTipRole:
            return TIPS[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(section)
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Return what can be done with a cell: names can be edited."""
        plain = super().flags(index)
        return plain | Qt.ItemFlag.ItemIsEditable if index.column() == NAME else plain

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell."""
        item, column = self._rows[index.row()], index.column()
        match role:
            case Qt.ItemDataRole.DisplayRole:
                found: Any = self.text(item, column)
            case Qt.ItemDataRole.EditRole:
                found = item.name
            case Qt.ItemDataRole.TextAlignmentRole:
                found = _alignment(column)
            case Qt.ItemDataRole.DecorationRole if column == NAME:
                found = _swatch(self._desk.colour(item.id))
            case Qt.ItemDataRole.ForegroundRole if self._over(item) and column in (NOW, MAX):
                found = QColor(tokens().error)
            case Qt.ItemDataRole.ToolTipRole:
                found = self._tip(item)
            case _:
                found = None
        return found

    def _over(self, item: Region | Difference) -> bool:
        reading = self._readings.get(item.id)
        return reading is not None and reading.over_limit

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Rename; a name that is taken is said and refused."""
        if role != Qt.ItemDataRole.EditRole or index.column() != NAME:
            return False
        try:
            self._desk.document.rename(self._rows[index.row()].id, str(value))
        except ThermviewError as error:
            self._desk.say("error", str(error))
            return False
        return True

    def head(self, column: int) -> str:
        """Return a column's head with its unit."""
        display = self._desk.display
        unit = display.symbol
        if column == RISE:
            unit = display.difference_symbol
        elif column == RATE:
            unit = f"{display.difference_symbol or '1'}/s"
        elif column in (NAME, PLACE):
            unit = ""
        return f"{COLUMNS[column]} {unit}".strip()

    def text(self, item: Region | Difference, column: int) -> str:
        """Return a cell's words."""
        display = self._desk.display
        if column == NAME:
            return item.name
        if isinstance(item, Difference):
            value = self._differences.get(item.id, float("nan"))
            return bare(display.difference_text(value)) if column == RISE else ""
        reading = self._readings.get(item.id)
        if reading is None:
            return DASH
        if column == PLACE:
            known = reading.max_x == reading.max_x
            return f"{reading.max_x:.0f}, {reading.max_y:.0f}" if known else DASH
        over = "▲ " if reading.over_limit and column == NOW else ""
        return (
            over
            + {
                NOW: lambda: bare(display.temperature_text(reading.now_k)),
                RISE: lambda: bare(display.difference_text(reading.rise_k)),
                RATE: lambda: rate_number(reading.rate_k_s, reading.rate_sigma, display),
                MAX: lambda: bare(display.temperature_text(reading.max_k)),
                MEAN: lambda: bare(display.temperature_text(reading.mean_k)),
                MIN: lambda: bare(display.temperature_text(reading.min_k)),
            }[column]()
        )

    def _tip(self, item: Region | Difference) -> str:
        if isinstance(item, Difference):
            return f"{item.name}: the first region less the second ({self._desk.statistic})"
        reading = self._readings.get(item.id)
        if reading is None:
            return item.name
        display = self._desk.display
        lines = [
            f"{item.name} (its {item.statistic})",
            f"max {display.temperature_text(reading.max_k)} at column {reading.max_x:.1f}, "
            f"row {reading.max_y:.1f}",
            f"mean {display.temperature_text(reading.mean_k)}, "
            f"min {display.temperature_text(reading.min_k)}",
        ]
        if arrow(reading.rate_k_s, reading.rate_sigma) == "→":
            lines.append("steady within its uncertainty")
        if reading.over_limit and item.limit_k is not None:
            lines.append(f"above its limit of {display.temperature_text(item.limit_k)}")
        session = self._desk.session
        if session is not None and is_apparent(item, session.scene):
            lines.append("apparent temperature: no emissivity is stated, shiny parts read wrong")
        return "\n".join(lines)


def bare(text: str) -> str:
    """Return a number's words without the unit, which stands in the column's head."""
    return text.split(" ", maxsplit=1)[0]


def _alignment(column: int) -> int:
    side = Qt.AlignmentFlag.AlignLeft if column == NAME else Qt.AlignmentFlag.AlignRight
    return int(side | Qt.AlignmentFlag.AlignVCenter)


def _swatch(colour: str) -> QPixmap:
    made = QPixmap(10, 10)
    made.fill(QColor(colour))
    return made
