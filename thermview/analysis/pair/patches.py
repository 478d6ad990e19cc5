"""Templates that are zero beyond a cut each: products of them cost what the cuts hold, no more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.plane import Pictures

Floats = NDArray[np.float64]
Cut = tuple[slice, slice]
"""Rows and columns of a grid, with start and stop."""


class Patches:
    """Templates in their cuts, numbered cut by cut.

    Parameters
    ----------
    cuts : sequence of (rows, columns)
    pictures : sequence of ndarray of float32, shape (template, course, row, column)
        What each cut holds; as many templates in each.
    """

    def __init__(self, cuts: Sequence[Cut], pictures: Sequence[Pictures]) -> None:
        self.cuts = cuts
        self.pictures = pictures
        self.each = len(pictures[0])

    def gram(self) -> Floats:
        """Return all scalar products, shape (template, template)."""
        k, n = self.each, len(self.cuts)
        out = np.zeros((n, k, n, k))
        for i in range(n):
            for j in range(i, n):
                both = _common(self.cuts[i], self.cuts[j])
                if both is None:
                    continue
                one, other = (
                    self.pictures[at][..., *_within(self.cuts[at], both)].reshape(k, -1)
                    for at in (i, j)
                )
                out[i, :, j] = one @ other.T
                out[j, :, i] = out[i, :, j].T
        return out.reshape(n * k, n * k)

    def products(self, seen: Pictures) -> Floats:
        """Return scalar products with pictures on the grid, shape (template,)."""
        found = [
            mine.reshape(self.each, -1) @ seen[:, *cut].ravel()
            for cut, mine in zip(self.cuts, self.pictures, strict=True)
        ]
        return np.concatenate(found).astype(np.float64)

    def summed(self, size: Floats, like: Pictures) -> Pictures:
        """Return the sum of all templates, each so many times, on the grid of other pictures."""
        out = np.zeros_like(like)
        sizes = size.reshape(len(self.cuts), self.each).astype(np.float32)
        for cut, mine, times in zip(self.cuts, self.pictures, sizes, strict=True):
            if times.any():
                out[:, *cut] += np.tensordot(times, mine, 1)
        return out


def _common(one: Cut, other: Cut) -> Cut | None:
    """Return what two cuts share; None where that is nothing."""
    rows, columns = (
        slice(max(a.start, b.start), min(a.stop, b.stop)) for a, b in zip(one, other, strict=True)
    )
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None


def _within(cut: Cut, part: Cut) -> Cut:
    """Return a part of a cut in the cut's own numbers."""
    rows, columns = (
        slice(b.start - a.start, b.stop - a.start) for a, b in zip(cut, part, strict=True)
    )
    return rows, columns
