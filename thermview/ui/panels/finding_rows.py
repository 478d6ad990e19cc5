"""How one finding is drawn in the list: rank, part, watts, nature; the evidence below."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem

from thermview.analysis.heat.locate import Place, Suspect
from thermview.analysis.heat.nature import Nature
from thermview.ui.theme import tokens
from thermview.units import power_text

Index = QModelIndex | QPersistentModelIndex
ROW_ROLE = int(Qt.ItemDataRole.UserRole)

SIGNS = {Nature.HEATING: "▲", Nature.UNCERTAIN: "?", Nature.REFLECTION: "◇"}
TIPS = {
    Nature.HEATING: "follows the power with the lag of its thermal mass, and spreads to the board",
    Nature.REFLECTION: "mirrors its surroundings: no heat of its own is seen",
    Nature.UNCERTAIN: "neither heat nor a reflection explains it well enough",
}
DECIDE = "To decide: pulse the supply, or put a patch of matt tape on it."
EXPECTED = "✓"
BROAD_MM = 4.0
_PAD, _GAP = 6, 10
_WRAP = int(Qt.TextFlag.TextWordWrap)
_RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
_LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)


@dataclass(frozen=True, slots=True)
class Row:
    """What stands in one row; ranks are given when all rows are known."""

    rank: int
    name: str
    power: str
    nature: Nature
    evidence: str
    tip: str
    expected: bool = False
    part: str = ""
    x_px: float = 0.0
    y_px: float = 0.0
    place: Place | None = None

    @property
    def nature_words(self) -> str:
        """Return the nature in words; what is meant to be warm says so instead."""
        if self.expected:
            return "meant to be warm"
        return self.nature.value


def row_of_suspect(suspect: Suspect, what: str) -> Row:
    """Return the row of a part; `what` is its value and package, for the tip."""
    evidence = suspect.words[:1].upper() + suspect.words[1:].rstrip(".") + "."
    if suspect.nature is Nature.UNCERTAIN and "tape" not in evidence:
        evidence = f"{evidence} {DECIDE}"
    tip = [
        f"{suspect.part} {what}".strip(),
        evidence,
        TIPS[suspect.nature],
        f"power dissipated, ± one standard uncertainty; signal to noise {suspect.snr:.0f}",
    ]
    if suspect.onset_s is not None:
        tip.append(f"first seen at {suspect.onset_s:.1f} s; rises {suspect.rise_k:.2g} K")
    return Row(
        0,
        suspect.part,
        suspect.power_text,
        suspect.nature,
        evidence,
        "\n".join(tip),
        suspect.expected,
        suspect.part,
        suspect.x_px,
        suspect.y_px,
    )


def row_of_place(place: Place) -> Row:
    """Return the row of a source that is on no listed part."""
    known = place.x_mm is not None and place.y_mm is not None
    where = f"{place.x_mm:.0f}, {place.y_mm:.0f} mm" if known else ""
    where = where or f"{place.x_px:.0f}, {place.y_px:.0f} px"
    power = ""
    if place.power_w is not None and place.power_sigma_w is not None:
        power = power_text(place.power_w, place.power_sigma_w)
    evidence = f"Rises {place.rise_k:.2g} K."
    if known:  # else no list tells of parts, and no scale of millimetres
        spread = spread_words(place.radius_mm)
        evidence = f"Not on a listed part; {spread}; rises {place.rise_k:.2g} K."
    if place.path_px:
        evidence = f"Heat along a line{_length_words(place)}, which ends at {where}."
    return Row(
        0,
        "glowing track" if place.path_px else f"at {where}",
        power,
        place.nature,
        evidence,
        f"{TIPS[place.nature]}\nsignal to noise {place.snr:.0f}",
        expected=place.expected,
        x_px=place.x_px,
        y_px=place.y_px,
        place=place,
    )


def _length_words(place: Place) -> str:
    steps = [math.dist(a, b) for a, b in pairwise(place.path_mm)]
    return f", {sum(steps):.0f} mm long" if steps else ""


def spread_words(radius_mm: float) -> str:
    """Return how wide the heat lies: broad heat comes from a plane, or from the far side."""
    if radius_mm > BROAD_MM:
        return f"broad, ± {radius_mm:.0f} mm: a plane, the far side, or under a chip"
    return f"within {radius_mm:.1f} mm"


class FindingDelegate(QStyledItemDelegate):
    """Draws `Row`s in two lines and more; items without one as Qt does."""

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """Return the room for the head line and the evidence."""
        row = index.data(ROW_ROLE)
        if not isinstance(row, Row):
            return super().sizeHint(option, index)
        view = option.widget
        width = view.viewport().width() if isinstance(view, QListView) else 300
        head = QFontMetrics(_font(option, tokens().large)).height()
        evidence = self._evidence_rect(option, index, row, QRect(0, 0, width, 10_000))
        return QSize(width, head + evidence.height() + 2 * _PAD)

    def _evidence_rect(
        self, option: QStyleOptionViewItem, index: Index, row: Row, inside: QRect
    ) -> QRect:
        """Return where the evidence stands: whole for the chosen row, else one line."""
        indent = QFontMetrics(_font(option, tokens().large)).horizontalAdvance("00")
        room = inside.adjusted(_PAD + indent, 0, -_PAD, 0)
        metrics = QFontMetrics(_font(option, tokens().small))
        if _is_open(option, index):
            return metrics.boundingRect(room, _WRAP, row.evidence)
        room.setHeight(metrics.height())
        return room

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        row = index.data(ROW_ROLE)
        if not isinstance(row, Row):
            super().paint(painter, option, index)
            return
        theme = tokens()
        rect, state = option.rect, option.state
        painter.save()
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(rect, QColor(theme.select))
        elif state & QStyle.StateFlag.State_MouseOver:
            painter.fillRect(rect, QColor(theme.raised))
        large, body = _font(option, theme.large), _font(option, theme.body)
        heavy = QFont(large)
        heavy.setWeight(QFont.Weight.DemiBold)
        indent = QFontMetrics(large).horizontalAdvance("00")
        line = QRect(rect.left() + _PAD, rect.top() + _PAD, rect.width() - 2 * _PAD, 0)
        line.setHeight(QFontMetrics(large).height())
        faint = row.expected or row.nature is not Nature.HEATING
        text = QColor(theme.text_dim if faint else theme.text)
        x = _write(painter, line, f"{row.rank}", body, QColor(theme.text_dim))
        x = line.left() + indent
        x = _write(painter, _from(line, x), row.name, heavy, text) + _GAP
        x = _write(painter, _from(line, x), row.power, body if faint else large, text) + _GAP
        sign = EXPECTED if row.expected else SIGNS[row.nature]
        words = f"{sign} {row.nature_words}"
        tone = theme.warning if row.nature is Nature.UNCERTAIN else theme.text_dim
        if row.nature is Nature.HEATING and not row.expected:
            tone = theme.accent
        painter.setFont(body)
        painter.setPen(QColor(tone))
        if QFontMetrics(body).horizontalAdvance(words) > line.right() - x:
            words = sign
        painter.drawText(
            line, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), words
        )
        below = QRect(rect.left(), line.bottom() + _PAD // 2, rect.width(), rect.height())
        small = _font(option, theme.small)
        painter.setFont(small)
        painter.setPen(QColor(theme.text_dim))
        place, words = self._evidence_rect(option, index, row, below), row.evidence
        if not _is_open(option, index):
            end = Qt.TextElideMode.ElideRight
            words = QFontMetrics(small).elidedText(words, end, place.width())
        painter.drawText(place, _WRAP, words)
        painter.restore()


def _is_open(option: QStyleOptionViewItem, index: Index) -> bool:
    """Tell whether a row shows all of its evidence: the chosen one, the first where none is."""
    view = option.widget
    current = view.currentIndex() if isinstance(view, QListView) else QModelIndex()
    return index.row() == (current.row() if current.isValid() else 0)


def _font(option: QStyleOptionViewItem, size_px: int) -> QFont:
    font = QFont(option.font)
    font.setPixelSize(size_px)
    return font


def _from(line: QRect, x: int) -> QRect:
    return QRect(x, line.top(), line.right() - x, line.height())


def _write(painter: QPainter, rect: QRect, text: str, font: QFont, colour: QColor) -> int:
    """Write a text at the left; return where it ends."""
    painter.setFont(font)
    painter.setPen(colour)
    painter.drawText(rect, _LEFT, text)
    return rect.left() + QFontMetrics(font).horizontalAdvance(text)
