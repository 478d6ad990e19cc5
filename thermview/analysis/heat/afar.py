"""What the picture far from a place does: what metal all over the board mirrors at once."""

from __future__ import annotations

from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import Window
from thermview.analysis.prepare import Block
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]

COURSES = 6
"""Courses that are taken to be a mirror's: a hand that moves shows three or four."""
BASIS = 24
POOL_PX = 2
"""So wide squares are averaged: what few small places mirror stands out of less noise."""
ROUNDS = 2


class Afar:
    """The courses that pictures show most of outside a window.

    Principal components over time, from a basis of the whole picture's; that basis is found by
    random projections (Halko, Martinsson, Tropp, SIAM Review 53, 2011, from memory).

    Parameters
    ----------
    narrow : ndarray of float32, shape (frame, row, column)
        High-passed, K.
    idle : ndarray, shape (frame, course)
        Orthonormal courses that are no evidence anyway.
    """

    def __init__(self, narrow: Block, idle: Floats) -> None:
        self._narrow = narrow
        self._idle = idle

    @cached_property
    def _found(self) -> tuple[Floats, NDArray[np.float32]]:
        """Return orthonormal courses (frame, basis), and how much of each every square shows."""
        rows, columns = (max(1, size // POOL_PX) for size in self._narrow.shape[1:])
        pooled = np.stack(
            [cv2.resize(one, (columns, rows), interpolation=cv2.INTER_AREA) for one in self._narrow]
        )
        table = pooled.reshape(len(pooled), -1)
        idle = self._idle.astype(np.float32)
        table = table - idle @ (idle.T @ table)
        count = min(BASIS, *table.shape)
        rng = np.random.default_rng(0)
        start = rng.normal(size=(table.shape[1], count)).astype(np.float32)
        axes, _ = np.linalg.qr(table @ start)
        for _ in range(ROUNDS):
            still_wanted()
            axes, _ = np.linalg.qr(table @ (table.T @ axes))
        shown = (axes.T @ table).reshape(count, *pooled.shape[1:])
        return axes.astype(np.float64), shown

    def courses(self, window: Window) -> Floats:
        """Return what the picture outside a window shows, orthonormal, shape (frame, ≤ 6)."""
        axes, shown = self._found
        left = np.array(shown)
        top, start = window.y // POOL_PX, window.x // POOL_PX
        side = window.side // POOL_PX
        left[:, top : top + side, start : start + side] = 0.0
        flat = left.reshape(len(left), -1)
        sizes, turn = np.linalg.eigh((flat @ flat.T).astype(np.float64))
        kept = sizes[-COURSES:] > 1e-6 * float(np.einsum("kij,kij->", shown, shown))
        return np.asarray(axes @ turn[:, -COURSES:][:, kept])
