"""A trial of `simulation.trials` searched as the command does it, on frames in memory."""

from __future__ import annotations

import numpy as np

from thermview.analysis.heat.locate import Located, analyse, footprints_of
from thermview.analysis.placing import settled
from thermview.analysis.prepare import Shots
from thermview.analysis.stabilise import steady
from thermview.board import BoardView, fit_homography
from thermview.simulation.trials import Film


def view_of(film: Film) -> BoardView:
    """Return how the film's landmarks say the camera sees the board."""
    return fit_homography(list(film.landmarks))


def find(film: Film) -> Located:
    """Locate what heats in a film."""
    held = film.shutter
    segment = np.cumsum(~held & np.concatenate([[False], held[:-1]]))[~held]
    kelvin = film.scale.kelvin(film.counts[~held]).astype(np.float32)
    take, motion = steady(Shots(kelvin, film.times_s[~held], segment))
    view = view_of(film)
    footprints = footprints_of(film.parts, view, take.shape)
    if motion is not None:
        footprints = settled(footprints, take.first_k, [np.eye(3), motion.rest()])
    return analyse(
        take,
        footprints,
        view.mm_per_px,
        view=view,
        supply=film.supply,
        meant_warm=film.truth.meant_warm,
    )
