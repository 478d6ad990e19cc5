"""The selected region in large numbers, and its settings."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame

from thermview.radiometry import Reading
from thermview.regions import Region
from thermview.session.worth import NO_ZERO
from thermview.ui.desk import Desk
from thermview.ui.display import DASH, Display
from thermview.ui.forecasting import forecast_words, region_forecast, waiting_words
from thermview.ui.panels.readings_table import ReadingsModel
from thermview.ui.panels.region_settings import STATISTIC_WORDS, SelectedSettings
from thermview.ui.readings import Reading as RegionReading
from thermview.ui.readings import is_apparent, rate_text
from thermview.ui.region_worth import RegionWorth
from thermview.ui.widgets import column, label, named, row, set_tone
from thermview.ui.worth_words import (
    doubt_text,
    interval_words,
    number_text,
    origin_words,
    worth_text,
)

SURE = 3.0  # so many standard uncertainties, and a region moves


class SelectedCard(QFrame):
    """Numbers to be read at 1.5 m; emissivity, limit and statistic to be set."""

    def __init__(self, desk: Desk, model: ReadingsModel) -> None:
        super().__init__()
        named(self, "selectedCard")
        self._desk, self._model = desk, model
        self.name = label("", "selectedName", "title")
        self.kind = label("", "selectedKind", "small")
        self.rise = label("", "selectedRise", "huge")
        self.rise_doubt = label("", "selectedRiseDoubt", "large")
        self.now = label("", "selectedNow", "large")
        self.rate = label("", "selectedRate", "large")
        for beside in (self.now, self.rate):
            beside.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.detail = label("", "selectedDetail", "dim", wrap=True)
        self.forecast = label("", "selectedForecast", wrap=True)
        self.remark = label("", "selectedRemark", "small", wrap=True)
        self.settings = SelectedSettings(desk)
        layout = column(self)
        layout.setSpacing(2)
        layout.addLayout(row(self.name, None, self.kind))
        right = column()
        right.setSpacing(0)
        right.addWidget(self.now)
        right.addWidget(self.rate)
        layout.addLayout(row(self.rise, self.rise_doubt, None, right))
        layout.addWidget(self.detail)
        layout.addWidget(self.forecast)
        layout.addWidget(self.remark)
        layout.addWidget(self.settings)
        self.refresh()

    @property
    def region(self) -> Region | None:
        """Return the region that the card is of: the first selected."""
        chosen = self._desk.selected_regions()
        return chosen[0] if chosen else None

    def show_fields(self, on: bool) -> None:
        """Show the settings' fields, or hide them to leave room for the table."""
        self.settings.setVisible(on)
        self.detail.setHidden(on)  # the table holds the same; the window is low enough
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
        reading, worth = self._model.reading(region.id), self._model.worth(region.id)
        if reading is None or worth is None:
            self.now.setText(DASH)
            return
        self._show_headline(worth)
        set_tone(self.now, "error" if reading.over_limit else "")
        rate = rate_text(reading.rate_k_s, reading.rate_sigma, display)
        self.rate.setText(rate if worth.now.readable else DASH)
        at = f" at {reading.max_x:.0f}, {reading.max_y:.0f}" if reading.max_x > 0 else ""
        self.detail.setText(
            f"min {number_text(worth.lowest, display)} · mean {number_text(worth.mean, display)} · "
            f"max {number_text(worth.highest, display)}{at if worth.highest.readable else ''}"
        )
        self._show_forecast(region, reading)
        remarks = list(worth.notes)
        if reading.over_limit and region.limit_k is not None:
            limit = display.temperature_text(region.limit_k)
            remarks.insert(0, f"▲ above its limit of {limit}")
        self.remark.setText("\n".join(remarks))
        self.remark.setVisible(bool(remarks))
        height = self.remark.heightForWidth(max(self.width(), 200))
        self.remark.setMinimumHeight(max(height, 0))  # −1 of an empty one
        shown = worth.now.readable or worth.mean.readable
        self.detail.setVisible(shown and self.settings.isHidden())
        set_tone(self.remark, "error" if reading.over_limit else "warning" if remarks else "")

    def _show_forecast(self, region: Region, reading: RegionReading) -> None:
        """Say where it will end and when, or from when on that can be known."""
        desk, found, tip = self._desk, region_forecast(self._desk, region), ""
        if found is not None:
            words, tip = forecast_words(found, desk.now_s, desk.display)
        else:
            moves = abs(reading.rate_k_s) > SURE * reading.rate_sigma
            session = desk.session
            words = waiting_words(session, desk.now_s) if moves and session is not None else ""
        self.forecast.setText(words)
        self.forecast.setToolTip(tip)
        self.forecast.setVisible(bool(words))

    def _show_headline(self, worth: RegionWorth) -> None:
        """Show the rise in the largest digits; before there is a zero, the temperature."""
        display = self._desk.display
        self.now.setText(worth_text(worth.now, display))
        self.now.setToolTip(_tip(worth.now, display))
        rises = worth.rise.readable or worth.rise.reason != NO_ZERO
        shown = worth.rise if rises else worth.now
        self.rise.setText(number_text(shown, display, rise=rises))
        self.rise_doubt.setText(doubt_text(shown, display, rise=rises))
        self.rise_doubt.setToolTip(_tip(shown, display, rise=rises))
        self.now.setVisible(rises and worth.rise.readable)

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
        self.settings.refresh()


def _tip(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return what a number's uncertainty comes from, and its 95 % interval."""
    interval = interval_words(reading, display, rise=rise)
    return f"standard uncertainty, {origin_words(reading)}\n{interval}".rstrip()
