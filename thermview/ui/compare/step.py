"""Puts the step "compare" into the window: its page in place of the picture, the strip beneath."""

from __future__ import annotations

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QStackedWidget, QWidget

from thermview.ui.compare.halves import HalvesPanel
from thermview.ui.compare.page import ComparePage
from thermview.ui.compare.room import CompareRoom
from thermview.ui.compare.shelf import ShelfKeeper
from thermview.ui.desk import Desk
from thermview.ui.panels.steps import StepBar
from thermview.ui.region_edits import RegionEdits
from thermview.ui.widgets import named

NAME = "compare"


class CompareStep(QObject):
    """Shows and hides what belongs to the step."""

    def __init__(self, desk: Desk, steps: StepBar, edits: RegionEdits, findings: QWidget) -> None:
        super().__init__(desk)
        self.room = CompareRoom(desk)
        self.shelf = ShelfKeeper(desk)
        self.page = ComparePage(desk, self.room, self.shelf)
        self.halves = HalvesPanel(desk, edits, lambda: self.room.show_halves(False))
        self.stack = named(QStackedWidget(), "compareStack")
        self._steps = steps
        self._findings = findings  # the halves stand in their place
        steps.chosen.connect(lambda _: self.refresh())
        self.room.changed.connect(self.refresh)

    def around(self, usual: QWidget) -> QWidget:
        """Return what stands above the strip: the usual picture with its lists, or the page."""
        self.stack.addWidget(usual)
        self.stack.addWidget(self.page)
        self.refresh()
        return self.stack

    def give_way(self) -> None:
        """Let the usual picture be seen, where the page covers it."""
        if self.room.attended:
            self._steps.choose("")

    def ask_keep(self) -> None:
        """Put the open recording onto the shelf of known-good boards."""
        self.page.choose.shelf.ask_keep()

    @property
    def chosen(self) -> bool:
        """Tell whether the step is open."""
        step = self._steps.current
        return step is not None and step.name == NAME

    def refresh(self) -> None:
        """Follow the step and what is compared in it."""
        beside = self.chosen and self.room.halves
        self.halves.setVisible(beside)
        self._findings.setVisible(not beside)
        paged = self.chosen and not self.room.halves
        self.room.attended = paged
        self.stack.setCurrentIndex(int(paged))

    def shut(self) -> None:
        """Wait for what is being computed, at the end of the window."""
        self.room.shut()
        self.shelf.clear()
