"""The verdicts as a table, the most unusual first, in everyday words."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from thermview.analysis.pair.compare import Compared
from thermview.analysis.pair.verdict import ALIKE, COLDER, HOTTER, OUT_OF_VIEW, UNREADABLE
from thermview.ui.display import DASH, Display
from thermview.ui.theme import tokens

Index = QModelIndex | QPersistentModelIndex

WORDS = {
    COLDER: "▼ colder than it should be",
    HOTTER: "▲ hotter than it should be",
    ALIKE: "as on the good board",
    OUT_OF_VIEW: "not in both pictures",
    UNREADABLE: "cannot be told",
}
TIPS = {
    COLDER: "dissipates below 0.6 of what it does on the good board, and beyond 3 sigma",
    HOTTER: "dissipates above 1.6 of what it does on the good board, and beyond 3 sigma",
    ALIKE: "dissipates the same within the limits (0.6 to 1.6), or the difference is within "
    "its uncertainty",
    OUT_OF_VIEW: "one of the two cameras did not see all of it",
    UNREADABLE: "too shiny, too small, or too uncertain for a verdict",
}
HEADS = ("", "what it is", "power", "on the good board", "rise", "on the good board", "how unusual")
HEAD_TIPS = (
    "part, region or place",
    "judged on the part's own heat: what its neighbours spread to it is taken out",
    "dissipation on this board, with the standard uncertainty of the difference",
    "dissipation on the good board, brought to this board's supply level; of several good boards "
    "of the model the least and the largest",
    "mean apparent rise of its pixels, at the end of the time that both recordings have",
    "mean apparent rise of its pixels, at the same time after power-on",
    "difference of the powers in units of its standard uncertainty (sigma)",
)
NAME, VERDICT = 0, 1


class VerdictModel(QAbstractTableModel):
    """Rows of `Compared`."""

    def __init__(self, display: Display) -> None:
        super().__init__()
        self._display = display
        self.rows: list[Compared] = []
        self.range_w: dict[str, tuple[float, float]] = {}

    def show(
        self, rows: list[Compared], range_w: dict[str, tuple[float, float]] | None = None
    ) -> None:
        """Show these rows; `range_w` has what several good boards of the model dissipate."""
        self.beginResetModel()
        self.rows, self.range_w = rows, range_w or {}
        self.endResetModel()

    def row_of(self, name: str) -> int:
        """Return the row of a subject, -1 for none."""
        return next((n for n, one in enumerate(self.rows) if one.name == name), -1)

    def rowCount(self, parent: Index | None = None) -> int:
        """Return how many subjects there are."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """Return how many columns there are."""
        return len(HEADS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return the columns' names and what they mean."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return HEADS[section]
        if role == Qt.ItemDataRole.ToolTipRole:
            return HEAD_TIPS[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(_alignment(section))
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell's words, colour, font, tip."""
        one, column = self.rows[index.row()], index.column()
        accused = one.verdict in (COLDER, HOTTER)
        match role:
            case Qt.ItemDataRole.DisplayRole:
                found: Any = self.texts(one)[column]
            case Qt.ItemDataRole.TextAlignmentRole:
                found = int(_alignment(column))
            case Qt.ItemDataRole.ToolTipRole:
                found = TIPS[one.verdict] if column == VERDICT else HEAD_TIPS[column]
            case Qt.ItemDataRole.FontRole if accused and column <= VERDICT:
                found = QFont()
                found.setPixelSize(tokens().body)
                found.setBold(True)
            case Qt.ItemDataRole.ForegroundRole if accused:
                found = QColor(tokens().warning) if column == VERDICT else None
            case Qt.ItemDataRole.ForegroundRole:
                found = QColor(tokens().text_dim)
            case _:
                found = None
        return found

    def texts(self, one: Compared) -> tuple[str, ...]:
        """Return a row's words."""
        return (
            one.name,
            self._verdict(one),
            with_sigma_text(one.power_bad_w, one.sigma_w),
            self._good_power(one),
            self._display.difference_text(one.rise_bad_k),
            self._display.difference_text(one.rise_good_k),
            f"{abs(one.unusual):.1f} σ" if one.verdict != OUT_OF_VIEW else DASH,
        )

    def _verdict(self, one: Compared) -> str:
        words = WORDS[one.verdict]
        if one.verdict in (COLDER, HOTTER) and one.name in self.range_w:
            low_w, high_w = self.range_w[one.name]
            if low_w <= one.power_bad_w <= high_w:
                return f"{words}, but so is another good board"
        return words

    def _good_power(self, one: Compared) -> str:
        """Return the good board's power, or the range of several good boards."""
        if one.name not in self.range_w:
            return power_text(one.power_good_w)
        low_w, high_w = self.range_w[one.name]
        low, high = power_text(low_w, high_w), power_text(high_w)
        return high if low == high else f"{low.split(' ')[0]} … {high}"


def power_text(watt: float, unit_of: float | None = None) -> str:
    """Return a power as people read it, in W or mW as `unit_of` (else itself) asks."""
    if not math.isfinite(watt):
        return DASH
    if abs(unit_of if unit_of is not None else watt) >= 1.0:
        return f"{watt:.2f} W"
    return f"{1e3 * watt:.0f} mW"


def with_sigma_text(watt: float, sigma_w: float) -> str:
    """Return a power with its standard uncertainty: ``12 ± 6 mW``."""
    if not math.isfinite(watt):
        return DASH
    if not math.isfinite(sigma_w):
        return power_text(watt)
    number, unit = power_text(watt).split(" ")
    return f"{number} ± {power_text(sigma_w, watt if unit == 'W' else 0.0).split(' ')[0]} {unit}"


def _alignment(column: int) -> Qt.AlignmentFlag:
    side = Qt.AlignmentFlag.AlignLeft if column <= VERDICT else Qt.AlignmentFlag.AlignRight
    return side | Qt.AlignmentFlag.AlignVCenter
