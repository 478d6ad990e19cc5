"""Does a part's change have its own outline? A neighbour's heat, spread by the board, has none.

What changes beside a part that changed is smooth, but no model tells exactly how much. A part's
own body, and the board close under it, end where the part ends: of its template and of what is
seen, only what is no wider than edges is held against each other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.fit import Fitted
from thermview.analysis.pair.plane import Plane, Subject, Window, highpass

EDGE = 1.5  # cells; what is wider is not an edge
AROUND = 4  # cells beside a part
LEAST_SHARE = 0.5
"""Of a change, by its edges alone: own changes show all of it, neighbours' none."""
LEAST_LIKE = 0.3
"""Correlation of the edges with the template's."""


def outlined(
    fitted: Fitted, plane: Plane, subjects: Sequence[Subject], level: float
) -> NDArray[np.bool_]:
    """Tell of each subject whether the change of its power shows in its own outline.

    Parameters
    ----------
    level : float
        The other board's power over the good one's, common to all.
    """
    change = fitted.power_w[1] - level * fitted.power_w[0]
    left = highpass(fitted.left[1] - np.float32(level) * fitted.left[0], EDGE)
    found = np.zeros(len(subjects), dtype=bool)
    for i, subject in enumerate(subjects):
        side = int(np.ceil(np.ptp(plane.cells(subject.outline_mm), axis=0).max())) + 2 * AROUND
        middle = plane.cells(subject.centre_mm)
        near = Window.around(middle, side, plane.shape)
        wide = Window.around(middle, side + 4 * AROUND, plane.shape)
        edges = highpass(fitted.columns[i][:, *wide.slices], EDGE)
        y, x = near.y - wide.y, near.x - wide.x
        own = change[i] * edges[:, y : y + near.height, x : x + near.width].ravel()
        seen = own + left[:, *near.slices].ravel()
        both, size = float(own @ seen), float(own @ own)
        like = both > LEAST_LIKE * float(np.sqrt(size * (seen @ seen)))
        found[i] = like and both > LEAST_SHARE * size
    return found
