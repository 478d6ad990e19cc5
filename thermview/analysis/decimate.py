"""Reduce a curve to the pixel columns of a chart without losing an extreme.

Nothing is kept between two calls, so a curve may grow or be measured anew at any time. A tree of
block extremes would only pay beyond some millions of samples: numpy's `fmin.reduceat` walks 90,000
float32 samples in about 30 µs (`benchmarks/bench_strip.py` prints it).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PixelColumns:
    """Which samples fall into which pixel column; shared by all curves with the same times.

    Attributes
    ----------
    edges : ndarray of int64, shape (columns + 1,)
        Samples ``edges[i]`` … ``edges[i + 1] - 1`` lie in column i.
    share : ndarray of float32, shape (columns + 1,)
        Where a column's edge lies between the sample before it (0) and the one after it (1); NaN
        where no line is drawn there: outside the curve, or across a gap.
    """

    edges: NDArray[np.int64]
    share: NDArray[np.float32]

    @classmethod
    def of(
        cls,
        times_s: NDArray[np.float64],
        start_s: float,
        end_s: float,
        columns: int,
        longest_step_s: float = np.inf,
    ) -> PixelColumns:
        """Share out samples to `columns` columns of equal duration from `start_s` to `end_s`.

        Parameters
        ----------
        times_s : ndarray, shape (samples,)
            Strictly increasing, need not be even.
        start_s, end_s : float
            Left edge of the first column, right edge of the last one, s.
        columns : int
            How many.
        longest_step_s : float
            Samples further apart than this, s, are not joined by a line.
        """
        at_s = np.linspace(start_s, end_s, columns + 1)
        edges = np.searchsorted(times_s, at_s).astype(np.int64)
        inside = np.flatnonzero((edges > 0) & (edges < len(times_s)))
        before_s, after_s = times_s[edges[inside] - 1], times_s[edges[inside]]
        step_s = after_s - before_s
        share = np.full(columns + 1, np.nan, dtype=np.float32)
        share[inside] = np.where(
            step_s <= longest_step_s, (at_s[inside] - before_s) / step_s, np.nan
        )
        return cls(edges, share)

    def extremes(self, values: Values) -> tuple[Values, Values]:
        """Return the lowest and the highest sample of every column.

        Parameters
        ----------
        values : ndarray of float32, shape (samples,)
            NaN is a sample without a number.

        Returns
        -------
        low, high : ndarray of float32, shape (columns,)
            NaN where a column holds no number.
        """
        starts, stops = self.edges[:-1], self.edges[1:]
        low = np.full(len(starts), np.nan, dtype=np.float32)
        high = low.copy()
        filled = np.flatnonzero(starts < stops)
        if filled.size:  # the columns that hold samples follow one another without a hole
            part = values[: stops[filled[-1]]]
            low[filled] = np.fmin.reduceat(part, starts[filled])
            high[filled] = np.fmax.reduceat(part, starts[filled])
        return low, high

    def band(self, values: Values) -> tuple[Values, Values]:
        """Return what a line through the samples covers in every column: lowest, highest value.

        The same as `extremes`, with the line's height at the column's two edges: neighbouring
        columns meet, however few samples there are. NaN where there is no line.
        """
        low, high = self.extremes(values)
        edge = np.full(len(self.edges), np.nan, dtype=np.float32)
        crossed = np.flatnonzero(~np.isnan(self.share))
        before, after = values[self.edges[crossed] - 1], values[self.edges[crossed]]
        edge[crossed] = before + (after - before) * self.share[crossed]
        for side in (edge[:-1], edge[1:]):
            np.fmin(low, side, out=low)
            np.fmax(high, side, out=high)
        return low, high


def usual_step_s(times_s: NDArray[np.float64]) -> float:
    """Return the median time between samples, s; NaN with fewer than two."""
    return float(np.median(np.diff(times_s))) if len(times_s) > 1 else float("nan")
