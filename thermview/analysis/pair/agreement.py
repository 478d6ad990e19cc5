"""Do the two pictures lie on each other? Asked of the pictures themselves, corner by corner.

Four matching points always fit exactly, so that a wrong one shows in no residual. But what warms on
both boards is mostly the same: a corner of the one picture that is found elsewhere in the other
tells of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.plane import highpass
from thermview.analysis.pair.templates import NARROW

REACH = 8
"""So far a corner is looked for, cells."""
LEAST_CELLS = 2.5
"""Refinement takes out a cell or so; what is farther off stays wrong."""
ALIKE = 0.5
"""Correlation from which the same things are seen."""
BETTER = 0.1
NAMES = (("upper left", "upper right"), ("lower left", "lower right"))


@dataclass(frozen=True, slots=True)
class Misfit:
    """A corner of the picture where the boards do not lie on each other, and by how much."""

    corner: str
    cells: float


def misfits(rise_k: NDArray[np.float32]) -> list[Misfit]:
    """Return the corners that are found elsewhere, the worst first.

    Parameters
    ----------
    rise_k : ndarray of float32, shape (2, row, column)
        Both boards' rise on one plane, K; the first row is the upper one.
    """
    good, bad = highpass(rise_k, NARROW)
    rows, columns = good.shape
    found = []
    for at_row, names in enumerate(NAMES):
        for at_column, name in enumerate(names):
            y = slice(at_row * rows // 2, (at_row + 1) * rows // 2)
            x = slice(at_column * columns // 2, (at_column + 1) * columns // 2)
            cells = _shift(good[y, x], bad[y, x])
            if cells >= LEAST_CELLS:
                found.append(Misfit(name, cells))
    return sorted(found, key=lambda misfit: -misfit.cells)


def _shift(good: NDArray[np.float32], bad: NDArray[np.float32]) -> float:
    """Return how far one picture must be moved to be like the other, cells; 0 if that is unsure."""
    if min(good.shape) < 4 * REACH:
        return 0.0
    middle = np.ascontiguousarray(good[REACH:-REACH, REACH:-REACH])
    score = cv2.matchTemplate(np.ascontiguousarray(bad), middle, cv2.TM_CCOEFF_NORMED)
    best = np.unravel_index(int(np.argmax(score)), score.shape)
    here = float(score[REACH, REACH])
    if not score[best] > max(ALIKE, here + BETTER):
        return 0.0
    return float(np.hypot(best[0] - REACH, best[1] - REACH))
