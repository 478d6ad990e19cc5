"""What the picture around a place does: the courses that a mirror there would show."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.prepare import Block

Floats = NDArray[np.float64]

RING_PX = 14.0
RING_POINTS = 12


def ring_courses(wide: Block, centre_px: Floats) -> Floats:
    """Return mean and slopes of the wide picture around a place, shape (time, 3).

    The place itself is left out, for its own heat is no evidence of a mirror.
    """
    angle = np.linspace(0.0, 2 * np.pi, RING_POINTS, endpoint=False)
    along, across = np.cos(angle), np.sin(angle)
    rows, columns = wide.shape[1:]
    x = np.clip(np.floor(centre_px[0] + RING_PX * along), 0, columns - 1).astype(int)
    y = np.clip(np.floor(centre_px[1] + RING_PX * across), 0, rows - 1).astype(int)
    plane = np.stack([np.ones(RING_POINTS), along, across], axis=1)
    courses: Floats = wide[:, y, x].astype(np.float64) @ np.linalg.pinv(plane).T
    return courses


def own_courses(wide: Block, centre_px: Floats, idle: Floats) -> Floats:
    """Return the ring's courses orthonormal and without what is no evidence, shape (time, ≤ 3)."""
    ring = ring_courses(wide, centre_px)
    ring -= idle @ (idle.T @ ring)
    courses, size, _ = np.linalg.svd(ring, full_matrices=False)
    return np.asarray(courses[:, size > 1e-9])
