"""The selected region in large numbers, and its settings."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QFrame, QGridLayout, QLineEdit, QWidget

from thermview.errors import ThermviewError
from thermview.regions import STATISTICS, Region
from thermview.ui.desk import Desk
from thermview.ui.display import DASH
from thermview.ui.panels.readings_table import ReadingsModel
from thermview.ui.readings import is_apparent, rate_text
from thermview.ui.theme import tokens
from thermview.ui.widgets import column, label, named, row, set_tone

STATISTIC_WORDS = {"max": "highest", "mean": "mean", "min": "lowest"}


class SelectedCard(QFrame):
    """Numbers to be read at 1.5 m; emissivity, limit and statistic to be set."""

    def __init__(self, desk: Desk, model: ReadingsModel) -> None:
        super().__init__()
        named(self, "selectedCard")
        self._desk, self._model = desk, model
        self.name = label("", "selectedName", "title")
        self.kind = label("", "selectedKind", "small")
        self.now = label("", "selectedNow", "huge")
        self.rise = label("", "selectedRise", "large")
        self.rate = label("", "selectedRate", "large")
        for beside_now in (self.rise, self.rate):
            beside_now.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.detail = label("", "selectedDetail", "dim", wrap=True)
        self.remark = label("", "selectedRemark", "small", wrap=True)
        self.settings = QWidget()
        layout = column(self)
        layout.setSpacing(2)
        layout.addLayout(row(self.name, None, self.kind))
        beside = column()
        beside.setSpacing(0)
        beside.addWidget(self.rise)
        beside.addWidget(self.rate)
        layout.addLayout(row(self.now, None, beside))
        layout.addWidget(self.detail)
        layout.addWidget(self.remark)
        layout.addWidget(self.settings)
        self._build_settings()
        self.refresh()

    def _build_settings(self) -> None:
        self.emissivity = named(QLineEdit(), "emissivityEdit")
        self.emissivity.setToolTip("0 to 1; empty: not stated, the numbers are apparent")
        self.limit = named(QLineEdit(), "limitEdit")
        self.limit.setToolTip("warn above this temperature; empty: no limit")
        self.statistic = named(QComboBox(), "statisticBox")
        for name in ("max", "mean", "min"):
            self.statistic.addItem(STATISTIC_WORDS[name], name)
        assert set(STATISTIC_WORDS) == set(STATISTICS)
        grid = QGridLayout(self.settings)
        grid.setContentsMargins(0, tokens().space, 0, 0)
        grid.setSpacing(4)
        fields = (
            ("emissivity", self.emissivity),
            ("limit", self.limit),
            ("shows", self.statistic),
        )
        for position, (words, field) in enumerate(fields):
            grid.addWidget(label(words, f"label_{words}", "small"), 0, position)
            grid.addWidget(field, 1, position)
            field.setAccessibleName(words)
            grid.setColumnStretch(position, 1)
        self.emissivity.editingFinished.connect(self._set_emissivity)
        self.limit.editingFinished.connect(self._set_limit)
        self.statistic.activated.connect(lambda _: self._set_statistic())

    @property
    def region(self) -> Region | None:
        """Return the region that the card is of: the first selected."""
        chosen = self._desk.selected_regions()
        return chosen[0] if chosen else None

    def show_fields(self, on: bool) -> None:
        """Show the settings' fields, or hide them to leave room for the table."""
        self.settings.setVisible(on)
        self._desk.settings.set("region settings", on)

    def refresh(self) -> None:
        """Show the numbers anew."""
        region = self.region
        self.setVisible(region is not None)
        if region is None:
            return
        display = self._desk.display
        self.name.setText(region.name)
        self.kind.setText(self._kind(region))
        reading = self._model.reading(region.id)
        if reading is None:
            self.now.setText(DASH)
            return
        self.now.setText(display.temperature_text(reading.now_k))
        set_tone(self.now, "error" if reading.over_limit else "")
        self.rise.setText(display.difference_text(reading.rise_k))
        self.rate.setText(rate_text(reading.rate_k_s, reading.rate_sigma, display))
        at = f" at {reading.max_x:.0f}, {reading.max_y:.0f}" if reading.max_x > 0 else ""
        self.detail.setText(
            f"min {display.temperature_text(reading.min_k)} · "
            f"mean {display.temperature_text(reading.mean_k)} · "
            f"max {display.temperature_text(reading.max_k)}{at}"
        )
        over = ""
        if reading.over_limit and region.limit_k is not None:
            over = f"▲ above its limit of {display.temperature_text(region.limit_k)}"
        self.remark.setText(over)
        self.remark.setVisible(bool(over))
        set_tone(self.remark, "error" if over else "")

    def _kind(self, region: Region) -> str:
        words = [STATISTIC_WORDS[region.statistic]]
        session = self._desk.session
        if self._desk.display.relative:
            words.append("brightness, no temperature")
        elif session is not None and is_apparent(region, session.scene):
            words.append("apparent")
            self.kind.setToolTip("what a black body would read; state an emissivity to correct it")
        return " · ".join(words)

    def show_settings(self) -> None:
        """Put the selected region's settings into the fields."""
        region = self.region
        if region is None:
            return
        self.emissivity.setText("" if region.emissivity is None else f"{region.emissivity:g}")
        display = self._desk.display
        limit = "" if region.limit_k is None else f"{display.temperature(region.limit_k):.6g}"
        self.limit.setText(limit)
        self.limit.setPlaceholderText(display.symbol)
        self.emissivity.setPlaceholderText("not stated")
        self.statistic.setCurrentIndex(self.statistic.findData(region.statistic))
        self.emissivity.setEnabled(not display.relative)

    def _set_emissivity(self) -> None:
        self._configure("emissivity", _number(self.emissivity.text()))

    def _set_limit(self) -> None:
        shown = _number(self.limit.text())
        if isinstance(shown, float):
            unit = self._desk.display.unit
            self._configure("limit_k", unit.to_kelvin(shown))
        else:
            self._configure("limit_k", shown)

    def _set_statistic(self) -> None:
        self._configure("statistic", self.statistic.currentData())

    def _configure(self, name: str, value: object) -> None:
        """Set one setting of all selected regions; what cannot be is said and not set."""
        document = self._desk.document
        try:
            if value is _BAD:
                raise _not_a_number()
            document.begin_gesture(f"set {name.removesuffix('_k')}")
            for region in self._desk.selected_regions():
                if getattr(region, name) != value:
                    document.configure(region.id, **{name: value})
            document.end_gesture()
        except ThermviewError as error:
            document.cancel_gesture()
            self._desk.say("error", str(error))
            self.show_settings()


_BAD = object()


def _number(text: str) -> object:
    """Return the number in a field, None for an empty one, `_BAD` for anything else."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        return _BAD


def _not_a_number() -> ThermviewError:
    return ThermviewError("that is not a number; write it like 0.95, or leave the field empty")
