"""Least squares with weights that are not negative, for a handful of columns.

Lawson & Hanson, Solving Least Squares Problems (1974), chapter 23: columns are taken in one by one
where they would still help, and left out again where their weight would fall below zero. SciPy's
takes longer to load than all of a recording's fits take.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NOTHING = 1e-12
_ROUNDS = 5  # times the columns: more go in circles by rounding


def nonnegative(columns: Floats, curve: Floats) -> tuple[Floats, float]:
    """Return the weights ≥ 0 that bring columns closest to a curve, and what they leave.

    Parameters
    ----------
    columns : ndarray, shape (row, column)
    curve : ndarray, shape (row,)

    Returns
    -------
    weights : ndarray, shape (column,)
    left : float
        Euclidean length of what is left.
    """
    count = columns.shape[1]
    weights = np.zeros(count)
    used = np.zeros(count, bool)
    least = _NOTHING * float(np.linalg.norm(curve)) * float(np.abs(columns).max(initial=0.0))
    for _ in range(_ROUNDS * count):
        pull = np.where(used, -np.inf, columns.T @ (curve - columns @ weights))
        if used.all() or pull.max() <= least:
            break
        used[np.argmax(pull)] = True
        while used.any():
            wanted = np.zeros(count)
            wanted[used] = np.linalg.lstsq(columns[:, used], curve, rcond=None)[0]
            below = used & (wanted <= 0)
            if not below.any():
                weights = wanted
                break
            share = weights[below] / np.maximum(weights[below] - wanted[below], _NOTHING)
            weights += share.min() * (wanted - weights)
            used &= ~(below & (weights <= _NOTHING * max(float(weights.max()), 1.0)))
            weights[~used] = 0.0
    return weights, float(np.linalg.norm(curve - columns @ weights))
