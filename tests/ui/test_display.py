"""View settings: levels, colours, units."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from PySide6.QtGui import QColor
from skimage.color import rgb2lab

from thermview.errors import UsageError
from thermview.frames import Frame, Scale, Scene
from thermview.ui.display import COLOUR_MAPS, Display, LevelMode, View
from thermview.ui.levels import AutoLevel, robust_range
from thermview.units import TemperatureUnit

CENTIKELVIN = Scale(0.01)


def frame(counts: object, time_s: float = 0.0, scale: Scale = CENTIKELVIN) -> Frame:
    return Frame(np.asarray(counts, dtype=np.uint16), time_s, 0, scale)


@pytest.fixture
def display() -> Display:
    return Display()


@pytest.mark.parametrize("name", COLOUR_MAPS[View.TEMPERATURE])
def test_lightness_climbs_evenly(display: Display, name: str) -> None:
    # CIE 1976 L* by scikit-image: no dark or light stripe that is not in the picture
    display.set_colour_map(name)
    lightness = rgb2lab(display.lut(256)[None] / 255.0)[0, :, 0]
    steps = np.diff(lightness[::8])
    assert steps.min() > -0.5
    assert steps.max() < 4 * np.mean(steps)


@pytest.mark.parametrize("name", COLOUR_MAPS[View.RISE])
@pytest.mark.parametrize(("low", "high"), [(-5.0, 5.0), (-1.0, 20.0), (-8.0, 0.5)])
def test_zero_rise_is_always_the_neutral_colour(
    display: Display, name: str, low: float, high: float
) -> None:
    display.set_baseline(np.full((4, 4), 300, np.float32))
    display.set_view(View.RISE)
    display.set_colour_map(name)
    display.set_level(low, high)
    lab = rgb2lab(display.rgb_of(np.zeros((1, 1))) / 255.0)[0, 0]
    assert np.hypot(lab[1], lab[2]) < 6  # no hue to speak of (CIE a*, b*)
    step = display.rgb_of(np.array([-1.0, 1.0])).astype(int)
    assert step[0, 2] > step[0, 0]  # below zero bluish
    assert step[1, 0] > step[1, 2]  # above zero not


def test_lut_runs_from_low_to_high(display: Display) -> None:
    display.set_level(300.0, 320.0)
    lut = display.lut(11)
    assert lut.shape == (11, 3)
    assert display.colour_of(300.0) == QColor(*lut[0].tolist())
    assert display.colour_of(310.0) == QColor(*lut[5].tolist())
    assert display.colour_of(999.0) == QColor(*lut[-1].tolist())
    assert display.colour_of(-999.0) == display.colour_of(300.0)


def test_band_is_highlighted_and_open_ends_work(display: Display) -> None:
    display.set_level(300.0, 320.0)
    levels = np.array([299.0, 305.0, 310.0, 330.0, math.nan])
    plain = display.argb_of(levels)
    band = display.band_colour.rgba()
    for low, high, inside in (
        (304.0, 310.0, [1, 2]),
        (310.0, math.inf, [2, 3]),
        (-math.inf, 300.0, [0]),
    ):
        display.set_isotherm((low, high))
        shown = display.argb_of(levels)
        assert [i for i in range(5) if shown[i] == band] == inside
        assert all(shown[i] == plain[i] for i in range(5) if i not in inside)
    assert np.unique(plain >> 24).tolist() == [0xFF]


def test_units(display: Display) -> None:
    # 0 °C = 32 °F = 273.15 K and 100 °C = 212 °F: SI Brochure 2.3.1 and NIST SP 811 B.8
    display.start(CENTIKELVIN, Scene())
    assert display.temperature_text(373.15) == "100.0 °C"
    assert display.difference_text(-2.0) == "−2.0 K"
    display.set_unit(TemperatureUnit.FAHRENHEIT)
    assert display.temperature_text(373.15) == "212.0 °F"
    assert display.difference_text(10.0) == "+18.0 °F"
    assert display.level_k(212.0) == pytest.approx(373.15)
    display.set_unit(TemperatureUnit.KELVIN)
    assert display.temperature_text(273.2) == "273.2 K"
    assert display.temperature_text(math.nan) == "–"


def test_brightness_is_never_in_degrees(display: Display) -> None:
    display.start(Scale(1.0, 0.0, relative=True), Scene())
    for unit in TemperatureUnit:
        display.set_unit(unit)
        texts = (
            display.temperature_text(140.0),
            display.difference_text(12.0),
            display.level_text(140.0),
        )
        assert texts == ("140", "+12", "140")
        assert display.quantity == "brightness"
        assert display.symbol == display.difference_symbol == display.level_symbol == ""


def test_robust_range_ignores_bad_pixels_but_not_small_parts() -> None:
    rng = np.random.default_rng(1)
    counts = rng.normal(30000, 5, (60, 80)).astype(np.uint16)
    counts[10, 10] = 65535
    counts[20, 20:22] = 0
    counts[40:42, 40:42] = 65535  # a cluster of four
    low, high = robust_range(counts)
    assert 29970 < low < 30000 < high < 30030
    counts[30:33, 50:53] = 31000  # nine pixels: a part
    assert robust_range(counts)[1] == 31000
    counts[:4, :8] = 20000  # a shiny part that mirrors something cold, 0.7 % of the picture
    assert robust_range(counts)[0] > 29970
    kelvin = counts.astype(np.float32)
    kelvin[5:9, 5:9] = np.nan
    assert robust_range(kelvin)[1] == 31000
    assert math.isnan(robust_range(np.full((5, 5), np.nan, np.float32))[0])


def test_automatic_level_does_not_flicker(display: Display) -> None:
    rng = np.random.default_rng(2)
    scene = np.full((120, 160), 30000.0)
    scene[50:70, 60:90] = 31000
    changes: list[int] = []
    display.start(CENTIKELVIN, Scene())
    display.on_change.append(lambda: changes.append(1))
    for i in range(100):
        display.observe(frame(scene + rng.normal(0, 5, scene.shape), i / 25))
    assert display.low_k == pytest.approx(300.0 - 0.06 * 10.0, abs=0.3)  # a foot below the span
    assert display.high_k == pytest.approx(310.0, abs=0.3)
    assert len(changes) <= 20  # 100 noisy pictures, and the axis stands nearly always


def test_automatic_level_opens_quickly_closes_slowly_and_jumps_with_a_seek() -> None:
    auto = AutoLevel(through_zero=False)
    auto.follow((1000.0, 1000.0), 0.0, 100.0)
    opened = [auto.follow((1000.0, 2000.0), i / 25, 100.0)[1] for i in range(1, 26)]
    assert opened[-1] > 1950
    assert all(b >= a for a, b in itertools.pairwise(opened))
    closed = [auto.follow((1000.0, 1000.0), 1 + i / 25, 100.0)[1] for i in range(1, 26)]
    assert 1500 < closed[-1] < 1700
    assert auto.follow((1000.0, 1000.0), 50.0, 100.0) == (950.0, 1050.0)
    assert auto.follow((1000.0, 2000.0), 10.0, 100.0) == (1000.0, 2000.0)


def test_frozen_and_manual_stand_still_and_a_shutter_frame_does_not_count(display: Display) -> None:
    display.start(CENTIKELVIN, Scene())
    display.observe(frame(np.full((9, 9), 30000)))
    before = display.scale
    held = Frame(np.full((9, 9), 9, np.uint16), 0.1, 1, CENTIKELVIN, shutter=True)
    display.observe(held)
    assert display.scale == before
    display.set_mode(LevelMode.FROZEN)
    display.observe(frame(np.full((9, 9), 40000), 0.2))
    assert (display.low_k, display.high_k) == (before.low_k, before.high_k)
    display.set_level(330.0, 310.0)
    assert (display.mode, display.low_k, display.high_k) == (LevelMode.MANUAL, 310.0, 330.0)
    with pytest.raises(UsageError, match="finite"):
        display.set_level(math.nan, 3.0)


def test_rise_needs_a_baseline_and_keeps_its_own_axis(display: Display) -> None:
    display.start(CENTIKELVIN, Scene())
    with pytest.raises(UsageError, match="zero now"):
        display.set_view(View.RISE)
    display.set_level(290.0, 310.0)
    display.set_baseline(np.full((9, 9), 300, np.float32))
    display.set_view(View.RISE)
    warm = np.full((9, 9), 30000)
    warm[:, :4] = 30500
    display.observe(frame(warm))
    assert display.low_k == 0.0
    assert display.high_k == pytest.approx(5.0, abs=1e-3)
    assert display.level_text(display.high_k) == "+5.0 K"
    display.set_view(View.TEMPERATURE)
    assert (display.low_k, display.high_k) == (290.0, 310.0)
    display.set_view(View.RISE)
    display.set_baseline(None)
    assert display.view is View.TEMPERATURE


def test_mirroring_a_turned_picture_exchanges_left_and_right_as_seen(display: Display) -> None:
    display.turn()
    display.mirror()
    assert (display.quarter_turns, display.mirrored) == (3, True)
    display.mirror()
    assert (display.quarter_turns, display.mirrored) == (1, False)
    display.turn(-2)
    assert display.quarter_turns == 3


def test_a_stated_emissivity_corrects_every_pixel(display: Display) -> None:
    # the measurement equation's table for 8–14 µm, T_refl 23 °C, emissivity 0.95:
    # apparent 58.3822 °C is an object of 60 °C (computed with scipy and astropy)
    scale = Scale(0.001, 273.15)
    display.start(scale, Scene(emissivity=0.95, reflected_k=296.15))
    shown = display.kelvin_of(np.array([58382], np.uint16), scale)
    assert shown[0] == pytest.approx(273.15 + 60.0, abs=2e-3)
    display.set_scene(Scene())
    shown = display.kelvin_of(np.array([58382], np.uint16), scale)
    assert shown[0] == pytest.approx(273.15 + 58.382, abs=1e-3)
