"""Where labels go: beside what they name, inside the picture, clear of each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSizeF

_GAP = 6.0  # px between a label and what it names


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label that seeks its place: the box of what it names, and the label's size, px."""

    box: QRectF
    size: QSizeF


def place(
    wanted: Sequence[Wanted], frame: QRectF, taken: Sequence[QRectF] = ()
) -> list[QRectF | None]:
    """Return each label's place, or None where what it names is out of sight.

    A label lies inside `frame`, and beside its own box wherever there is room; of the free places
    it takes the first that covers neither earlier labels, nor `taken`, nor other boxes, else the
    one that covers least. The order is fixed, so labels stand still while nothing moves.
    """
    placed: list[QRectF] = list(taken)
    result: list[QRectF | None] = []
    for label in wanted:
        if not frame.intersects(_at_least(label.box)):
            result.append(None)
            continue
        others = [other.box for other in wanted if other is not label]
        best = min(
            _candidates(label, frame), key=lambda spot: _cost(spot, label.box, placed, others)
        )
        placed.append(best)
        result.append(best)
    return result


def _candidates(label: Wanted, frame: QRectF) -> Iterator[QRectF]:
    """Yield places around the box, the customary first, each pushed into the frame."""
    box, width, height = label.box, label.size.width(), label.size.height()
    middle_x, middle_y = box.center().x() - width / 2, box.center().y() - height / 2
    above, below = box.top() - _GAP - height, box.bottom() + _GAP
    right, left = box.right() + _GAP, box.left() - _GAP - width
    for corner in (
        QPointF(middle_x, above),
        QPointF(middle_x, below),
        QPointF(right, middle_y),
        QPointF(left, middle_y),
        QPointF(right, above),
        QPointF(left, above),
        QPointF(right, below),
        QPointF(left, below),
        QPointF(middle_x, above - height),
        QPointF(middle_x, below + height),
        QPointF(right + width / 2, middle_y),
        QPointF(left - width / 2, middle_y),
    ):
        yield _inside(QRectF(corner, label.size), frame)
    # a box that fills the frame: its label has to lie on it, in a corner
    yield _inside(QRectF(frame.topLeft(), label.size), frame)


def _inside(rect: QRectF, frame: QRectF) -> QRectF:
    x = max(min(rect.left(), frame.right() - rect.width()), frame.left())
    y = max(min(rect.top(), frame.bottom() - rect.height()), frame.top())
    return QRectF(QPointF(x, y), rect.size())


def _cost(spot: QRectF, own: QRectF, placed: Sequence[QRectF], others: Sequence[QRectF]) -> float:
    return (
        4.0 * sum(_shared(spot, other) for other in placed)
        + 2.0 * _shared(spot, own)
        + 1.0 * sum(_shared(spot, other) for other in others)
    )


def _shared(one: QRectF, other: QRectF) -> float:
    both = one.intersected(other)
    return both.width() * both.height()


def _at_least(box: QRectF) -> QRectF:
    """Return the box with some width and height, so that a level line still meets the frame."""
    return box.adjusted(-0.5, -0.5, 0.5, 0.5)
