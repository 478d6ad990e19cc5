"""The loupe around the cursor and the crosses of points, the same on picture and photo."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, QSizeF
from PySide6.QtGui import QColor, QPainter, QPainterPath

from thermview.ui.picture.ink import Chunk, Ink
from thermview.ui.picture.mapping import Mapping
from thermview.ui.theme import DARK, tokens

ACROSS_PX = 150.0
TIMES = 4.0
_WHITE = QColor("#ffffff")


def draw_loupe(
    pen: QPainter,
    ink: Ink,
    mapping: Mapping,
    at: QPointF,
    draw: Callable[[QPainter, Mapping], None],
) -> None:
    """Draw the surroundings of the cursor enlarged; the cross in its middle is the place.

    Parameters
    ----------
    at : QPointF
        The cursor, px of the widget.
    draw : callable
        Paints what is under the glass, laid as the given mapping says.
    """
    glass = QPainterPath()
    glass.addEllipse(at, ACROSS_PX / 2, ACROSS_PX / 2)
    pen.save()
    pen.setClipPath(glass)
    pen.fillPath(glass, QColor(tokens().sunken))
    draw(pen, mapping.zoomed(at, TIMES))
    pen.restore()
    ink.stroke(pen, glass, _WHITE, 2.0)
    ink.stroke(pen, cross(at, 12.0), _WHITE, 1.5)


def draw_mark(pen: QPainter, ink: Ink, at: QPointF, words: str, *, bad: bool = False) -> None:
    """Draw a point's cross and what it is; the one that is off has a sign."""
    ink.stroke(pen, cross(at, 9.0), QColor(DARK.warning) if bad else _WHITE, 2.0)
    if words:
        box = QRectF(at, QSizeF(0, 0)).adjusted(-9, -9, 9, 9)
        plate_beside(pen, ink, box, f"⚠ {words}" if bad else words)


def cross(at: QPointF, length: float) -> QPainterPath:
    """Return four strokes that leave the place itself open."""
    path = QPainterPath()
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        path.moveTo(at + QPointF(dx, dy) * 3)
        path.lineTo(at + QPointF(dx, dy) * length)
    return path


def plate_beside(pen: QPainter, ink: Ink, box: QRectF, words: str) -> None:
    """Write words at the upper right of a box, or where there is room for them."""
    chunks = [Chunk(words, ink.small_bold, ink.text)]
    size = ink.plate_size(chunks)
    plate = QRectF(box.topRight() + QPointF(3, -size.height()), size)
    if plate.top() < 0:
        plate.moveTop(box.bottom())
    if plate.right() > pen.viewport().width():
        plate.moveRight(box.left() - 3)
    ink.plate(pen, plate, chunks)
