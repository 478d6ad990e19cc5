"""Least squares with weights that are not negative.

A handful of columns: Lawson & Hanson, Solving Least Squares Problems (1974), chapter 23: they are
taken in one by one where they would still help, and left out again where their weight would fall
below zero. Hundreds, by their scalar products: Portugal, Júdice & Vicente, Mathematics of
Computation 63 (1994) 625: all that are on the wrong side change it at once, or, where that goes in
circles, the last alone. SciPy's takes longer to load than all of a recording's fits take.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NOTHING = 1e-12
_ROUNDS = 5  # times the columns: more go in circles by rounding
_RIDGE = 1e-5  # single-precision scalar products need so much to stay positive definite
_AT_ONCE = 3  # times that all change sides though no fewer are wrong


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


def nonnegative_by_products(gram: Floats, right: Floats) -> Floats:
    """Return x ≥ 0 that minimises xᵀGx - 2bᵀx.

    Parameters
    ----------
    gram : ndarray, shape (column, column)
        Columns' scalar products; a hundred-thousandth is added to each one's with itself.
    right : ndarray, shape (column,)
        Theirs with the curve.

    Returns
    -------
    ndarray, shape (column,)
    """
    size = np.sqrt(np.maximum(np.diag(gram), 1e-30))
    scaled = gram / size[:, None] / size + _RIDGE * np.eye(len(size))
    wanted = right / size
    least = _NOTHING * float(np.abs(wanted).max(initial=0.0))
    used = wanted > least
    fewest, spare = len(used) + 1, _AT_ONCE
    weights = np.zeros(len(used))
    for _ in range(_ROUNDS * len(used)):
        weights[:] = 0.0
        weights[used] = np.linalg.solve(scaled[np.ix_(used, used)], wanted[used])
        wrong = np.where(used, weights < -least, wanted - scaled @ weights > least)
        count = int(np.count_nonzero(wrong))
        if count == 0:
            break
        if count < fewest:
            fewest, spare = count, _AT_ONCE
        elif spare > 0:
            spare -= 1
        else:
            wrong[: np.flatnonzero(wrong)[-1]] = False
        used ^= wrong
    return np.maximum(weights, 0.0) / size
