"""A part on a board: what the assembler's list says of it, and its outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a placement list.

    Attributes
    ----------
    designator, package, value : str
        As in the list, such as ``C12``, ``0603``, ``100n``; package and value may be empty.
    x_mm, y_mm : float
        Centre on the board, x to the right and y up.
    rotation_deg : float
        Counter-clockwise.
    side : str
        ``top`` or ``bottom``.
    width_mm, height_mm : float
        Body along x and y at rotation 0.
    nets : tuple of str
        Names of the nets that it joins, where the list gives them.
    size_assumed : bool
        Neither the list nor the package's name gave the body's size, nor was it drawn to scale.
    """

    designator: str
    package: str
    x_mm: float
    y_mm: float
    rotation_deg: float = 0.0
    side: str = "top"
    value: str = ""
    width_mm: float = 2.0
    height_mm: float = 2.0
    nets: tuple[str, ...] = ()
    size_assumed: bool = False

    def outline_mm(self) -> NDArray[np.float64]:
        """Return the corners of the body on the board, mm, shape (4, 2), counter-clockwise."""
        half = np.array([self.width_mm, self.height_mm]) / 2.0
        corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half
        angle = np.deg2rad(self.rotation_deg)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        outline: NDArray[np.float64] = corners @ turn.T + [self.x_mm, self.y_mm]
        return outline
