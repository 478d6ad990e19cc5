"""Before and after within one recording: which two of its power-ups are compared."""

from __future__ import annotations

from itertools import pairwise

from PySide6.QtWidgets import QComboBox, QWidget

from thermview.session.finding import Cycle
from thermview.ui.compare.room import CompareRoom
from thermview.ui.desk import Desk
from thermview.ui.keys import Keys
from thermview.ui.widgets import button, column, label, named, row

WORDS = "Two power-ups of this recording, such as before and after a repair:"
HOW = (
    "Before and after a repair in one recording: mark where the power came ({on}) and went ({off}) "
    "each time."
)
NO_END = " Mark where the power went off ({off}), or cooling passes for the board's."


class PowerUps(QWidget):
    """Offers the recording's power-ups; where there are no two, says how to tell of them."""

    def __init__(self, desk: Desk, room: CompareRoom) -> None:
        super().__init__()
        named(self, "powerUps")
        self._desk, self._room, self._keys = desk, room, Keys(desk.settings)
        self._ups: list[Cycle] = []
        self.before, self.after = (
            named(QComboBox(), "powerUpBefore"),
            named(QComboBox(), "powerUpAfter"),
        )
        self.before.setToolTip("the board as it was; let it cool down before the next power-up")
        self.after.setToolTip("what is compared with it")
        self.go = button("compare", "powerUpsGo", self._compare, symbol="compare")
        self.words = label("", "powerUpsWords", "dim", wrap=True)
        then = label("then", "powerUpsThen")
        self._choice = (self.before, then, self.after, self.go)
        layout = column(self)
        layout.addWidget(self.words)
        layout.addLayout(row(self.before, then, self.after, self.go, None))
        for box in (self.before, self.after):
            box.activated.connect(lambda _: self._allow())
        desk.session_changed.connect(self.refresh)
        desk.marks_changed.connect(self.refresh)
        desk.state_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """List the power-ups; the first and the last are proposed."""
        ups = self._room.power_ups()
        if [one.on_s for one in ups] != [one.on_s for one in self._ups]:
            for box in (self.before, self.after):
                box.clear()
                box.addItems([f"{n}: {one.on_s:.1f} s" for n, one in enumerate(ups, 1)])
            self.after.setCurrentIndex(len(ups) - 1)
        self._ups = ups
        ends_told = all(one.off_s != then.on_s for one, then in pairwise(ups))
        words = HOW if len(ups) < 2 else WORDS if ends_told else WORDS + NO_END
        on, off = (self._keys.key(name) or f"“{name}”" for name in ("power_on", "power_off"))
        self.words.setText(words.format(on=on, off=off))
        for widget in self._choice:
            widget.setVisible(len(ups) > 1)
        self.setVisible(self._desk.session is not None)
        self._allow()

    def _allow(self) -> None:
        self.go.setEnabled(self.before.currentIndex() != self.after.currentIndex())

    def _compare(self) -> None:
        ups = self._ups
        self._room.choose_power_up(ups[self.before.currentIndex()], ups[self.after.currentIndex()])
