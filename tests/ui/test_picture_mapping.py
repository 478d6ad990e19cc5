"""Pixels and the widget's places, in all eight orientations."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from PySide6.QtCore import QPointF
from PySide6.QtGui import QColor, QImage, QPainter

from thermview.ui.picture.mapping import Mapping

ORIENTATIONS = list(itertools.product(range(4), (False, True)))


@pytest.mark.parametrize(("turns", "mirrored"), ORIENTATIONS)
def test_pixel_under_the_cursor_is_the_true_pixel(turns: int, mirrored: bool) -> None:
    # numpy's flip and rot90 say where each pixel must appear
    rows, columns, zoom = 5, 8, 10
    numbers = np.arange(rows * columns).reshape(rows, columns)
    seen = numbers[:, ::-1] if mirrored else numbers
    seen = np.rot90(seen, -turns)
    widget = (seen.shape[1] * zoom, seen.shape[0] * zoom)
    mapping = Mapping.fitted((columns, rows), widget, turns, mirrored)
    assert mapping.zoom == zoom
    for (i, j), number in np.ndenumerate(seen):
        for dx, dy in ((0.4, 0.4), (9.6, 9.6), (5.0, 5.0)):
            assert mapping.pixel_at(QPointF(j * zoom + dx, i * zoom + dy)) == divmod(
                int(number), columns
            )
    assert mapping.pixel_at(QPointF(-1, 5)) is None
    assert mapping.pixel_at(QPointF(widget[0] + 0.5, 5)) is None


@pytest.mark.parametrize(("turns", "mirrored"), ORIENTATIONS)
def test_drawn_pixels_lie_where_the_mapping_says(turns: int, mirrored: bool) -> None:
    image = QImage(4, 3, QImage.Format.Format_RGB32)
    for row, column in itertools.product(range(3), range(4)):
        image.setPixelColor(column, row, QColor(60 * column, 80 * row, 200))
    screen = QImage(120, 110, QImage.Format.Format_RGB32)
    screen.fill(QColor("black"))
    mapping = Mapping.fitted((4, 3), (120, 110), turns, mirrored).zoomed(QPointF(30, 60), 0.9)
    pen = QPainter(screen)
    pen.setTransform(mapping.transform())
    pen.drawImage(0, 0, image)
    pen.end()
    for row, column in itertools.product(range(3), range(4)):
        at = mapping.to_widget(column + 0.5, row + 0.5).toPoint()
        assert screen.pixelColor(at) == image.pixelColor(column, row)


@pytest.mark.parametrize(("turns", "mirrored"), ORIENTATIONS)
def test_zoom_keeps_the_point_under_the_cursor(turns: int, mirrored: bool) -> None:
    mapping = Mapping.fitted((320, 240), (700, 500), turns, mirrored)
    at = QPointF(300.0, 220.0)
    before = mapping.to_picture(at)
    for factor in (1.2, 1.2, 3.0, 1 / 1.2):
        mapping = mapping.zoomed(at, factor)
        assert mapping.to_picture(at) == pytest.approx(before, abs=1e-6)


def test_pan_follows_the_hand_and_stays_in_sight() -> None:
    mapping = Mapping.fitted((320, 240), (640, 480), 1).zoomed(QPointF(320, 240), 4.0)
    before = mapping.to_picture(QPointF(100, 100))
    moved = mapping.panned(30.0, -20.0)
    assert moved.to_picture(QPointF(130, 80)) == pytest.approx(before)
    far = mapping.panned(1e6, 1e6)
    assert 0 <= far.centre[0] <= 320
    assert 0 <= far.centre[1] <= 240


def test_zoom_has_ends() -> None:
    mapping = Mapping.fitted((320, 240), (640, 480))
    closest = mapping.zoomed(QPointF(9, 9), 1e9)
    farthest = mapping.zoomed(QPointF(9, 9), 1e-9)
    assert closest.zoom == 64.0
    assert farthest.zoom == 1.0
    assert math.isfinite(sum(farthest.to_picture(QPointF(0, 0))))


@pytest.mark.parametrize(("turns", "mirrored"), ORIENTATIONS)
def test_a_step_is_seen_as_going_that_way(turns: int, mirrored: bool) -> None:
    mapping = Mapping.fitted((320, 240), (640, 480), turns, mirrored)
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        x, y = mapping.step(dx, dy)
        went = mapping.to_widget(50 + x, 60 + y) - mapping.to_widget(50, 60)
        assert (went.x(), went.y()) == pytest.approx((dx * mapping.zoom, dy * mapping.zoom))
