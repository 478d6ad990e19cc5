"""The tools at the picture's left edge."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAction, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QToolButton, QVBoxLayout, QWidget

from thermview.ui.widgets import named


class ToolColumn(QWidget):
    """Tools above, switches below; side by side where one column is too high.

    Parameters
    ----------
    tools, switches : sequence of (name, QAction)
        Each becomes a button called ``button_`` and its name.
    """

    def __init__(
        self,
        tools: Sequence[tuple[str, QAction]],
        switches: Sequence[tuple[str, QAction]],
        parent: QWidget,
    ) -> None:
        super().__init__(parent)
        self._row = QBoxLayout(QBoxLayout.Direction.TopToBottom, self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(0)
        self._row.setSizeConstraint(QBoxLayout.SizeConstraint.SetNoConstraint)
        self._columns = [self._column(tools), self._column(switches)]
        self._row.addLayout(self._columns[0])
        self._row.addStretch(1)
        self._row.addLayout(self._columns[1])

    def _column(self, actions: Sequence[tuple[str, QAction]]) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.setAlignment(Qt.AlignmentFlag.AlignTop)
        for name, action in actions:
            made = named(QToolButton(self), f"button_{name}", "flat")
            made.setDefaultAction(action)
            made.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            made.setAccessibleName(action.text())
            column.addWidget(made)
        return column

    def sizeHint(self) -> QSize:
        """Return the size of the columns as they stand now."""
        return QSize(self._row.sizeHint().width(), self.minimumSizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """Return their width as they stand now, and the higher one's height."""
        height = max(column.minimumSize().height() for column in self._columns)
        return QSize(self._row.minimumSize().width(), height)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Stand below or beside each other."""
        super().resizeEvent(event)
        needed = sum(column.minimumSize().height() for column in self._columns)
        ways = QBoxLayout.Direction
        self._row.setDirection(ways.TopToBottom if self.height() >= needed else ways.LeftToRight)
        self.updateGeometry()
