"""Labels, numbers, notices: legible, truthful, out of each other's way."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import cast

import numpy as np
import pytest
from fake_desk import CENTIKELVIN, FakeSession, make_desk, show
from hypothesis import given, settings
from hypothesis import strategies as st
from PySide6.QtCore import QPointF, QRectF, QSizeF
from PySide6.QtGui import QColor, QFontMetricsF, QImage
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from thermview.board import Landmark, Part, fit_homography
from thermview.frames import Frame, FrameFlag, Scale, Scene
from thermview.regions import Rectangle, Spot
from thermview.session.boards import Board
from thermview.session.states import SessionState
from thermview.ui.desk import Desk
from thermview.ui.display import View
from thermview.ui.picture import PictureView, render_still
from thermview.ui.picture.content import content_of
from thermview.ui.picture.ink import PLATE_ALPHA, Ink
from thermview.ui.picture.labels import Wanted, place
from thermview.ui.picture.notices import is_stale, notices
from thermview.ui.picture.parts import PartsLayer
from thermview.ui.picture.readings import pixel_text
from thermview.ui.picture.still import caption, round_numbers
from thermview.ui.theme import DARK, LIGHT, contrast

FRAME = QRectF(0, 0, 800, 600)

boxes = st.builds(
    QRectF,
    st.floats(-50, 780),
    st.floats(-50, 580),
    st.floats(1, 200),
    st.floats(1, 200),
)


@given(st.lists(boxes, max_size=12))
@settings(max_examples=60, deadline=None)
def test_labels_never_leave_the_picture_nor_cover_their_own_region(found: list[QRectF]) -> None:
    wanted = [Wanted(box, QSizeF(110, 22)) for box in found]
    for label, rect in zip(wanted, place(wanted, FRAME), strict=True):
        if rect is None:
            assert not FRAME.intersects(label.box)
            continue
        assert FRAME.contains(rect)
        assert rect.adjusted(-60, -60, 60, 60).intersects(label.box)  # never far from it
        if len(found) == 1:
            assert not rect.intersects(label.box)


def test_labels_of_a_row_of_small_regions_do_not_cover_each_other() -> None:
    wanted = [
        Wanted(QRectF(100 + 60 * i, 200 + 40 * j, 30, 12), QSizeF(96, 22))
        for i in range(5)
        for j in range(2)
    ]
    rects = [rect for rect in place(wanted, FRAME) if rect is not None]
    assert len(rects) == 10
    for one, other in itertools.combinations(rects, 2):
        shared = one.intersected(other)
        assert shared.width() * shared.height() == 0


def test_a_region_that_fills_the_picture_has_its_label_inside() -> None:
    (rect,) = place([Wanted(QRectF(-10, -10, 900, 700), QSizeF(90, 22))], FRAME)
    assert rect is not None
    assert FRAME.contains(rect)


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda t: t.name)
@pytest.mark.parametrize("ground", ["#000000", "#ffffff", "#fcffa4"])
def test_plates_can_be_read_on_any_ground(theme: object, ground: str) -> None:
    # WCAG 2.2, 1.4.3: 4.5 to 1, the plate being mixed with what lies under it
    assert theme in (DARK, LIGHT)
    chosen = DARK if theme is DARK else LIGHT
    plate, under = QColor(chosen.panel), QColor(ground)
    share = PLATE_ALPHA / 255
    mixed = QColor.fromRgbF(
        *(
            share * of(plate) + (1 - share) * of(under)
            for of in (QColor.redF, QColor.greenF, QColor.blueF)
        )
    )
    for colour in (chosen.text, chosen.error):
        assert contrast(colour, mixed.name()) >= 4.5


def test_nothing_on_the_picture_is_smaller_than_12_px(qapp: QApplication) -> None:
    ink = Ink(DARK)
    for font in (ink.small, ink.small_bold, ink.body, ink.number, ink.large):
        assert font.pixelSize() >= 12
        assert QFontMetricsF(font).height() >= 12


# ---- readings ------------------------------------------------------------------------------


@pytest.fixture
def desk(qtbot: QtBot) -> Iterator[Desk]:
    counts = np.full((40, 60), 30_000, np.uint16)
    counts[10:14, 20:26] = 33_000  # 330 K
    counts[30:34, 5:9] = 29_000
    counts[0, 0] = 65_535  # a bad pixel
    made = make_desk([counts, counts])
    yield made
    made.session = None


def session_of(desk: Desk) -> FakeSession:
    return cast(FakeSession, desk.session)


def test_a_region_carries_the_number_of_its_own_statistic(desk: Desk) -> None:
    region = desk.document.add(Rectangle(18, 8, 10, 10), "U3")
    (reading,) = content_of(desk).readings
    assert (reading.name, reading.value, reading.corrected) == ("U3", "56.9 °C", False)
    desk.document.configure(region.id, statistic="min", limit_k=290.0)
    (reading,) = content_of(desk).readings
    assert (reading.value, reading.limit_text) == ("26.9 °C", "over 16.9 °C")
    desk.document.configure(region.id, limit_k=301.0)
    assert content_of(desk).readings[0].limit_text == ""


def test_own_emissivity_corrects_the_number_and_shows_its_sign(desk: Desk) -> None:
    # the measurement equation for 8–14 µm and T_refl 23 °C, computed with scipy and astropy:
    # an object of 60 °C and emissivity 0.60 looks like 46.4869 °C
    scale = Scale(0.001, 273.15)
    counts = np.full((40, 60), 46_487, np.uint16)
    show(desk, 0, Frame(counts, 0.0, 0, scale))
    region = desk.document.add(Rectangle(18, 8, 10, 10))
    desk.document.configure(region.id, emissivity=0.6, reflected_k=296.15)
    (reading,) = content_of(desk).readings
    assert reading.corrected
    assert reading.value == "60.0 °C"
    texts = [chunk.text for chunk in Ink(DARK).label(reading)]
    assert "ε" in texts


def test_an_exceeded_limit_shows_by_weight_and_sign(desk: Desk) -> None:
    region = desk.document.add(Rectangle(18, 8, 10, 10))
    plain = Ink(DARK).label(content_of(desk).readings[0])
    desk.document.configure(region.id, limit_k=310.0)
    over = Ink(DARK).label(content_of(desk).readings[0])
    assert over[1].font.weight() > plain[1].font.weight()
    assert over[-1].text.startswith("▲")


def test_held_frames_and_regions_out_of_view_have_no_number(desk: Desk) -> None:
    desk.document.add(Rectangle(500, 8, 10, 10))
    desk.document.add(Rectangle(18, 8, 10, 10))
    assert [r.value for r in content_of(desk).readings] == ["–", "56.9 °C"]
    assert desk.shown is not None
    show(desk, 0, replace(desk.shown, shutter=True))
    assert [r.value for r in content_of(desk).readings] == ["–", "–"]
    assert notices(desk) == ["shutter: picture held"]
    show(desk, 0, replace(desk.shown, shutter=False, flags=FrameFlag.DAMAGED))
    assert notices(desk) == ["damaged picture: not measured"]


def test_rises_stand_on_the_picture_in_the_rise_view(desk: Desk) -> None:
    region = desk.document.add(Spot(22.5, 12.5))
    session = session_of(desk)
    from thermview.session.measure import MeasureKey

    key = MeasureKey.of(region, session.scene, CENTIKELVIN)
    session.curves.set_columns({region.id: key})
    session.curves.write(0, (key,), np.full((1, 7), 325.0))
    session.curves.set_baseline((0.0, 0.01))
    desk.display.set_baseline(np.full((40, 60), 325.0, np.float32))
    desk.display.set_view(View.RISE)
    content = content_of(desk)
    assert content.readings[0].value == "+5.00 K"
    assert content.readings[0].doubt == "± 0.07"  # noise 0.05 K, gain 1 % of 5 K
    assert content.extremes[0].text == "+5.00 ± 0.07 K"
    assert content.extremes[1].text == "−35.00 ± 0.35 K"


def test_hottest_and_coldest_pass_over_a_bad_pixel(desk: Desk) -> None:
    hottest, coldest = content_of(desk).extremes
    assert (hottest.text, coldest.text) == ("56.9 ± 1.2 °C", "16.9 ± 1.2 °C")
    assert 20 <= hottest.x <= 26
    assert 10 <= hottest.y <= 14
    assert 5 <= coldest.x <= 9
    assert 30 <= coldest.y <= 34
    desk.display.set_markers(False)
    assert content_of(desk).extremes == ()


def test_read_out_says_pixel_value_and_rise(desk: Desk) -> None:
    assert desk.shown is not None

    def words() -> str:
        assert desk.shown is not None
        return pixel_text(desk.shown, desk.display, desk.optics.judge(), row=12, column=22)

    assert words() == "x 22  y 12   56.9 ± 1.2 °C"  # a camera stated to ± 2 K: 2/√3
    desk.display.set_baseline(np.full((40, 60), 329.5, np.float32))
    assert words() == "x 22  y 12   56.9 ± 1.2 °C   +0.50 ± 0.05 K"


def test_brightness_shows_no_degrees_anywhere(qtbot: QtBot) -> None:
    counts = np.arange(40 * 60, dtype=np.uint16).reshape(40, 60)
    desk = make_desk([counts], scale=Scale(1.0, 0.0, relative=True))
    region = desk.document.add(Rectangle(0, 0, 60, 40))
    desk.document.configure(region.id, emissivity=0.5)
    content = content_of(desk)
    assert content.readings[0].value == "2399"
    assert not content.readings[0].corrected
    assert desk.shown is not None
    words = [
        pixel_text(desk.shown, desk.display, desk.optics.judge(), row=1, column=1),
        *caption(desk),
        *(e.text for e in content.extremes),
    ]
    assert not any("°" in text or "temperature" in text for text in words)
    assert "brightness 61" in words[0]
    desk.session = None


# ---- stale, damaged ------------------------------------------------------------------------


def brightness_of(image: QImage) -> float:
    points = itertools.product(range(60, image.width() - 60, 7), range(60, image.height() - 60, 7))
    return float(np.mean([image.pixelColor(x, y).lightnessF() for x, y in points]))


def test_a_stalled_picture_is_dimmed_and_says_so(qtbot: QtBot) -> None:
    desk = make_desk([np.full((40, 60), 30_000, np.uint16)] * 2, live=True)
    desk.display.set_level(290.0, 301.0)
    desk.display.set_markers(False)
    view = PictureView(desk)
    qtbot.addWidget(view)
    view.resize(700, 500)
    show(desk, 1)
    bright = brightness_of(view.canvas.grab().toImage())
    session_of(desk).state = SessionState.STALLED
    assert is_stale(desk)
    assert notices(desk) == ["no new picture from the camera: this is the last one"]
    dim = brightness_of(view.canvas.grab().toImage())
    assert dim < 0.6 * bright
    show(desk, 0)  # looking back: this one was never meant to be the newest
    assert not is_stale(desk)
    desk.session = None


def test_highlighted_band_is_told_in_words(desk: Desk) -> None:
    desk.display.set_isotherm((333.15, math.inf))
    assert notices(desk) == ["highlighted: 60.0 °C and above"]
    desk.display.set_isotherm((-math.inf, 293.15))
    assert notices(desk) == ["highlighted: 20.0 °C and below"]
    desk.display.set_isotherm((303.15, 293.15))
    assert notices(desk) == ["highlighted: 20.0 °C to 30.0 °C"]


# ---- stills --------------------------------------------------------------------------------


def test_a_still_holds_the_picture_its_scale_and_says_when_and_what(desk: Desk) -> None:
    desk.display.set_level(290.0, 330.0)
    desk.display.set_markers(False)
    desk.display.set_smooth(False)
    still = render_still(desk, factor=8, regions=False)
    assert still.size().width() > 480
    for row, column in ((12, 22), (20, 40), (32, 7)):
        kelvin = session_of(desk).footage.frame(0).kelvin()[row, column]
        at = QPointF(12 + 8 * (column + 0.5), 12 + 8 * (row + 0.5)).toPoint()
        assert still.pixelColor(at) == desk.display.colour_of(kelvin)
    bar_x = 12 + 480 + 12 + 9
    top, bottom = still.pixelColor(bar_x, 14), still.pixelColor(bar_x, 12 + 320 - 3)
    assert top.lightness() > 200
    assert bottom.lightness() < 20
    assert caption(desk) == [
        "invented",
        "2026-01-02 03:04:05 (UTC+0000)   0.00 s   apparent temperature",
    ]


def test_a_still_says_simulated_and_emissivity(qtbot: QtBot) -> None:
    desk = make_desk(
        [np.full((40, 60), 30_000, np.uint16)],
        scene=Scene(emissivity=0.9),
        simulated=True,
        title="valve driver board",
        start_time=datetime(2026, 5, 6, tzinfo=UTC),
    )
    name, about = caption(desk)
    assert name == "valve driver board – simulated"
    assert about.endswith("temperature, emissivity 0.9")
    desk.session = None


@pytest.mark.parametrize("turns", [0, 1])
def test_a_small_picture_is_enlarged_until_words_fit(desk: Desk, turns: int) -> None:
    desk.display.turn(turns)
    still = render_still(desk, factor=1)
    assert still.width() >= 480
    assert (still.width() > still.height()) == (turns == 0)


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (20.0, 61.0, 5, [20, 30, 40, 50, 60]),
        (-0.4, 4.6, 5, [0, 1, 2, 3, 4]),
        (22.51, 22.93, 5, [22.6, 22.7, 22.8, 22.9]),
        (0.0, 255.0, 3, [0, 100, 200]),
    ],
)
def test_round_numbers(low: float, high: float, most: float, expected: list[float]) -> None:
    assert round_numbers(low, high, most) == expected


# ---- parts ---------------------------------------------------------------------------------


def board_seen(*, mirrored: bool) -> Board:
    """Return two parts, one on each side, 10 px a mm; mirrored is how the bottom is seen."""
    marks = []
    for x, y in ((0.0, 0.0), (50.0, 0.0), (50.0, 30.0), (0.0, 30.0)):
        u = 500.0 - 10 * x if mirrored else 10 * x
        marks.append(Landmark((x, y), (u, 300.0 - 10 * y)))
    parts = (
        Part("U3", "", 10.0, 20.0, width_mm=6.0, height_mm=4.0),
        Part("C12", "", 10.0, 20.0, width_mm=1.6, height_mm=0.8),
        Part("Q7", "", 40.0, 5.0, side="bottom", width_mm=3.0, height_mm=3.0),
    )
    return Board(parts, fit_homography(marks))


def test_parts_of_the_seen_side_lie_where_the_landmarks_put_them() -> None:
    layer = PartsLayer(board_seen(mirrored=False))
    assert [part.designator for part in layer.parts] == ["U3", "C12"]
    for (x, y), name in {
        (100.0, 100.0): "C12",  # the smaller of two
        (72.0, 82.0): "U3",
        (128.0, 118.0): "U3",
        (68.0, 100.0): None,
        (400.0, 250.0): None,
    }.items():
        part = layer.at(x, y)
        assert (part.designator if part else None) == name
    below = PartsLayer(board_seen(mirrored=True))
    assert [part.designator for part in below.parts] == ["Q7"]
    assert below.at(100.0, 250.0) is not None


def test_read_out_names_the_part_under_the_cursor(desk: Desk, qtbot: QtBot) -> None:
    desk.board = board_seen(mirrored=False)
    show(desk, 0, Frame(np.full((300, 500), 30_000, np.uint16), 0.0, 0, CENTIKELVIN))
    view = PictureView(desk)
    qtbot.addWidget(view)
    view.resize(700, 500)
    view.canvas.repaint()
    assert view.canvas.mapping is not None
    view.canvas._cursor = view.canvas.mapping.to_widget(75.5, 85.5)
    assert view.canvas._readout() == "x 75  y 85   26.9 ± 1.2 °C   U3"
    view.canvas._cursor = view.canvas.mapping.to_widget(300.5, 50.5)
    assert view.canvas._readout() == "x 300  y 50   26.9 ± 1.2 °C"
    assert desk.display.mm_per_px == pytest.approx(0.1)


def test_outlines_follow_every_change_that_moves_them(desk: Desk, qtbot: QtBot) -> None:
    # outlines are kept from frame to frame: nothing that moves or recolours them may be missed
    desk.board = board_seen(mirrored=False)
    show(desk, 0, Frame(np.full((300, 500), 30_000, np.uint16), 0.0, 0, CENTIKELVIN))
    view = PictureView(desk)
    qtbot.addWidget(view)
    view.resize(700, 500)
    view.show()

    def drawn() -> QImage:
        QApplication.processEvents()
        view.canvas.grab()
        return view.canvas._outlines.toImage()

    region = desk.document.add(Rectangle(18, 8, 10, 10))
    seen = [drawn()]
    assert drawn() == seen[0]
    changes: list[Callable[[], object]] = [
        lambda: desk.document.set_shape(region.id, Rectangle(18, 8, 12, 10)),
        lambda: desk.select((region.id,)),
        desk.display.turn,
        lambda: view.canvas.zoom(0.8),
        lambda: view.canvas.setFixedWidth(500),
        lambda: desk.display.set_parts(False),
        lambda: desk.document.remove((region.id,)),
    ]
    for change in changes:
        change()
        seen.append(drawn())
        assert seen[-1] != seen[-2]
