"""What only passes through the picture: a hand over the board, or mirrored in its parts.

All that heat does follows a few courses over time; what comes and goes within seconds follows none
of them, and would bend them all. Where it was, the picture is filled with what the other moments
say.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.prepare import Block
from thermview.analysis.trend import SIGMA_OF_MAD

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

TILE_PX = 4
SIGMAS = 10.0
LEAST_K = 0.3
"""No drift of a camera departs by so much from the courses of heat."""
HEAT_SHARE = 0.2
"""Of heat, the courses get no more than this share wrong, as it begins."""
MOST_PASSING = 0.35
"""Share of the time; what stays longer is no passing."""
ROUNDS = 6
NEAR_FRAMES = 2


def without_passing(rise_k: Block, table: Floats, noise_k: float) -> Block:
    """Return pictures without what only passed through them.

    Parameters
    ----------
    rise_k : ndarray of float32, shape (frame, row, column)
        K from any zero.
    table : ndarray, shape (frame, course)
        Courses that explain all that heat and the camera's offsets do.
    noise_k : float
        Of one pixel.
    """
    rows, columns = rise_k.shape[1:]
    size = (max(1, columns // TILE_PX), max(1, rows // TILE_PX))
    tiles = np.stack([cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in rise_k])
    curves = tiles.reshape(len(tiles), -1).astype(np.float64)
    basis, _ = np.linalg.qr(table)
    left = curves - basis @ (basis.T @ curves)
    doubtful = np.flatnonzero(np.abs(left).max(axis=0) > LEAST_K)
    disturbed = np.zeros(curves.shape, dtype=bool)
    for at in doubtful.tolist():
        disturbed[:, at] = departs(curves[:, at], table, noise_k / TILE_PX)
    if not disturbed.any():
        return rise_k
    return _filled(rise_k, _widened(disturbed.reshape(tiles.shape)), table)


def departs(curve: Floats, table: Floats, noise_k: float) -> Mask:
    """Tell when a curve departs from the courses; never, where it does so for long.

    Parameters
    ----------
    curve : ndarray, shape (frame,)
    table : ndarray, shape (frame, course)
    noise_k : float
        Of the curve.

    Returns
    -------
    ndarray of bool, shape (frame,)
    """
    weight = np.ones(len(curve))
    for _ in range(ROUNDS):
        fit = table @ np.linalg.lstsq(table * weight[:, None], curve * weight, rcond=1e-6)[0]
        off = np.abs(curve - fit)
        scale = max(float(np.median(off)) * SIGMA_OF_MAD, noise_k)
        weight = np.sqrt(1.0 / (1.0 + (off / (3 * scale)) ** 2))
    found = off > max(SIGMAS * scale, LEAST_K)
    whole = np.cumsum(np.diff(found, prepend=False))  # numbers what hangs together
    found &= np.isin(whole, whole[found & (off > HEAT_SHARE * np.ptp(fit))])
    return found if found.mean() < MOST_PASSING else np.zeros(len(curve), dtype=bool)


def _widened(disturbed: Mask) -> Mask:
    """Return tiles and moments with their neighbours, where most of what passes is fainter."""
    around = np.ones((3, 3), np.uint8)
    wide = np.stack([cv2.dilate(m, around) for m in disturbed.astype(np.uint8)])
    flat = wide.reshape(len(wide), -1)
    soon = cv2.dilate(flat, np.ones((2 * NEAR_FRAMES + 1, 1), np.uint8))
    return np.asarray(soon.reshape(disturbed.shape) > 0)


def _filled(rise_k: Block, disturbed: Mask, table: Floats) -> Block:
    """Return pictures that say in disturbed tiles what the undisturbed moments tell of them."""
    filled = rise_k.copy()
    for row, column in np.argwhere(disturbed.any(axis=0)).tolist():
        when = disturbed[:, row, column]
        if when.mean() > MOST_PASSING:
            continue
        y, x = (
            _extent(at, tiles, length)
            for at, tiles, length in zip(
                (row, column), disturbed.shape[1:], rise_k.shape[1:], strict=True
            )
        )
        seen = rise_k[~when, y, x]
        solve = np.linalg.pinv(table[~when], rcond=1e-4)
        told = (table[when] @ solve).astype(np.float32) @ seen.reshape(len(seen), -1)
        filled[when, y, x] = told.reshape(-1, *seen.shape[1:])
    return filled


def _extent(at: int, tiles: int, length: int) -> slice:
    """Return a tile's pixels along an axis; the last has what remains."""
    return slice(at * TILE_PX, length if at == tiles - 1 else (at + 1) * TILE_PX)
