"""Triggers: rules that mark the moment at which something crosses a threshold."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QGridLayout,
    QListWidget,
    QWidget,
)

from thermview.errors import ThermviewError
from thermview.session.triggers import Action, Direction, Quantity, TriggerRule
from thermview.ui.desk import Desk
from thermview.ui.panels.region_settings import STATISTIC_WORDS
from thermview.ui.readings import read_region
from thermview.ui.region_worth import worth_of
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, set_tone
from thermview.ui.worth_words import worth_text

WHOLE = "the whole picture"
QUANTITY_WORDS = {
    Quantity.TEMPERATURE: "temperature",
    Quantity.RISE: "rise since the zero",
    Quantity.RATE: "rate of rise",
    Quantity.DEPARTURE: "departure of any place from its own trend",
}
REFRESH_MS = 400


class TriggersDialog(QDialog):
    """The rules with their present state, and the fields that build another."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("triggersDialog")
        self.setWindowTitle("triggers")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk = desk
        self.list = named(QListWidget(), "triggersList")
        self.words = label("", "triggersWords", "dim", wrap=True)
        self._make_fields()
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("Triggers", "triggersTitle", "title"))
        layout.addWidget(
            label(
                "Each marks the frame in which its threshold is crossed, live and in recordings "
                "alike.",
                "triggersIntro",
                "dim",
                wrap=True,
            )
        )
        layout.addWidget(self.list, 1)
        layout.addLayout(row(button("remove", "triggerRemove", self._remove), None))
        layout.addWidget(label("another one", "triggerNew", "heading"))
        layout.addLayout(self._grid())
        layout.addLayout(row(*self.boxes.values(), None))
        before = label("a trigger's recording begins earlier by", "triggerBeforeLabel")
        layout.addLayout(row(before, self.before, None))
        layout.addWidget(self.words)
        layout.addLayout(
            row(
                None,
                button("close", "triggersClose", self.accept),
                button("add", "triggerAdd", self._add, role="primary"),
            )
        )
        self.resize(720, 560)
        self._timer = QTimer(self)
        self._timer.setInterval(REFRESH_MS)
        self._timer.timeout.connect(self.refresh)
        self._timer.start()
        self._fit_fields()
        self.refresh()

    # ---- fields --------------------------------------------------------------------------

    def _make_fields(self) -> None:
        self.region = named(QComboBox(), "triggerRegion")
        for region in self._desk.document.current.regions:
            self.region.addItem(region.name, region.name)
        self.region.addItem(WHOLE, None)
        chosen = self._desk.selected_regions()
        if chosen:
            self.region.setCurrentIndex(self.region.findData(chosen[0].name))
        self.statistic = named(QComboBox(), "triggerStatistic")
        for name, words in STATISTIC_WORDS.items():
            self.statistic.addItem(words, name)
        self.quantity = named(QComboBox(), "triggerQuantity")
        self.direction = named(QComboBox(), "triggerDirection")
        for way in Direction:
            self.direction.addItem(way.value, way)
        self.threshold = _number("triggerThreshold", 60.0, -1e4, 1e5)
        self.duration = _number("triggerDuration", 0.0, 0.0, 3600.0, " s")
        self.hysteresis = _number("triggerHysteresis", 0.5, 0.0, 1e4)
        self.hold_off = _number("triggerHoldOff", 0.0, 0.0, 3600.0, " s")
        self.boxes: dict[Action, QCheckBox] = {}
        for action in Action:
            box = named(QCheckBox(action.value), f"triggerDo_{action.name.lower()}")
            box.setChecked(action is Action.MARK)
            self.boxes[action] = box
        self.before = _number("triggerBefore", self._desk.keeping.pre_trigger_s, 0.0, 600.0, " s")
        self.before.valueChanged.connect(self._desk.keeping.set_pre_trigger)
        self.region.currentIndexChanged.connect(lambda _: self._fit_fields())
        self.quantity.currentIndexChanged.connect(lambda _: self._fit_units())

    def _grid(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(tokens().space)
        fields = (
            ("where", self.region, "of its pixels", self.statistic),
            ("what", self.quantity, "goes", self.direction),
            ("threshold", self.threshold, "for at least", self.duration),
            ("again after a retreat of", self.hysteresis, "and not within", self.hold_off),
        )
        for line, (left, first, right, second) in enumerate(fields):
            grid.addWidget(label(left, f"triggerLabel{line}a"), line, 0)
            grid.addWidget(first, line, 1)
            grid.addWidget(label(right, f"triggerLabel{line}b"), line, 2)
            grid.addWidget(second, line, 3)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        self.hysteresis.setToolTip(
            "how far on the other side it must have been before a crossing counts (hysteresis)"
        )
        self.hold_off.setToolTip("crossings within this time after it fired are passed over")
        return grid

    def _fit_fields(self) -> None:
        """Offer what can be watched of the chosen place."""
        whole = self.region.currentData() is None
        offered = (
            [Quantity.TEMPERATURE, Quantity.DEPARTURE]
            if whole
            else [Quantity.TEMPERATURE, Quantity.RISE, Quantity.RATE]
        )
        if [self.quantity.itemData(n) for n in range(self.quantity.count())] != offered:
            self.quantity.clear()
            for quantity in offered:
                self.quantity.addItem(QUANTITY_WORDS[quantity], quantity)
        self._fit_units()

    def _fit_units(self) -> None:
        quantity, display = self.quantity.currentData(), self._desk.display
        difference = f" {display.difference_symbol}"
        units = {
            Quantity.TEMPERATURE: f" {display.symbol}",
            Quantity.RISE: difference,
            Quantity.RATE: f"{difference}/s",
            Quantity.DEPARTURE: " × its noise",
        }
        usual = {
            Quantity.TEMPERATURE: display.temperature(333.15),
            Quantity.RISE: display.difference(5.0),
            Quantity.RATE: display.difference(0.5),
            Quantity.DEPARTURE: 6.0,
        }
        if quantity is None:
            return
        self.threshold.setSuffix(units[quantity])
        self.threshold.setValue(usual[quantity])
        self.hysteresis.setSuffix(
            units[Quantity.RATE if quantity is Quantity.RATE else Quantity.RISE]
        )
        departs = quantity is Quantity.DEPARTURE
        for field in (self.statistic, self.direction, self.hysteresis):
            field.setEnabled(not departs)

    # ---- rules ---------------------------------------------------------------------------

    def rule(self) -> TriggerRule:
        """Return the rule that the fields describe.

        Raises
        ------
        UsageError
            They describe none.
        """
        quantity, display = self.quantity.currentData(), self._desk.display
        departs = quantity is Quantity.DEPARTURE
        per_kelvin = display.difference(1.0)
        threshold = self.threshold.value()
        if quantity is Quantity.TEMPERATURE and not display.relative:
            threshold = display.unit.to_kelvin(threshold)
        elif not departs:
            threshold /= per_kelvin
        return TriggerRule(
            region=self.region.currentData(),
            threshold=threshold,
            statistic="max" if departs else self.statistic.currentData(),
            quantity=quantity,
            direction=Direction.UP if departs else self.direction.currentData(),
            hysteresis=0.0 if departs else self.hysteresis.value() / per_kelvin,
            duration_s=self.duration.value(),
            hold_off_s=self.hold_off.value(),
            actions=tuple(action for action, box in self.boxes.items() if box.isChecked()),
        )

    def _add(self) -> None:
        try:
            self._desk.set_triggers((*self._desk.triggers, self.rule()))
        except ThermviewError as error:
            self.words.setText(str(error))
            set_tone(self.words, "error")
            return
        self.words.setText("Added.")
        set_tone(self.words, "")
        self.refresh()

    def _remove(self) -> None:
        place = self.list.currentRow()
        if place >= 0:
            rules = list(self._desk.triggers)
            del rules[place]
            self._desk.set_triggers(tuple(rules))
            self.refresh()

    def refresh(self) -> None:
        """Show the rules with their present state."""
        rules = self._desk.triggers
        while self.list.count() > len(rules):
            self.list.takeItem(self.list.count() - 1)
        for place, rule in enumerate(rules):
            if place >= self.list.count():
                self.list.addItem("")
            self.list.item(place).setText(f"{rule}    {self._state(rule)}".rstrip())

    def _state(self, rule: TriggerRule) -> str:
        """Return what the watched value is now, and how often the rule has fired."""
        session = self._desk.session
        words = [self._now(rule)]
        if session is not None:
            begin = str(rule).split(" then ")[0]
            fired = sum(mark.text.startswith(begin) for mark in session.marks)
            words.append(f"fired {fired} times" if fired != 1 else "fired once")
        return " · ".join(word for word in words if word)

    def _now(self, rule: TriggerRule) -> str:
        session, display = self._desk.session, self._desk.display
        regions = self._desk.document.current.regions
        region = next((r for r in regions if r.name == rule.region), None)
        if rule.region is None or session is None:
            return ""
        if region is None:
            return "no region of this name"
        reading = read_region(session.curves, region, self._desk.shown_number)
        worth = worth_of(self._desk, region, reading)
        if rule.quantity is Quantity.RISE:
            return f"now {worth_text(worth.rise, display, rise=True)}"
        if rule.quantity is Quantity.RATE:
            return f"now {display.difference(reading.rate_k_s):+.2f} {display.difference_symbol}/s"
        value = {"min": worth.lowest, "mean": worth.mean, "max": worth.highest}
        return f"now {worth_text(value[rule.statistic], display)}"


def _number(name: str, value: float, low: float, high: float, suffix: str = "") -> QDoubleSpinBox:
    made = named(QDoubleSpinBox(), name)
    made.setRange(low, high)
    made.setDecimals(2)
    made.setValue(value)
    made.setSuffix(suffix)
    return made
