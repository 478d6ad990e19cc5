"""The board around a part: what fills its pixels where it does not."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from thermview.regions import Shape

RING_PX = (3.0, 6.0)
"""From a part's side to the board that counts as being around it."""


@lru_cache(maxsize=512)
def ring(shape: Shape, body_px: tuple[float, float], picture: tuple[int, int]) -> NDArray[np.intp]:
    """Return the flat indices of the pixels around a part: what fills its own where it does not.

    Parameters
    ----------
    shape : Shape
        Holds the part in its middle.
    body_px : (width, height)
        Of the part, px. The ring lies from 3 to 6 px outside of it.
    picture : (rows, columns)
        Of the picture.
    """
    left, top, right, bottom = shape.bounds()
    rows, columns = np.indices(picture)
    beside = np.maximum(
        np.abs(columns + 0.5 - (left + right) / 2.0) - body_px[0] / 2.0,
        np.abs(rows + 0.5 - (top + bottom) / 2.0) - body_px[1] / 2.0,
    )
    return np.flatnonzero((beside >= RING_PX[0]) & (beside <= RING_PX[1]))


def around(kelvin: NDArray[np.floating]) -> float:
    """Return the median of a ring's temperatures, K; NaN where none has a value."""
    known = kelvin[np.isfinite(kelvin)]
    return float(np.median(known)) if known.size else math.nan
