"""All parts' scores at once: matched filters as correlations over the whole picture.

What the heat of a point looks like is the same everywhere; a part's is that, spread over the
part's share of the pixels. So one correlation of the picture with the heat of a point, gathered
over each part's share, is every part's match. Only the noise is taken to be even over what a
part's heat covers, as it is around the part.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.match import Match, excess_bounds, scores_of
from thermview.analysis.heat_model import Filters, Footprint, coverage, window_around
from thermview.analysis.spectra import back, fast_length, forward

Floats = NDArray[np.float64]

QUICK_KAPPAS = (0.004, 0.015)
QUICK_LAGS = (1, 3)
SIDE = 32
AROUND_PX = 2.0
"""Standard deviation of where the noise is taken from: a part's heat shows about so wide."""


class Shares:
    """The pixels that parts cover, and the power that they have in the frequency plane.

    Parameters
    ----------
    footprints : sequence of Footprint
    shape : (rows, columns)
        Of the picture.
    """

    def __init__(self, footprints: Sequence[Footprint], shape: tuple[int, int]) -> None:
        self.shape = shape
        windows = [window_around(one.centre_px, SIDE, shape) for one in footprints]
        covers = [
            coverage(one.outline_px, window)
            for one, window in zip(footprints, windows, strict=True)
        ]
        within = np.arange(shape[0] * shape[1], dtype=np.int64).reshape(shape)
        pairs = zip(windows, covers, strict=True)
        pixels = [window.cut(within)[cover > 0] for window, cover in pairs]
        self._pixel = np.concatenate([*pixels, np.zeros(0, np.int64)])
        self._share = np.concatenate([*(cover[cover > 0] for cover in covers), np.zeros(0)])
        self._begins = np.cumsum([0, *map(len, pixels)])[:-1]
        self.pixels = np.array([[share.sum()] for share in covers]).reshape(-1, 1)
        self.bounds = np.array([excess_bounds(one) for one in footprints]).reshape(-1, 2)
        size = (2 * SIDE, 2 * SIDE)
        power = [np.abs(forward(share, size)) ** 2 for share in covers]
        self.power = np.array(power).reshape(len(power), 2 * SIDE * (SIDE + 1)) / np.prod(size)

    def gather(self, pictures: NDArray[np.float32]) -> Floats:
        """Return the sum over each part's share, shape (part, picture); from (picture, …)."""
        covered = pictures.reshape(len(pictures), -1)[:, self._pixel] * self._share
        return np.asarray(np.add.reduceat(covered, self._begins, axis=1).T)


class QuickMatch:
    """Scores of parts in pictures of one make: modes, filter, pitch.

    Parameters
    ----------
    shares : Shares
    filters : Filters
        What a watt does in these pictures, in the frequency plane.
    """

    def __init__(self, shares: Shares, filters: Filters) -> None:
        rows, columns = shares.shape
        self._shares = shares
        self._size = (fast_length(rows + SIDE), fast_length(columns + SIDE))
        self.choices = [(kappa, lag) for kappa in QUICK_KAPPAS for lag in QUICK_LAGS]
        self._own = filters.modes.body[[lag for _, lag in self.choices]]
        self._body, self._sheet = filters.at(self._size, self.choices)
        self._sizes = self._products(*filters.at((2 * SIDE, 2 * SIDE), self.choices))

    def _products(self, body: NDArray[np.float32], sheet: NDArray[np.float32]) -> list[Floats]:
        """Return the two pictures' products at noise of 1, each of shape (part, choice)."""
        shares, own = self._shares, self._own
        twice = np.full(body.shape[-1], 2.0)
        twice[[0, -1]] = 1.0  # the other half of the plane mirrors this one
        of_sheet = (sheet**2).sum(axis=1) * twice
        of_both = np.einsum("cm,cmij,mij->cij", own, sheet, body, optimize=True) * twice
        of_body = np.einsum("cm,mij->cij", own**2, body**2) * twice
        ways = [(of_sheet, 2), (of_both, 1), (of_body, 0)]
        return [
            shares.power @ table.reshape(len(own), -1).T / shares.pixels**times
            for table, times in ways
        ]

    def scores(
        self, left: NDArray[np.float32], variance: NDArray[np.float32], sign: float = 1.0
    ) -> Floats:
        """Return each part's best score, shape (part,); of cooling with `sign` -1.

        Parameters
        ----------
        left : ndarray, shape (mode, row, column)
        variance : ndarray, shape (row, column)
            Of one coefficient, K².
        """
        shares, own = self._shares, self._own
        rows, columns = shares.shape
        weight = np.float32(sign) / variance
        data = forward(left * weight, self._size)
        both = [np.einsum("mij,cmij->cij", data, self._sheet), data * self._body]
        seen = back(np.concatenate(both), self._size)[:, :rows, :columns].astype(np.float32)
        gathered = shares.gather(seen)
        edges = cv2.BORDER_CONSTANT
        blurred = cv2.GaussianBlur(1.0 / variance, (0, 0), AROUND_PX, borderType=edges)
        around = shares.gather(np.asarray(blurred, np.float32)[None]) / shares.pixels
        match = Match(
            own,
            gathered[:, : len(own)] / shares.pixels,
            gathered[:, len(own) :] @ own.T,
            *(size * around for size in self._sizes),
        )
        least, most = shares.bounds.T[..., None]
        return np.asarray(scores_of(*match.of(match.tries(least, most))).max(axis=(0, 2)))
