"""How wrong may the model be at a part? As wrong as it is close by.

Moved about, a part's template finds powers in what the model leaves unexplained, where no part is:
blur, misplacement, neighbours that were not fitted well, all as large and as smooth as they are on
these boards. At the part itself nothing is left, as its own power has taken it up.
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


def found_elsewhere(fitted: Fitted, plane: Plane, subjects: Sequence[Subject]) -> list[Floats]:
    """Return of each subject the powers that its template finds close by, shape (2, place), W.

    Parameters
    ----------
    fitted : Fitted
        Of edges.
    """
    extents = [np.ptp(plane.cells(s.outline_mm), axis=0).max() for s in subjects]
    margin = int(max(extents)) + 2 * AROUND + REACH
    left = np.stack([_framed(pictures, margin, cv2.BORDER_REFLECT) for pictures in fitted.left])
    out = []
    for subject, extent, column in zip(subjects, extents, fitted.columns, strict=True):
        half, reach = int(np.ceil(extent / 2)) + AROUND, REACH + int(extent / 2)
        x, y = np.floor(plane.cells(subject.centre_mm)).astype(int) + margin
        framed = _framed(column, margin, cv2.BORDER_CONSTANT)
        template = framed[:, y - half : y + half + 1, x - half : x + half + 1]
        wide = half + reach
        near = left[:, :, y - wide : y + wide + 1, x - wide : x + wide + 1]
        size = float(np.sum(template**2))
        steps = np.arange(-reach, reach + 1)
        away = np.hypot(*np.meshgrid(steps, steps))
        moved = (away >= OWN) & (away <= reach)
        powers = [_matched(pictures, template)[moved] / max(size, 1e-30) for pictures in near]
        out.append(np.stack(powers))
    return out


def _framed(pictures: Pictures, margin: int, border: int) -> Pictures:
    around = (margin, margin, margin, margin)
    return np.stack([cv2.copyMakeBorder(p, *around, border) for p in pictures])


def _matched(pictures: Pictures, template: Pictures) -> Floats:
    """Return the scalar products of a template with pictures at all places, summed over courses."""
    found = [
        cv2.matchTemplate(p.copy(), t.copy(), cv2.TM_CCORR)
        for p, t in zip(pictures, template, strict=True)
    ]
    return np.asarray(np.sum(found, axis=0, dtype=np.float64))
