"""Small parts of the window without the window: tone, readings, settings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from thermview.ui.display import Display
from thermview.ui.panels.camera import clock_text
from thermview.ui.panels.findings import noise_of
from thermview.ui.readings import arrow, rate_text, recent_slope
from thermview.ui.settings import Settings
from thermview.ui.tone import RATE_HZ, Wave, tone_hz


def test_the_tone_climbs_an_octave_for_ten_kelvin() -> None:
    assert tone_hz(0.0) == pytest.approx(220.0)
    assert tone_hz(10.0) == pytest.approx(440.0)
    assert tone_hz(-5.0) == pytest.approx(220.0)
    assert tone_hz(1000.0) == pytest.approx(1760.0)
    assert math.isnan(tone_hz(math.nan))


def test_the_wave_has_its_pitch_and_no_clicks() -> None:
    wave = Wave()
    assert not wave.samples(100).any()
    wave.pitch_hz = 440.0
    first = wave.samples(RATE_HZ // 10)
    wave.pitch_hz = 500.0
    both = np.concatenate([first, wave.samples(RATE_HZ // 10)]).astype(float)
    # largest step of a sine of 500 Hz between samples: 2π·500/44100 of its amplitude
    assert np.abs(np.diff(both)).max() <= 2 * np.pi * 500 / RATE_HZ * np.abs(both).max() + 2
    spectrum = np.abs(np.fft.rfft(first))
    assert np.argmax(spectrum) * 10 == pytest.approx(440, abs=10)


def test_noise_of_a_picture_is_that_of_its_pixels() -> None:
    rng = np.random.default_rng(1)
    columns = np.linspace(0.0, 3.0, 256)
    picture = (rng.normal(0.0, 0.05, (192, 256)) + columns).astype(np.float32)
    picture[50:60, 50:60] += 20.0
    assert noise_of(picture) == pytest.approx(0.05, rel=0.05)


def test_slope_of_the_last_seconds() -> None:
    times = np.arange(200) / 25.0
    values = np.where(times < 4.0, 300.0, 300.0 + 0.5 * (times - 4.0)).astype(np.float32)
    slope, sigma = recent_slope(times, values, 199)
    assert slope == pytest.approx(0.5, rel=1e-3)
    assert arrow(slope, sigma) == "↗"
    assert math.isnan(recent_slope(times, values, 2)[0])
    noisy = (300.0 + np.random.default_rng(2).normal(0, 0.05, 200)).astype(np.float32)
    assert arrow(*recent_slope(times, noisy, 150)) == "→"


def test_rates_in_words() -> None:
    display = Display()
    assert rate_text(0.21, 0.01, display) == "↗ +0.21 K/s"
    assert rate_text(-0.21, 0.01, display) == "↘ −0.21 K/s"
    assert rate_text(-0.001, 0.01, display) == "→ 0.00 K/s"
    display.set_unit(display.unit.FAHRENHEIT)
    assert rate_text(1.0, 0.01, display) == "↗ +1.80 °F/s"


def test_lengths_of_time() -> None:
    assert clock_text(252) == "04:12"
    assert clock_text(3852.9) == "1:04:12"


def test_settings_survive_damage() -> None:
    settings = Settings()
    settings.set("unit", "F")
    assert Settings().get("unit", "C") == "F"
    settings.path.write_text("{ not json", encoding="utf-8")
    assert Settings().get("unit", "C") == "C"
    settings.path.write_text('{"unit": 7, "recent": [1, "/nowhere"]}', encoding="utf-8")
    damaged = Settings()
    assert damaged.get("unit", "C") == "C"
    assert damaged.recent() == []
