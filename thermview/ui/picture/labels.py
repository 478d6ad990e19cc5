"""Where labels go: beside what they name, inside the picture, clear of each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSizeF

_GAP = 6.0  # px between a label and what it names
_LABEL, _OWN, _OTHER = 4.0, 3.0, 2.0  # how bad it is to cover a label, its own region, another
_FAR = 20.0  # how bad it is to stand a px farther than the gap


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label that seeks its place: the box of what it names, and the label's size, px."""

    box: QRectF
    size: QSizeF


def place(
    wanted: Sequence[Wanted],
    frame: QRectF,
    taken: Sequence[QRectF] = (),
    others: Sequence[QRectF] = (),
) -> list[QRectF | None]:
    """Return each label's place, or None where what it names is out of sight.

    A label lies inside `frame`, and beside its own box wherever there is room; of the free places
    it takes the first that covers neither earlier labels, nor `taken`, nor other boxes (`others`
    among them), else the one that covers least. The order is fixed, so labels stand still while
    nothing moves.
    """
    boxes = _corners([*(label.box for label in wanted), *others])
    placed = [_corners([rect])[0] for rect in taken]
    result: list[QRectF | None] = []
    for number, label in enumerate(wanted):
        if not frame.intersects(_at_least(label.box)):
            result.append(None)
            continue
        spots = _candidates(label, frame)
        corners = _corners(spots)
        cost = _OTHER * _shared(corners, boxes)
        cost += (_OWN - _OTHER) * _shared(corners, boxes[number : number + 1])
        cost += _LABEL * _shared(corners, np.array(placed).reshape(-1, 4))
        cost += _FAR * _apart(corners, boxes[number])
        best = int(np.argmin(cost))
        placed.append(corners[best])
        result.append(spots[best])
    return result


def _candidates(label: Wanted, frame: QRectF) -> list[QRectF]:
    """Return places around the box, the customary first, each pushed into the frame."""
    box, width, height = label.box, label.size.width(), label.size.height()
    middle_x, middle_y = box.center().x() - width / 2, box.center().y() - height / 2
    above, below = box.top() - _GAP - height, box.bottom() + _GAP
    right, left = box.right() + _GAP, box.left() - _GAP - width
    xs = (middle_x, box.left(), box.right() - width)
    beside = [
        *(QPointF(x, above) for x in xs),
        *(QPointF(x, below) for x in xs),
        QPointF(right, middle_y),
        QPointF(left, middle_y),
        *(QPointF(x, y) for y in (above, below) for x in (right, left)),
        QPointF(middle_x, above - height),
        QPointF(middle_x, below + height),
    ]
    spots = [_inside(QRectF(corner, label.size), frame) for corner in beside]
    if all(spot.intersects(box) for spot in spots):
        # the box fills the frame: its label has to lie on it, in a corner
        return [_inside(QRectF(frame.topLeft(), label.size), frame)]
    return spots


def _inside(rect: QRectF, frame: QRectF) -> QRectF:
    x = max(min(rect.left(), frame.right() - rect.width()), frame.left())
    y = max(min(rect.top(), frame.bottom() - rect.height()), frame.top())
    return QRectF(QPointF(x, y), rect.size())


def _corners(rects: Sequence[QRectF]) -> NDArray[np.float64]:
    """Return left, top, right, bottom of each: shape (rectangle, 4)."""
    corners = [(r.left(), r.top(), r.right(), r.bottom()) for r in rects]
    return np.array(corners, dtype=np.float64).reshape(-1, 4)


def _shared(spots: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the area that each spot shares with all others together: shape (spot,)."""
    low = np.maximum(spots[:, None, :2], others[None, :, :2])
    high = np.minimum(spots[:, None, 2:], others[None, :, 2:])
    area: NDArray[np.float64] = np.maximum(high - low, 0.0).prod(axis=2).sum(axis=1)
    return area


def _apart(spots: NDArray[np.float64], box: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much farther than the gap each spot lies from a box, px: shape (spot,)."""
    between = np.maximum(spots[:, :2] - box[2:], box[:2] - spots[:, 2:])
    apart: NDArray[np.float64] = np.maximum(between.max(axis=1) - _GAP, 0.0)
    return apart


def _at_least(box: QRectF) -> QRectF:
    """Return the box with some width and height, so that a level line still meets the frame."""
    return box.adjusted(-0.5, -0.5, 0.5, 0.5)
