"""The picture's pixels are the display's colours of the frame's values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from thermview.frames import Frame, Scale, Scene
from thermview.ui.display import NO_VALUE_ARGB, Display, View
from thermview.ui.picture.painter import FramePainter

SCALE = Scale(0.01)


def argb(image: QImage) -> NDArray[np.uint32]:
    rows, columns = image.height(), image.width()
    return np.array(
        [[image.pixel(c, r) & 0xFFFFFFFF for c in range(columns)] for r in range(rows)],
        dtype=np.uint32,
    )


@pytest.fixture
def display() -> Display:
    made = Display()
    made.start(SCALE, Scene())
    made.set_level(299.0, 301.0)
    return made


def counts(seed: int = 3) -> NDArray[np.uint16]:
    return np.random.default_rng(seed).integers(29_850, 30_150, (7, 9)).astype(np.uint16)


def test_counts_become_the_colours_of_their_temperatures(display: Display) -> None:
    frame = Frame(counts(), 0.0, 0, SCALE)
    shown = argb(FramePainter(display).paint(frame))
    for (row, column), kelvin in np.ndenumerate(frame.kelvin()):
        assert shown[row, column] == display.colour_of(kelvin).rgba()


def test_the_table_follows_scale_level_and_map(display: Display) -> None:
    painter = FramePainter(display)
    frame = Frame(counts(), 0.0, 0, SCALE)
    painter.paint(frame)
    other = Frame(counts(), 0.0, 0, Scale(0.005, 150.0))
    assert argb(painter.paint(other))[2, 3] == display.colour_of(other.kelvin()[2, 3]).rgba()
    display.set_level(290.0, 310.0)
    assert argb(painter.paint(frame))[2, 3] == display.colour_of(frame.kelvin()[2, 3]).rgba()
    display.set_colour_map("viridis")
    assert argb(painter.paint(frame))[2, 3] == display.colour_of(frame.kelvin()[2, 3]).rgba()


def test_float_pictures_and_pixels_without_value(display: Display) -> None:
    values = counts().astype(np.float32)
    values[1, 1] = math.nan
    values[2, 2] = math.inf
    frame = Frame(values, 0.0, 0, SCALE)
    shown = argb(FramePainter(display).paint(frame))
    assert shown[1, 1] == NO_VALUE_ARGB
    assert shown[2, 2] == display.colour_of(999.0).rgba()
    levels = frame.kelvin()
    step = 2.0 / 4095  # one of the table's steps: the colour is that of a level so near
    for place in ((0, 0), (3, 4), (6, 8)):
        near = {display.colour_of(levels[place] + d).rgba() for d in (-step, 0.0, step)}
        assert shown[place] in near


def test_band_is_exact_in_every_kind_of_picture(display: Display) -> None:
    display.set_isotherm((300.2, math.inf))  # beyond half of the axis
    whole = counts()
    for values in (whole, whole.astype(np.float32)):
        frame = Frame(values, 0.0, 0, SCALE)
        shown = argb(FramePainter(display).paint(frame))
        assert np.array_equal(
            shown == display.band_colour.rgba(), frame.counts.astype(int) >= 30_020
        )


def test_rises_are_painted_against_the_baseline(display: Display) -> None:
    whole = counts()
    baseline = np.full(whole.shape, 300.0, np.float32)
    display.set_baseline(baseline)
    display.set_view(View.RISE)
    display.set_level(-1.0, 1.0)
    shown = argb(FramePainter(display).paint(Frame(whole, 0.0, 0, SCALE)))
    step = 2.0 / 4095
    for (row, column), kelvin in np.ndenumerate(SCALE.kelvin(whole)):
        near = {display.colour_of(kelvin - 300.0 + d).rgba() for d in (-step, 0.0, step)}
        assert shown[row, column] in near
