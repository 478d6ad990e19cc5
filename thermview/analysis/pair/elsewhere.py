"""How wrong may the model be at a part? As wrong as it is close by.

Moved about, a part's template finds powers in what the model leaves unexplained, where no part is:
blur, misplacement, neighbours that were not fitted well, all as large and as smooth as they are on
these boards. At the part itself nothing is left, as its own power has taken it up.

What a template gets wrong of its own part is a share of that part's power: it makes the difference
of two powers larger or smaller, and never out of nothing. Where a part differs, the unexplained
that goes with its own heat is therefore taken off the board that has more of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.fit import Fitted
from thermview.analysis.pair.plane import Pictures, Plane, Subject

Floats = NDArray[np.float64]

AROUND = 4  # cells beside a part that its edges reach
OWN = 2.0  # cells within which the part's own power takes up what is left
REACH = 6  # cells that a template is moved beyond half its part
DIFFERENT = 0.75  # ratio of powers below which a part may well differ


class Elsewhere:
    """The powers that each part's template finds close by.

    Parameters
    ----------
    fitted : Fitted
        Of edges.
    plane : Plane
    subjects : sequence of Subject
    energy : ndarray of float32, shape (subject, row, column)
        Of the templates, K²/W², summed over courses.

    Attributes
    ----------
    powers_w : list of ndarray, shape (2, place)
        Of each subject, in what is left on the good board and on the other, W.
    """

    def __init__(
        self, fitted: Fitted, plane: Plane, subjects: Sequence[Subject], energy: Pictures
    ) -> None:
        self._fitted, self._energy = fitted, energy
        extents = [float(np.ptp(plane.cells(s.outline_mm), axis=0).max()) for s in subjects]
        self._margin = int(max(extents)) + 2 * AROUND + REACH
        self._places = [
            (*np.floor(plane.cells(s.centre_mm)).astype(int).tolist(), extent)
            for s, extent in zip(subjects, extents, strict=True)
        ]
        self._left = [_framed(pictures, self._margin) for pictures in fitted.left]
        squares = (fitted.power_w**2).astype(np.float32)
        self._whole = [_soft(np.tensordot(each, energy, 1)) for each in squares]
        self.powers_w = [
            np.stack([self._found(at, left) for left in self._left]) for at in range(len(subjects))
        ]

    def apart(self, level: float, least_w: Floats) -> Floats:
        """Return the mean square of what both boards' powers differ by close by, W².

        Parameters
        ----------
        level : float
            The other board's power over the good one's, common to all.
        least_w : ndarray, shape (subject,)
            Parts that differ by less are not looked at by themselves.
        """
        good_w, other_w = level * self._fitted.power_w[0], self._fitted.power_w[1]
        low_w, high_w = np.minimum(good_w, other_w), np.maximum(good_w, other_w)
        out = []
        for at, (good, other) in enumerate(self.powers_w):
            difference = other - level * good
            square = float(np.mean(difference**2))
            if high_w[at] - low_w[at] > least_w[at] and low_w[at] < DIFFERENT * high_w[at]:
                ratio = low_w[at] / high_w[at]
                board = int(other_w[at] > good_w[at])
                own = (1 - ratio) * (-level, 1.0)[board] * self._own(at, board)
                # a board that was taken off is held to err as much as the other by itself
                share = 2 / (1 + ratio**2)
                square = min(square, share * float(np.mean((difference - own) ** 2)))
            out.append(square)
        return np.array(out)

    def _own(self, at: int, board: int) -> Floats:
        """Return the powers found in what goes with a part's own heat on a board, shape (place,).

        Its share of the unexplained is its share of all heat that is seen around.
        """
        mine = self._fitted.power_w[board, at] ** 2 * _soft(self._energy[at])
        share = mine / np.maximum(self._whole[board], 1e-30)
        left = self._fitted.left[board] * np.clip(share, 0, 1).astype(np.float32)
        return self._found(at, _framed(left, self._margin))

    def _found(self, at: int, framed: Pictures) -> Floats:
        """Return the powers that a part's template finds in pictures, shape (place,)."""
        x, y, extent = self._places[at]
        half, reach = int(np.ceil(extent / 2)) + AROUND, REACH + int(extent / 2)
        template = _cut(self._fitted.columns[at], x, y, half)
        wide = half + reach
        x, y = x + self._margin, y + self._margin
        near = framed[:, y - wide : y + wide + 1, x - wide : x + wide + 1]
        steps = np.arange(-reach, reach + 1)
        away = np.hypot(*np.meshgrid(steps, steps))
        moved = (away >= OWN) & (away <= reach)
        return _matched(near, template)[moved] / max(float(np.sum(template**2)), 1e-30)


def _soft(picture: Pictures) -> Pictures:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), float(AROUND)), dtype=np.float32)


def _framed(pictures: Pictures, margin: int) -> Pictures:
    around = (margin, margin, margin, margin)
    return np.stack([cv2.copyMakeBorder(p, *around, cv2.BORDER_REFLECT) for p in pictures])


def _cut(pictures: Pictures, x: int, y: int, half: int) -> Pictures:
    """Return the square about a cell; 0 beyond the pictures."""
    rows, columns = pictures.shape[1:]
    top, low = max(y - half, 0), min(y + half + 1, rows)
    first, last = max(x - half, 0), min(x + half + 1, columns)
    out = np.zeros((len(pictures), 2 * half + 1, 2 * half + 1), np.float32)
    there = slice(top - y + half, low - y + half), slice(first - x + half, last - x + half)
    out[:, *there] = pictures[:, top:low, first:last]
    return out


def _matched(pictures: Pictures, template: Pictures) -> Floats:
    """Return the scalar products of a template with pictures at all places, summed over courses."""
    found = [
        cv2.matchTemplate(p.copy(), t.copy(), cv2.TM_CCORR)
        for p, t in zip(pictures, template, strict=True)
    ]
    return np.asarray(np.sum(found, axis=0, dtype=np.float64))
