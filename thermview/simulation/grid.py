"""A grid of square cells over the board, and which cells a rectangle covers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermview.board import Part

Floats = NDArray[np.float64]
Cells = NDArray[np.int64]
_FINE = 4  # sub-cells along a side for the coverage of a cell


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells over a rectangle, row 0 at its upper edge as in a picture.

    Attributes
    ----------
    left_mm, top_mm : float
        Board coordinates of the upper left corner (y up).
    cell_mm : float
    rows, columns : int
    """

    left_mm: float
    top_mm: float
    cell_mm: float
    rows: int
    columns: int

    @classmethod
    def over(cls, width_mm: float, height_mm: float, cell_mm: float, margin: int = 0) -> Grid:
        """Return the grid over a board, with whole cells of margin all round."""
        columns, rows = round(width_mm / cell_mm), round(height_mm / cell_mm)
        edge = margin * cell_mm
        return cls(-edge, height_mm + edge, cell_mm, rows + 2 * margin, columns + 2 * margin)

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, columns)."""
        return self.rows, self.columns

    def centres_mm(self) -> tuple[Floats, Floats]:
        """Return x of every column, shape (columns,), and y of every row, shape (rows,), mm."""
        columns = np.arange(self.columns, dtype=np.float64)
        rows = np.arange(self.rows, dtype=np.float64)
        x: Floats = self.left_mm + (columns + 0.5) * self.cell_mm
        y: Floats = self.top_mm - (rows + 0.5) * self.cell_mm
        return x, y

    def to_board(self) -> Floats:
        """Return the matrix from the grid's own pixels (x right, y down) to mm, shape (3, 3)."""
        c = self.cell_mm
        return np.array([[c, 0.0, self.left_mm], [0.0, -c, self.top_mm], [0.0, 0.0, 1.0]])

    def cover(self, part: Part) -> tuple[Cells, Floats]:
        """Return the cells (row-major numbers) that a part's body touches and their covered share.

        The share is counted in 16 sub-cells.
        """
        half = (part.width_mm / 2, part.height_mm / 2)
        angle = math.radians(part.rotation_deg)
        cos, sin = math.cos(angle), math.sin(angle)
        reach_x = abs(half[0] * cos) + abs(half[1] * sin)
        reach_y = abs(half[0] * sin) + abs(half[1] * cos)
        first_c = max(0, math.floor((part.x_mm - reach_x - self.left_mm) / self.cell_mm))
        last_c = min(self.columns, math.ceil((part.x_mm + reach_x - self.left_mm) / self.cell_mm))
        first_r = max(0, math.floor((self.top_mm - part.y_mm - reach_y) / self.cell_mm))
        last_r = min(self.rows, math.ceil((self.top_mm - part.y_mm + reach_y) / self.cell_mm))
        if first_c >= last_c or first_r >= last_r:
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        sub = (np.arange((last_c - first_c) * _FINE) + 0.5) / _FINE + first_c
        x = self.left_mm + sub * self.cell_mm - part.x_mm
        sub = (np.arange((last_r - first_r) * _FINE) + 0.5) / _FINE + first_r
        y = (self.top_mm - sub * self.cell_mm - part.y_mm)[:, None]
        inside = (abs(x * cos + y * sin) <= half[0]) & (abs(y * cos - x * sin) <= half[1])
        blocks = inside.reshape(last_r - first_r, _FINE, last_c - first_c, _FINE)
        share: Floats = blocks.mean(axis=(1, 3))
        row, column = np.nonzero(share)
        cells: Cells = np.asarray((row + first_r) * self.columns + column + first_c, dtype=np.int64)
        return cells, share[row, column].astype(np.float64)

    def footprints(self, parts: tuple[Part, ...]) -> sparse.csr_array:
        """Return the share of each cell that each part covers, shape (parts, cells)."""
        covers = [self.cover(part) for part in parts]
        lengths = [len(cells) for cells, _ in covers]
        rows = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
        cells = np.concatenate([c for c, _ in covers]) if covers else np.zeros(0, dtype=np.int64)
        shares = np.concatenate([s for _, s in covers]) if covers else np.zeros(0)
        return sparse.csr_array((shares, cells, rows), shape=(len(parts), self.rows * self.columns))
