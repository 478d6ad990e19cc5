"""A still of the shown frame: picture, regions, numbers, the scale, when and of what."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QPainter, QPen

from thermview.ui.desk import Desk
from thermview.ui.display import View
from thermview.ui.layers import Layer as SourceLayer
from thermview.ui.picture.content import content_of
from thermview.ui.picture.found import FoundLayer
from thermview.ui.picture.hatching import Hatching
from thermview.ui.picture.ink import Ink
from thermview.ui.picture.layer import Layer
from thermview.ui.picture.mapping import Mapping
from thermview.ui.picture.notices import notices
from thermview.ui.picture.painter import FramePainter
from thermview.ui.theme import tokens

_SMALLEST_WIDTH = 480  # px of the picture in a still: room for the words
_BAR_WIDTH = 18
_BAR_ROOM = 96
_MARGIN = 12


def render_still(desk: Desk, *, factor: int = 2, regions: bool = True) -> QImage:
    """Return the shown frame with all that belongs to it.

    Parameters
    ----------
    desk : Desk
        A frame is shown on it.
    factor : int
        Pixels of the still per pixel of the picture; small pictures are enlarged further, by a
        whole number, until words fit beside them.
    regions : bool
        With the regions and markers, or the bare picture with its scale.
    """
    frame = desk.shown
    assert frame is not None
    display, ink = desk.display, Ink(tokens())
    columns, rows = frame.shape[1], frame.shape[0]
    turned = columns if display.quarter_turns % 2 == 0 else rows
    factor = max(factor, math.ceil(_SMALLEST_WIDTH / turned))
    size = (columns * factor, rows * factor)
    if display.quarter_turns % 2:
        size = size[::-1]
    mapping = Mapping.fitted((columns, rows), size, display.quarter_turns, display.mirrored)
    words = caption(desk)
    line = QFontMetricsF(ink.body).height() + 2
    width = size[0] + 3 * _MARGIN + _BAR_ROOM
    height = size[1] + 2 * _MARGIN + round(line * len(words)) + 6
    still = QImage(width, height, QImage.Format.Format_RGB32)
    still.fill(QColor(ink.theme.window))
    picture = QRectF(_MARGIN, _MARGIN, *size)
    pen = QPainter(still)
    pen.save()
    pen.translate(picture.topLeft())
    pen.setClipRect(QRectF(QPointF(0, 0), picture.size()))
    _draw_picture(pen, desk, mapping)
    if regions:
        _draw_layer(pen, desk, mapping, ink)
    pen.restore()
    if desk.layers.shown is SourceLayer.NONE:  # a layer's own key stands in the picture
        bar = QRectF(picture.right() + _MARGIN, picture.top(), _BAR_WIDTH, picture.height())
        draw_scale(pen, desk, ink, bar)
    for number, text in enumerate(words):
        pen.setFont(ink.body if number else ink.number)
        pen.setPen(ink.text)
        rect = QRectF(_MARGIN, picture.bottom() + 6 + number * line, width - 2 * _MARGIN, line)
        metrics = QFontMetricsF(pen.font())
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideMiddle, rect.width())
        pen.drawText(rect, int(Qt.AlignmentFlag.AlignVCenter), shown)
    pen.end()
    return still


def caption(desk: Desk) -> list[str]:
    """Return the lines under a still: the source, its time, what the numbers are."""
    frame, session, display = desk.shown, desk.session, desk.display
    assert frame is not None
    assert session is not None
    info = session.info
    name = info.title or info.name
    if info.simulated and "simulated" not in name.lower():
        name += " – simulated"
    when = info.start_time + timedelta(seconds=frame.time_s)
    moment = f"{when:%Y-%m-%d %H:%M:%S} (UTC{when:%z})   {frame.time_s:.2f} s"
    kind = display.quantity
    if not display.relative and session.scene.emissivity is None:
        kind = f"apparent {kind}" if display.view is View.TEMPERATURE else f"{kind}, apparent"
    elif not display.relative:
        kind += f", emissivity {session.scene.emissivity:g}"
    if desk.layers.shown is not SourceLayer.NONE:
        kind = desk.layers.shown.value
    lines = [name, f"{moment}   {kind}", *notices(desk)]
    if desk.boards.photo.seen:
        lines.append("in grey: a photo of the board, laid under the heat by matching points")
    if desk.optics.shiny is not None and desk.optics.shiny_shown:
        lines.append(f"hatched: shiny, not readable ({desk.optics.shiny.how})")
    if desk.optics.averaging:
        lines.append("the picture is averaged over time; the regions' numbers are of one frame")
    return lines


def _draw_picture(pen: QPainter, desk: Desk, mapping: Mapping) -> None:
    frame = desk.shown
    assert frame is not None
    pen.save()
    pen.setTransform(mapping.transform(), combine=True)
    pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, desk.display.smooth)
    found = FoundLayer(desk, desk.board)
    painted = FramePainter(desk.display).paint(desk.optics.pictured() or frame)
    pen.drawImage(QPointF(0, 0), found.ground(frame) or painted)
    pen.restore()
    desk.boards.photo.draw(pen, mapping)
    shiny = desk.optics.shiny
    if shiny is not None and desk.optics.shiny_shown:
        Hatching(shiny.mask).draw(pen, mapping)


def _draw_layer(pen: QPainter, desk: Desk, mapping: Mapping, ink: Ink) -> None:
    frame = QRectF(QPointF(0, 0), QSizeF(*mapping.widget)).adjusted(4, 4, -4, -4)
    taken = FoundLayer(desk, desk.board).draw(pen, mapping, ink, frame)
    if desk.layers.shown is SourceLayer.NONE:
        content = content_of(desk, selected=False)
        Layer().draw(pen, content, mapping, ink, frame=frame, taken=taken)


def draw_scale(pen: QPainter, desk: Desk, ink: Ink, bar: QRectF) -> None:
    """Draw the colours from low to high with round numbers beside them."""
    display = desk.display
    levels_k = np.linspace(display.high_k, display.low_k, max(round(bar.height()), 2))
    colours = np.ascontiguousarray(display.argb_of(levels_k).astype(np.uint32)[:, None])
    image = QImage(colours.data, 1, len(colours), 4, QImage.Format.Format_RGB32)
    pen.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, False)
    pen.drawImage(bar, image)
    pen.setPen(QPen(QColor(ink.theme.line), 1))
    pen.setBrush(Qt.BrushStyle.NoBrush)
    pen.drawRect(bar)
    low, high = display.level(display.low_k), display.level(display.high_k)
    pen.setFont(ink.body)
    numbers = round_numbers(low, high, bar.height() / 48)
    decimals = max((len(f"{number:g}".partition(".")[2]) for number in numbers), default=0)
    for number in numbers:
        y = bar.bottom() - (number - low) / (high - low) * bar.height()
        pen.setPen(QPen(QColor(ink.theme.line), 1))
        pen.drawLine(QPointF(bar.right(), y), QPointF(bar.right() + 5, y))
        pen.setPen(ink.text)
        half = QFontMetricsF(ink.body).height() / 2
        at = min(max(y, bar.top() + half), bar.bottom() - half)
        rect = QRectF(bar.right() + 9, at - half, _BAR_ROOM, 2 * half)
        pen.drawText(rect, int(Qt.AlignmentFlag.AlignVCenter), _number_text(number, decimals, desk))


def _number_text(number: float, decimals: int, desk: Desk) -> str:
    display = desk.display
    sign = "+" if display.view is View.RISE and number > 0 else ""
    text = f"{sign}{number:.{decimals}f}".replace("-", "−")
    return f"{text} {display.level_symbol}".rstrip()


def round_numbers(low: float, high: float, most: float) -> list[float]:
    """Return round numbers (1, 2 or 5 times a power of ten apart) within low … high."""
    least = (high - low) / max(most, 1.0)
    power = 10.0 ** math.floor(math.log10(least))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= least * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(n * step, 9) for n in range(first, last + 1)]
