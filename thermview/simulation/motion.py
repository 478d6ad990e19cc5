"""A camera held by hand: it drifts, turns and comes nearer, starting from rest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Shake:
    """Sums of slow sines, about the picture's middle, nothing at time 0.

    Attributes
    ----------
    centre_px : (u, v)
        What turning and nearing leave in place.
    sizes : ndarray, shape (4,)
        Standard deviation of the shifts along u and v (pixels), of the turn (rad), and of the
        distance (share).
    rates_hz, phases : ndarray, shape (4, waves)
    """

    centre_px: tuple[float, float]
    sizes: Floats
    rates_hz: Floats
    phases: Floats

    @classmethod
    def random(
        cls,
        rng: np.random.Generator,
        centre_px: tuple[float, float],
        shift_px: float,
        turn_deg: float,
        near: float,
    ) -> Shake:
        """Return a motion of these standard deviations: slow sway and faster tremor."""
        sizes = np.array([shift_px, shift_px, math.radians(turn_deg), near])
        rates = rng.uniform([0.05, 0.2, 0.5], [0.2, 0.5, 1.5], (4, 3))
        return cls(centre_px, sizes, rates, rng.uniform(0, 2 * math.pi, (4, 3)))

    def at(self, time_s: float) -> Floats:
        """Return the matrix, shape (3, 3), from the pixels of the view at rest to those now."""
        share = np.array([1.0, 0.5, 0.25])
        share /= math.sqrt(float(np.sum(share**2)) / 2.0)
        angle = 2 * math.pi * self.rates_hz * time_s + self.phases
        shift_u, shift_v, turn, near = self.sizes * ((np.sin(angle) - np.sin(self.phases)) @ share)
        scale = 1.0 + near
        cos, sin = scale * math.cos(turn), scale * math.sin(turn)
        u, v = self.centre_px
        return np.array(
            [
                [cos, -sin, u + shift_u - cos * u + sin * v],
                [sin, cos, v + shift_v - sin * u - cos * v],
                [0.0, 0.0, 1.0],
            ]
        )
