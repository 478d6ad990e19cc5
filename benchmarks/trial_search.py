"""Frames in memory, and trials of `simulation.trials`, searched as the command does it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from thermview.analysis.heat.locate import UNKNOWN_MM_PER_PX, Located, analyse, footprints_of
from thermview.analysis.placing import settled
from thermview.analysis.prepare import Shots
from thermview.analysis.stabilise import steady
from thermview.board import BoardView, Part, fit_homography
from thermview.frames import SupplyLog
from thermview.simulation.trials import Film


def view_of(film: Film) -> BoardView:
    """Return how the film's landmarks say the camera sees the board."""
    return fit_homography(list(film.landmarks))


def search(
    shots: Shots,
    parts: Sequence[Part],
    view: BoardView | None,
    *,
    supply: SupplyLog | None,
    meant_warm: Sequence[str],
    period_s: float | None = None,
) -> Located:
    """Locate what heats in pictures; without a view there is no list either."""
    take, motion = steady(shots)
    footprints = footprints_of(parts, view, take.shape) if view is not None else []
    if motion is not None:
        footprints = settled(footprints, take.first_k, [np.eye(3), motion.rest()])
    return analyse(
        take,
        footprints,
        view.mm_per_px if view is not None else UNKNOWN_MM_PER_PX,
        view=view,
        supply=supply,
        period_s=period_s,
        meant_warm=meant_warm,
    )


def find(film: Film) -> Located:
    """Locate what heats in a film."""
    held = film.shutter
    segment = np.cumsum(~held & np.concatenate([[False], held[:-1]]))[~held]
    kelvin = film.scale.kelvin(film.counts[~held]).astype(np.float32)
    return search(
        Shots(kelvin, film.times_s[~held], segment),
        film.parts,
        view_of(film),
        supply=film.supply,
        meant_warm=film.truth.meant_warm,
    )
