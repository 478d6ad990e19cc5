"""The table of all regions: name, number, rise, rate, and the rest as far as there is room."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QPixmap

from thermview.errors import ThermviewError
from thermview.radiometry import Reading as Worth
from thermview.regions import Difference, Region
from thermview.ui.desk import Desk
from thermview.ui.display import DASH, Display
from thermview.ui.readings import (
    Reading,
    arrow,
    is_apparent,
    rate_number,
    read_region,
)
from thermview.ui.region_worth import RegionWorth, difference_worth, worth_of
from thermview.ui.theme import tokens
from thermview.ui.worth_words import (
    NOT_READABLE,
    bare_text,
    interval_words,
    number_text,
    origin_words,
    worth_text,
)

Index = QModelIndex | QPersistentModelIndex
COLUMNS = ("region", "rise", "now", "rate", "max", "mean", "min", "max at")
NAME, RISE, NOW, RATE, MAX, MEAN, MIN, PLACE = range(8)
TIPS = (
    "double-click to rename",
    "how much it is above the zero, ± its standard uncertainty: surer than the temperature, for "
    "the camera's own error cancels",
    "the region's own number: its highest, mean or lowest temperature at the shown moment, "
    "± its standard uncertainty",
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
        self._worths: dict[str, RegionWorth] = {}
        self._differences: dict[str, Worth] = {}
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
        self._worths.clear()
        self._differences.clear()
        if session is not None:
            for item in self._rows:
                if isinstance(item, Region):
                    plain = read_region(session.curves, item, number)
                    self._readings[item.id] = plain
                    self._worths[item.id] = worth_of(self._desk, item, plain)
                else:
                    self._differences[item.id] = difference_worth(self._desk, item, number)
        if self._rows:
            last = self.index(len(self._rows) - 1, len(COLUMNS) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def item(self, row: int) -> Region | Difference:
        """Return what stands in a row."""
        return self._rows[row]

    def reading(self, region_id: str) -> Reading | None:
        """Return a region's numbers at the shown moment."""
        return self._readings.get(region_id)

    def worth(self, region_id: str) -> RegionWorth | None:
        """Return what a region's numbers are worth at the shown moment."""
        return self._worths.get(region_id)

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
            found = self._differences.get(item.id)
            shown = DASH if found is None else bare_text(found, display, rise=True)
            return shown if column == RISE else ""
        reading, worth = self._readings.get(item.id), self._worths.get(item.id)
        if reading is None or worth is None:
            return DASH
        if column == PLACE:
            known = reading.max_x == reading.max_x
            return f"{reading.max_x:.0f}, {reading.max_y:.0f}" if known else DASH
        over = "▲ " if reading.over_limit and column == NOW else ""
        return (
            over
            + {
                NOW: lambda: bare_text(worth.now, display),
                RISE: lambda: bare_text(worth.rise, display, rise=True),
                RATE: lambda: _rate(reading, worth, display),
                MAX: lambda: bare(number_text(worth.highest, display)),
                MEAN: lambda: bare(number_text(worth.mean, display)),
                MIN: lambda: bare(number_text(worth.lowest, display)),
            }[column]()
        )

    def _tip(self, item: Region | Difference) -> str:
        if isinstance(item, Difference):
            what = f"{item.name}: the first region less the second ({self._desk.statistic})"
            found = self._differences.get(item.id)
            if found is None:
                return what
            interval = interval_words(found, self._desk.display, rise=True)
            return f"{what}\n{origin_words(found)}\n{interval}".rstrip()
        reading, worth = self._readings.get(item.id), self._worths.get(item.id)
        if reading is None or worth is None:
            return item.name
        display = self._desk.display
        lines = [
            f"{item.name} (its {item.statistic})",
            f"max {worth_text(worth.highest, display)} at column {reading.max_x:.1f}, "
            f"row {reading.max_y:.1f}",
            f"mean {worth_text(worth.mean, display)}, min {worth_text(worth.lowest, display)}",
            f"standard uncertainty of the temperature: {origin_words(worth.now)}",
            interval_words(worth.now, display),
            f"of the rise: {origin_words(worth.rise)}",
            interval_words(worth.rise, display, rise=True),
            *worth.notes,
        ]
        if arrow(reading.rate_k_s, reading.rate_sigma) == "→":
            lines.append("steady within its uncertainty")
        if reading.over_limit and item.limit_k is not None:
            lines.append(f"above its limit of {display.temperature_text(item.limit_k)}")
        session = self._desk.session
        if session is not None and is_apparent(item, session.scene):
            lines.append("apparent temperature: no emissivity is stated, shiny parts read wrong")
        return "\n".join(line for line in lines if line)


def _rate(reading: Reading, worth: RegionWorth, display: Display) -> str:
    if not worth.now.readable:
        return DASH
    return rate_number(reading.rate_k_s, reading.rate_sigma, display)


def bare(text: str) -> str:
    """Return a number's words without the unit, which stands in the column's head."""
    return text if text == NOT_READABLE else text.split(" ", maxsplit=1)[0]


def _alignment(column: int) -> int:
    side = Qt.AlignmentFlag.AlignLeft if column == NAME else Qt.AlignmentFlag.AlignRight
    return int(side | Qt.AlignmentFlag.AlignVCenter)


def _swatch(colour: str) -> QPixmap:
    made = QPixmap(10, 10)
    made.fill(QColor(colour))
    return made
