"""Small helpers for building widgets: named, styled by role, and never stealing the keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import qtawesome
from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QIcon, QKeyEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QBoxLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLayout,
    QPushButton,
    QTableView,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from thermview.ui.theme import tokens

W = TypeVar("W", bound=QWidget)


def icon(name: str, colour: str | None = None) -> QIcon:
    """Return an icon of the one open set in use (Material Design Icons) in the text's colour."""
    theme = tokens()
    found: QIcon = qtawesome.icon(
        f"mdi6.{name}", color=colour or theme.text, color_disabled=theme.line
    )
    return found


def named(widget: W, name: str, role: str = "") -> W:
    """Give a widget its object name, and the role that the style sheet knows."""
    widget.setObjectName(name)
    if role:
        widget.setProperty("role", role)
    return widget


def label(text: str, name: str, role: str = "", *, wrap: bool = False) -> QLabel:
    """Return a label of plain text."""
    made = named(QLabel(text), name, role)
    made.setTextFormat(Qt.TextFormat.PlainText)
    made.setWordWrap(wrap)
    return made


def set_tone(widget: QWidget, tone: str) -> None:
    """Colour a label: ``warning``, ``error``, ``good``, ``accent`` or plain."""
    if widget.property("tone") != tone:
        widget.setProperty("tone", tone)
        widget.style().unpolish(widget)
        widget.style().polish(widget)


def button(
    text: str,
    name: str,
    clicked: Callable[[], object] | None = None,
    *,
    role: str = "",
    tip: str = "",
    symbol: str = "",
) -> QPushButton:
    """Return a push button that takes the keyboard only when tabbed to."""
    made = named(QPushButton(text), name, role)
    _finish(made, clicked, tip, symbol, on_accent=role == "primary")
    return made


def tool(
    symbol: str, name: str, clicked: Callable[[], object] | None = None, *, tip: str, text: str = ""
) -> QToolButton:
    """Return a flat button with an icon; `tip` is also what a screen reader says."""
    made = named(QToolButton(), name, "flat")
    made.setText(text)
    if text:
        made.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
    made.setAccessibleName(tip)
    _finish(made, clicked, tip, symbol)
    return made


def _finish(
    made: QAbstractButton,
    clicked: Callable[[], object] | None,
    tip: str,
    symbol: str,
    *,
    on_accent: bool = False,
) -> None:
    made.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    made.setToolTip(tip)
    made.setProperty("symbol", symbol)
    made.setProperty("on_accent", on_accent)
    set_icon(made)
    if clicked is not None:
        made.clicked.connect(lambda *_: clicked())


def set_icon(made: QAbstractButton) -> None:
    """Give a button its icon in the colours of the theme in use."""
    symbol = made.property("symbol")
    if symbol:
        made.setIcon(icon(symbol, tokens().on_accent if made.property("on_accent") else None))


def panel(name: str, *, margin: int | None = None) -> tuple[QFrame, QVBoxLayout]:
    """Return a panel's frame and its upright layout."""
    frame = named(QFrame(), name, "panel")
    layout = QVBoxLayout(frame)
    _space(layout, tokens().space if margin is None else margin)
    return frame, layout


def column(parent: QWidget | None = None, *, margin: int = 0) -> QVBoxLayout:
    """Return an upright layout with the theme's spacing."""
    layout = QVBoxLayout(parent) if parent is not None else QVBoxLayout()
    _space(layout, margin)
    return layout


def row(*widgets: QWidget | QLayout | None) -> QHBoxLayout:
    """Return a level layout of widgets; None is a stretch."""
    layout = QHBoxLayout()
    _space(layout, 0)
    for widget in widgets:
        if widget is None:
            layout.addStretch(1)
        elif isinstance(widget, QLayout):
            layout.addLayout(widget)
        else:
            layout.addWidget(widget)
    return layout


def _space(layout: QBoxLayout, margin: int) -> None:
    layout.setContentsMargins(margin, margin, margin, margin)
    layout.setSpacing(tokens().space)


class SpacePresses(QObject):
    """Lets the space bar press a button that was tabbed to, though it also plays and pauses."""

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Claim the space bar for a focused button."""
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(watched, QAbstractButton)
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Space
        ):
            event.accept()
        return False


class Refresher(QObject):
    """Refreshes a widget now and then: only while it is seen, and only when marked stale."""

    def __init__(self, widget: QWidget, refresh: Callable[[], None], interval_ms: int) -> None:
        super().__init__(widget)
        self._widget = widget
        self._refresh = refresh
        self._stale = True
        self._timer = QTimer(self)
        self._timer.setInterval(interval_ms)
        self._timer.timeout.connect(self._look)
        self._timer.start()

    def mark(self, *_: object) -> None:
        """Say that what is shown is old; takes any signal's arguments."""
        self._stale = True

    def clear(self) -> None:
        """Say that what is shown is new."""
        self._stale = False

    def _look(self) -> None:
        if self._stale and self._widget.isVisible():
            self._refresh()


def plain_rows(table: QTableView, row_px: int | None = None) -> None:
    """Let a table be a list of whole rows: no grid, no numbers at the side."""
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setShowGrid(False)
    table.verticalHeader().hide()
    if row_px is not None:
        table.verticalHeader().setDefaultSectionSize(row_px)
