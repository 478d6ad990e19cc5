"""The verdicts as a table, the most unusual first, in everyday words."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from thermview import units
from thermview.analysis.pair.readings import Compared
from thermview.analysis.pair.verdict import ALIKE, COLDER, HOTTER, OUT_OF_VIEW, UNREADABLE
from thermview.ui.compare.question import Answer
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
AMONG_EQUALS = {
    COLDER: "▼ colder than its equals",
    HOTTER: "▲ hotter than its equals",
    ALIKE: "as its equals",
    OUT_OF_VIEW: "not in the picture",
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
EQUALS_TIPS = {
    COLDER: "dissipates below 0.6 of what its equals do, and beyond 3 sigma",
    HOTTER: "dissipates above 1.6 of what its equals do, and beyond 3 sigma",
    ALIKE: "dissipates as its equals do within the limits (0.6 to 1.6) or the uncertainty",
    OUT_OF_VIEW: "the camera did not see all of it",
    UNREADABLE: "its power is too uncertain, or its equals differ among themselves as well",
}
EQUALS_HEADS = ("", "what it is", "power", "its equals", "rise", "its equals", "how unusual")
EQUALS_HEAD_TIPS = (
    "part or region",
    "judged on the part's own heat: what its neighbours spread to it is taken out",
    "dissipation, with the standard uncertainty of the difference from its equals",
    "median dissipation of its group of equal parts: same package, value and pattern of nets",
    "mean apparent rise of its pixels, at the last moment compared",
    "median of its group at the same moment",
    "difference of the powers in units of its standard uncertainty (sigma)",
)
ON_GOOD = "on the good board"
HEADS = ("", "what it is", "power", ON_GOOD, "rise", ON_GOOD, "how unusual")
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
        self.answer: Answer | None = None

    def show(self, answer: Answer | None) -> None:
        """Show an answer's subjects; None: nothing."""
        self.beginResetModel()
        self.answer = answer
        self.rows = [] if answer is None else answer.found.ranked()
        self.endResetModel()

    @property
    def alone(self) -> bool:
        """Tell whether equals are compared among themselves."""
        return self.answer is not None and self.answer.alone

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
            return self.heads()[section]
        if role == Qt.ItemDataRole.ToolTipRole:
            return (EQUALS_HEAD_TIPS if self.alone else HEAD_TIPS)[section]
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
                found = self._tip(one, column)
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

    def heads(self) -> tuple[str, ...]:
        """Return the columns' names; of several good boards their number."""
        if self.alone:
            return EQUALS_HEADS
        if self.answer is None or self.answer.goods < 2:
            return HEADS
        several = f"{self.answer.goods} good boards"
        return tuple(several if words == ON_GOOD else words for words in HEADS)

    def _tip(self, one: Compared, column: int) -> str:
        if column != VERDICT:
            return str((EQUALS_HEAD_TIPS if self.alone else HEAD_TIPS)[column])
        assert self.answer is not None
        words = [(EQUALS_TIPS if self.alone else TIPS)[one.verdict]]
        if one.name in self.answer.odd:
            words.append(self.answer.odd[one.name])
        if others := self.answer.equals_of(one.name):
            words.append(f"equal parts: {', '.join(others)}")
        return "\n".join(words)

    def texts(self, one: Compared) -> tuple[str, ...]:
        """Return a row's words."""
        assert self.answer is not None
        span_w = self.answer.range_w.get(one.name)
        return (
            one.name,
            self._verdict(one),
            with_sigma_text(one.power_bad_w, one.sigma_w),
            range_text(
                span_w, one.power_good_w, lambda w: power_text(w, span_w[1] if span_w else None)
            ),
            self._display.difference_text(one.rise_bad_k),
            range_text(
                self.answer.range_k.get(one.name),
                one.rise_good_k,
                self._display.difference_text,
            ),
            f"{abs(one.unusual):.1f} σ" if one.verdict != OUT_OF_VIEW else DASH,
        )

    def _verdict(self, one: Compared) -> str:
        assert self.answer is not None
        if self.alone:
            others = self.answer.equals_of(one.name)
            words = AMONG_EQUALS[one.verdict]
            told = one.verdict in (COLDER, HOTTER)
            return f"{words}: {', '.join(others)}" if told else f"{words} ({_count(others)})"
        words = WORDS[one.verdict]
        if one.verdict in (COLDER, HOTTER) and one.name in self.answer.range_w:
            low_w, high_w = self.answer.range_w[one.name]
            if low_w <= one.power_bad_w <= high_w:
                words += ", but good boards differ as much"
        if one.name in self.answer.odd:
            words += ", unlike its equals"
        return words


def _count(others: tuple[str, ...]) -> str:
    return f"{others[0]} and {len(others) - 1} more" if len(others) > 2 else " and ".join(others)


def range_text(
    span: tuple[float, float] | None, single: float, words: Callable[[float], str]
) -> str:
    """Return the one good board's value, or the least and the largest of several."""
    if not span:
        return words(single)
    low, high = words(span[0]), words(span[1])
    if low == high:
        return high
    number, unit = low.rpartition(" ")[::2]
    return f"{number if high.endswith(unit) else low} … {high}"


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
    return units.power_text(watt, sigma_w)


def _alignment(column: int) -> Qt.AlignmentFlag:
    side = Qt.AlignmentFlag.AlignLeft if column <= VERDICT else Qt.AlignmentFlag.AlignRight
    return side | Qt.AlignmentFlag.AlignVCenter
