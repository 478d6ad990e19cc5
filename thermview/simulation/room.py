"""What the board mirrors: a room, and a worker's warm hand that moves in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hand:
    """A hand over the board, as mirrored in its plane.

    Attributes
    ----------
    path : tuple of (time_s, x_mm, y_mm)
        Where the palm's mirror image stands on the board; straight lines between, still outside.
    kelvin : float
        The skin's temperature.
    size_mm : float
        Across the palm.
    tremor_mm : float
        How far it wavers.
    """

    path: tuple[tuple[float, float, float], ...]
    kelvin: float = 306.0
    size_mm: float = 80.0
    tremor_mm: float = 3.0

    def place_mm(self, time_s: float) -> tuple[float, float]:
        """Return the palm's centre at a time."""
        times, xs, ys = np.array(self.path).T
        waver = self.tremor_mm * np.array([np.sin(5.1 * time_s), np.sin(3.7 * time_s + 1.0)])
        x = np.interp(time_s, times, xs) + waver[0]
        y = np.interp(time_s, times, ys) + waver[1]
        return float(x), float(y)

    def cover(self, x_mm: Floats, y_mm: Floats, time_s: float) -> Floats:
        """Return how much of each mirrored direction the hand fills, 0 to 1: palm and fingers."""
        palm_x, palm_y = self.place_mm(time_s)
        x, y = (x_mm - palm_x) / self.size_mm, (y_mm - palm_y) / self.size_mm
        soft = 0.06  # out of focus
        palm = _inside(np.hypot(x / 0.5, y / 0.55), soft / 0.5)
        total = palm
        for lean in (-0.36, -0.12, 0.12, 0.36):  # four fingers, to the left
            across, along = y - lean * (1.0 - 0.5 * x), -x
            finger = _inside(np.abs(across) / 0.085, soft / 0.085)
            total = np.maximum(total, finger * _inside(np.abs(along - 0.5) / 0.6, soft / 0.6))
        return total


@dataclass(frozen=True, slots=True)
class Room:
    """The surroundings: temperature of the air and the board at rest, and what is mirrored.

    Attributes
    ----------
    ambient_k : float
    reflected_k : float
        Of the walls and ceiling that the board mirrors.
    gradient_k : float
        Difference of the mirrored room from the board's left edge to its right.
    hand : Hand or None
    """

    ambient_k: float = 296.15
    reflected_k: float = 292.65
    gradient_k: float = 0.6
    hand: Hand | None = None


def _inside(distance: Floats, soft: float) -> Floats:
    """Return 1 within distance 1, 0 outside, smooth over `soft`."""
    edge: Floats = np.clip((1.0 - distance) / soft + 0.5, 0.0, 1.0)
    return edge
