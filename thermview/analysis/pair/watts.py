"""What parts draw in watts: one factor per part for both boards, so that their ratio stays.

The best fit likes bodies that are held loosely and dissipate little. Therefore the power is the
mean over all conductances of board and body, weighed by how well they fit both boards and by what
is usual (as `heat.watts` does for one board); fits are told apart no finer than the model is true.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.watts import (
    BODY_HEAT,
    HELD,
    SHAPE_ERROR,
    under_body,
    unusual_held,
)
from thermview.analysis.pair.clock import Courses
from thermview.analysis.pair.plane import Subject

Floats = NDArray[np.float64]

LEAST_SHARE = 0.05
SCALE_DOUBT = 0.55
"""Standard deviation of the logarithm of a power by the model alone (known pairs, of whose powers
0.45 held 91 % within 1.96 of what was told, and this 95 %)."""


@dataclass(frozen=True, slots=True, eq=False)
class Products:
    """Scalar products of what is seen of a part with its templates, per choice of κ and lag.

    Attributes
    ----------
    on_sheet, on_body : ndarray, shape (choice, board)
    sheet, both, body : ndarray, shape (choice,)
        The sheet's template with itself, with the body's, the body's with itself.
    """

    on_sheet: Floats
    on_body: Floats
    sheet: Floats
    both: Floats
    body: Floats

    def power_w(self, excess: Floats) -> tuple[Floats, Floats]:
        """Return best powers, and the energy that they explain, for excesses.

        Parameters
        ----------
        excess : ndarray, shape (excess,)
            K/W.

        Returns
        -------
        (ndarray, shape (excess, choice, board), ndarray, shape (excess, choice))
            W, K².
        """
        e = excess[:, None]
        size = self.sheet + 2 * e * self.both + e**2 * self.body
        right = self.on_sheet + e[..., None] * self.on_body
        power = np.maximum(right / size[..., None], 0.0)
        return power, np.sum(power**2, axis=2) * size


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a part draws over what its best fit says, and the standard deviation of its log."""

    factor: float = 1.0
    spread: float = 0.0


def drawn(
    products: Products,
    choices: list[tuple[float, int]],
    courses: Courses,
    subject: Subject,
    fitted_w: Floats,
) -> Drawn:
    """Return the factor by which a part draws more than the best fit says.

    Parameters
    ----------
    products : Products
    choices : list of (κ in W/K, lag)
    courses : Courses
    subject : Subject
    fitted_w : ndarray, shape (2,)
        The best fit's powers.
    """
    best_w = float(np.linalg.norm(fitted_w))
    if best_w <= 0:
        return Drawn()
    excess = subject.bare / (HELD * subject.area_m2)
    power, gain = products.power_w(excess)
    evidence = gain / (1e-30 + SHAPE_ERROR**2 * gain.max())
    evidence -= unusual_held(subject.area_m2)[:, None]
    weight = np.exp(0.5 * (evidence - evidence.max()))
    shares = np.stack([_shares(courses, subject, choice, excess) for choice in choices], axis=1)
    logs = np.log(np.maximum(np.linalg.norm(power, axis=2) * shares / best_w, 1e-6))
    weight /= weight.sum()
    mean = float(np.sum(weight * logs))
    return Drawn(float(np.exp(mean)), float(np.sqrt(np.sum(weight * (logs - mean) ** 2))))


def _shares(
    courses: Courses, subject: Subject, choice: tuple[float, int], excess: Floats
) -> Floats:
    """Return what a part draws over what its sheet's picture stands for, per excess.

    What the body keeps for itself as the board under it warms comes on top.
    """
    kappa, lag = choice
    heat = BODY_HEAT * subject.area_m2 * subject.height_m
    if heat <= 0:
        return np.ones(len(excess))
    drive = courses.drive
    flow = drive.body[lag]
    under_k = under_body(drive, subject.area_m2, kappa, lag)
    body_k = under_k[:, None] + flow[:, None] * excess
    keeps = heat * np.gradient(body_k, drive.times_s, axis=0)
    power = drive.power - drive.power.mean()
    size = float(power @ power)
    return np.asarray(np.maximum(power @ (flow[:, None] + keeps) / size, LEAST_SHARE))
