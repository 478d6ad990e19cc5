"""The bench's order of work: what each step needs, its cautions, and what can be done in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QBoxLayout, QButtonGroup, QFrame, QHBoxLayout, QWidget

from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, tool


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its words, what it is for, what it needs, what can hurt, its actions by name."""

    name: str
    title: str
    purpose: str
    needs: str
    caution: str
    actions: tuple[str, ...]


STEPS = (
    Step(
        "look",
        "look",
        "Eyes first: burnt, bulged or cracked parts, bad joints, foreign metal.",
        "light, a magnifier, the board off and unplugged",
        "Capacitors stay charged after switching off: discharge them safely, and measure that "
        "they are empty before you touch.",
        ("open", "camera", "note"),
    ),
    Step(
        "measure",
        "measure",
        "Then the meter: is any rail shorted to ground, or nearly? Note the readings.",
        "a multimeter, the board off and discharged",
        "Never measure resistance on a live circuit. Mains and high voltage are for trained and, "
        "where the law asks it, licensed people.",
        ("shiny", "note"),
    ),
    Step(
        "power_up",
        "power up",
        "Then infrared: zero, switch on, watch what warms and what stays cold.",
        "the camera still and sharp, regions drawn, a current-limited supply",
        "The board is live: hands off, eyes protected. Capacitors burst, hot parts burn. Stay "
        "with it. Local codes first; mains-side work is for licensed people.",
        ("supply", "zero", "power_on", "power_off", "fault_appears", "fault_gone", "triggers"),
    ),
    Step(
        "compare",
        "compare",
        "Against a board that works: which parts are colder or hotter than they should be.",
        "a good board's recording, from before its power came; or equal parts",
        "A part that is alike may still be broken in what makes no heat. Before you touch either "
        "board: power off, discharged, cooled down.",
        (),
    ),
    Step(
        "write_down",
        "write down",
        "Keep what was found: curves, pictures, when the fault came and went.",
        "a recording, or the live pictures still in memory",
        "Before you pull the suspect: power off, discharged, cooled down.",
        ("still", "curves", "report", "faults", "note"),
    ),
)
"""The steps that work in this version."""


class StepBar(QWidget):
    """The row of steps; the chosen one opens a line with its needs, cautions and actions."""

    chosen = Signal(str)  # a step's name; empty when none is open

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setObjectName("stepBar")
        self._desk = desk
        self._group = QButtonGroup(self)
        self._group.setExclusive(False)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        for step in STEPS:
            made = button(step.title, f"step_{step.name}", role="step", tip=step.purpose)
            made.setCheckable(True)
            made.clicked.connect(lambda on, name=step.name: self.choose(name if on else ""))
            self._group.addButton(made)
            layout.addWidget(made)
        self.choose(str(desk.settings.get("step", "")))

    def choose(self, name: str) -> None:
        """Open a step, or none; nothing is forced by it."""
        for step, made in zip(STEPS, self._group.buttons(), strict=True):
            made.setChecked(step.name == name)
        self._desk.settings.set("step", name)
        self.chosen.emit(name)

    @property
    def current(self) -> Step | None:
        """Return the open step."""
        checked = [s for s, b in zip(STEPS, self._group.buttons(), strict=True) if b.isChecked()]
        return checked[0] if checked else None


class StepSheet(QFrame):
    """What the open step is for, needs and warns of, with its actions."""

    def __init__(self, bar: StepBar, actions: dict[str, tuple[str, str, Callable[[], object]]]):
        super().__init__()
        named(self, "stepSheet", "panel")
        self._bar, self._actions = bar, actions
        self.purpose = label("", "stepPurpose")
        self.needs = label("", "stepNeeds", "dim", wrap=True)
        self.caution = label("", "stepCaution", wrap=True)
        self.caution.setProperty("tone", "warning")
        self._buttons = row()
        close = tool("close", "stepClose", lambda: bar.choose(""), tip="close this step's line")
        layout = column(self, margin=tokens().space)
        layout.setSpacing(4)
        first: QBoxLayout = row(self.purpose, self.needs, close)
        first.setStretch(1, 1)
        layout.addLayout(first)
        layout.addWidget(self.caution)
        layout.addLayout(row(self._buttons, None))
        bar.chosen.connect(lambda _: self.refresh())
        self.refresh()

    def refresh(self) -> None:
        """Show the open step, or hide."""
        step = self._bar.current
        self.setVisible(step is not None)
        while item := self._buttons.takeAt(0):
            if (old := item.widget()) is not None:
                old.hide()
                old.deleteLater()
        if step is None:
            return
        self.purpose.setText(step.purpose)
        self.needs.setText(f"Needs {step.needs}.")
        self.caution.setText(f"⚠ {step.caution}")
        for name in step.actions:
            words, symbol, act = self._actions[name]
            self._buttons.addWidget(button(words, f"stepAction_{name}", act, symbol=symbol))
