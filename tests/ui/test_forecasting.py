"""The forecast of the selected region, over invented curves."""

from __future__ import annotations

import math
from typing import cast

import numpy as np
import pytest
from pytestqt.qtbot import QtBot
from strip_desk import FilmDesk

from thermview.analysis.warmup import Forecast
from thermview.frames import MarkKind, SupplyLog
from thermview.session.session import Session
from thermview.ui.forecasting import (
    forecast_words,
    length_words,
    region_forecast,
    steady_since,
    waiting_words,
)
from thermview.units import TemperatureUnit


def warming(until_s: float) -> FilmDesk:
    """Return a desk on a part that goes from 25 to 65 °C with 60 s from 10 s on."""
    times = np.arange(0.0, until_s, 0.25)
    curve = 65.0 - 40.0 * np.exp(-np.clip(times - 10.0, 0.0, None) / 60.0)
    noisy = curve + np.random.default_rng(4).normal(0.0, 0.1, len(times))
    film = FilmDesk(times, {"U3": noisy})
    film.mark(10.0, MarkKind.POWER_ON)
    film.desk.seek(len(times) - 1)
    return film


def test_told_only_when_it_can_be_known(qtbot: QtBot) -> None:
    early = warming(25.0)
    assert region_forecast(early.desk, early.regions[0]) is None
    late = warming(120.0)
    found = region_forecast(late.desk, late.regions[0])
    assert found is not None
    assert found.low_k <= 65.0 + 273.15 <= found.high_k
    assert found.settled_s == pytest.approx(10.0 + 60.0 * math.log(20.0), abs=15.0)


def test_too_early_it_says_from_when_on_the_end_can_be_told(qtbot: QtBot) -> None:
    session = cast(Session, warming(25.0).session)
    assert waiting_words(session, 5.0) == ""  # before the step
    assert waiting_words(session, 20.0) == "its end can be told in 20 s at the earliest"
    assert waiting_words(session, 41.0) == ""


def test_only_what_was_seen_up_to_the_shown_moment_counts(qtbot: QtBot) -> None:
    film = warming(120.0)
    film.desk.seek(80)  # 20 s: the frames after it are not used
    assert region_forecast(film.desk, film.regions[0]) is None


def test_begins_anew_where_the_supply_changes(qtbot: QtBot) -> None:
    film = warming(120.0)
    log_s = np.arange(0.0, 120.0, 0.1)
    volts = np.where(log_s < 10.0, 0.0, np.where(log_s < 50.0, 1.0, 1.5))
    film.session.supply = SupplyLog(log_s, volts, volts)
    session = cast(Session, film.session)
    assert steady_since(session, 119.0) == pytest.approx(49.9, abs=0.11)
    assert steady_since(session, 45.0) == pytest.approx(10.0, abs=0.11)


def test_words(qtbot: QtBot) -> None:
    film = warming(30.0)
    found = Forecast(335.15, 329.27, 341.03, 60.0, 50.0, 70.0, 270.0)
    words, tip = forecast_words(found, 30.0, film.desk.display)
    assert words == "ends at 62 ± 3 °C, in 4 min"
    assert "56.1 and 67.9 °C" in tip
    film.desk.display.set_unit(TemperatureUnit.FAHRENHEIT)
    assert forecast_words(found, 269.0, film.desk.display)[0] == "ends at 144 ± 5 °F, nearly there"
    assert [length_words(s) for s in (3, 42, 100, 250)] == ["5 s", "40 s", "1.7 min", "4 min"]
