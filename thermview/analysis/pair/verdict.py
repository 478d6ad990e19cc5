"""Colder, hotter or alike: both boards' powers weighed by all that may be wrong with them.

A difference of powers is uncertain by noise, by what the model gets wrong close to a part, by a
share of what the neighbours changed (their templates are not perfect), by a shift of either view,
by how a room that changes is mirrored in a part unlike its board, by what makes two pictures of one
part differ, and by the milliwatts that come and go with what a board is doing. What is common to
all warm parts, the supply's level, is taken out first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import Aligned, displacements
from thermview.analysis.pair.elsewhere import Elsewhere
from thermview.analysis.pair.fit import Fitted
from thermview.analysis.pair.plane import Plane, Subject

Floats = NDArray[np.float64]

COLDER, HOTTER, ALIKE = "colder", "hotter", "alike"
OUT_OF_VIEW, UNREADABLE = "out of view", "unreadable"

SIGMAS = 3.0
PRESENT_SIGMAS = 1.25
"""A part is accused only if it dissipates on one board, by that board alone (known pairs)."""
WARM_SIGMAS = 3.0
"""Of what certainly dissipates it is told where that could not be compared."""
LEVEL_SPAN = (0.85, 1.18)
"""A supply's tolerance and the room's air change all parts' ratio by no more."""
FEW = 4  # warm parts from which a common level can be told
NEIGHBOUR_ERROR = 0.1
"""Share of a neighbour's edges by which its template may be wrong at a part."""
MIRRORED_K = 0.01
"""What a room that changes may well add to edges: 0.3 K, mirrored by a part 3 % more than by the
board; what is shinier shows it more, and is looked at by itself."""
DOING_W = 0.002
"""By so much healthy parts differ that dissipate little; common practice, no source."""
RATIO_ERROR = 0.1
"""Standard deviation of the ratio of a part's powers that its two pictures leave (known pairs)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Ratios of the other board's power to the good one's beyond which a part is accused."""

    colder_below: float = 0.6
    hotter_above: float = 1.6


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Powers with their uncertainty, per subject; W at an emissivity of 1.

    Attributes
    ----------
    power_w : ndarray, shape (2, subject)
        The good board's, the other's.
    level : float
        The other board's power over the good one's, common to all.
    sigma_w : ndarray
        Of the difference of both boards' powers, level taken out.
    presence_w : ndarray, shape (2, subject)
        Of each board's power by itself.
    doing_w : ndarray, shape (subject,), or float
        By so much healthy boards differ, standard deviation, whatever a part dissipates.
    """

    power_w: Floats
    level: float
    sigma_w: Floats
    presence_w: Floats
    doing_w: Floats | float = 0.0


def common_level(power_w: Floats, presence_w: Floats) -> float:
    """Return the ratio that most warm parts share; 1 where too few tell."""
    good, other = power_w
    sure = (good > 5 * presence_w[0]) & (other > 5 * presence_w[1])
    ratio = other[sure] / good[sure]
    ratio = ratio[(ratio > 0.6) & (ratio < 1.6)]
    if len(ratio) < FEW:
        return 1.0
    return float(np.clip(np.exp(np.median(np.log(ratio))), *LEVEL_SPAN))


def weigh(
    fitted: Fitted,
    plane: Plane,
    subjects: Sequence[Subject],
    views: tuple[Aligned, Aligned],
    noise_k: float,
    *,
    step: float = 1.0,
    factor: Floats | float = 1.0,
) -> Weighed:
    """Return the powers' uncertainties.

    Parameters
    ----------
    noise_k : float
        Of a coefficient.
    step : float
        What a step of 1 K comes to in the coefficients, at most.
    factor : ndarray, shape (subject,), or float
        What parts draw over their fitted powers.
    """
    size = np.sqrt(np.maximum(np.diag(fitted.gram), 1e-30))
    scaled = fitted.gram / size[:, None] / size
    inverse = np.linalg.inv(scaled + 1e-4 * np.eye(len(size))) / size[:, None] / size
    spread = np.diag(inverse)
    along = displacements(plane, np.stack([s.centre_mm for s in subjects]))
    shifts = [_leaks(fitted, inverse, board, along, plane.pitch_mm) for board in (0, 1)]
    shared = spread * size**2  # what it costs to share edges with neighbours
    energy = np.einsum("scyx,scyx->syx", fitted.columns, fitted.columns)
    elsewhere = Elsewhere(fitted, plane, subjects, energy)
    highest = np.sqrt(energy.max(axis=(1, 2))).astype(np.float64)
    mirrored_w = MIRRORED_K * step / np.maximum(highest, 1e-30)
    doing_w = DOING_W / np.broadcast_to(factor, len(subjects))
    beside = fitted.gram / size[:, None] ** 2
    np.fill_diagonal(beside, 0.0)

    def variance(powers: Floats, wrong: Floats, boards: Floats, noise: float) -> Floats:
        """Return that of a sum of both boards' powers, each board counted so many times."""
        others = NEIGHBOUR_ERROR**2 * (beside**2 @ powers**2)
        shifted = _shifted([n * v for n, v in zip(boards, shifts, strict=True)], views)
        return np.asarray(spread * noise**2 + shared * wrong + others + shifted)

    alone = np.array([np.mean(powers_w**2, axis=1) for powers_w in elsewhere.powers_w]).T
    presence_w = np.sqrt(
        [
            variance(power, wrong, board, noise_k)
            for power, wrong, board in zip(fitted.power_w, alone, np.eye(2), strict=True)
        ]
    )
    level = common_level(fitted.power_w, presence_w)
    good, other = level * fitted.power_w[0], fitted.power_w[1]
    wrong = elsewhere.apart(level, doing_w)
    var = variance(other - good, wrong, np.array([-level, 1.0]), 1.5 * noise_k)
    var += mirrored_w**2 + (RATIO_ERROR * np.minimum(good, other)) ** 2
    return Weighed(fitted.power_w, level, np.sqrt(var), presence_w, doing_w)


def _leaks(
    fitted: Fitted, inverse: Floats, board: int, along: tuple[Floats, Floats], pitch_mm: float
) -> Floats:
    """Return each power's change by a view's eight displacements, W/mm, shape (subject, 8)."""
    model = np.tensordot(fitted.power_w[board].astype(np.float32), fitted.columns, 1)
    table = fitted.columns.reshape(len(fitted.columns), -1)
    dy, dx = np.gradient(model, axis=(1, 2))
    by_x, by_y = (inverse @ (table @ slope.ravel()).astype(np.float64) for slope in (dx, dy))
    return np.asarray((by_x[:, None] * along[0] + by_y[:, None] * along[1]) / pitch_mm)


def _shifted(shifts: Sequence[Floats], views: tuple[Aligned, Aligned]) -> Floats:
    """Return the variance that both views' shifts leave in a sum of powers, W², per subject.

    Parameters
    ----------
    shifts : (ndarray, ndarray), shape (subject, 8)
        The sum's change by either view's displacements, W/mm.
    """

    def variance(shift: Floats, covariance: Floats) -> Floats:
        return np.asarray(np.einsum("pi,ij,pj->p", shift, covariance, shift))

    for moved, (own, other) in ((1, shifts[::-1]), (0, shifts)):
        apart = views[moved].apart
        if apart is not None and other.any():
            return variance(own, apart) + variance(own + other, views[1 - moved].covariance)
    return sum((variance(s, v.covariance) for s, v in zip(shifts, views, strict=True)), np.zeros(1))


def verdicts(weighed: Weighed, limits: Limits, sigmas: float = SIGMAS) -> list[str]:
    """Return the verdict on each subject that is in view of both."""
    out = []
    least_w = sigmas * np.hypot(weighed.sigma_w, weighed.doing_w)
    for i, (good, other) in enumerate(weighed.power_w.T):
        expected = weighed.level * good
        unsure = sigmas * weighed.sigma_w[i]
        surely = weighed.power_w[:, i] / np.maximum(weighed.presence_w[:, i], 1e-30)
        there_good, there_other = surely > PRESENT_SIGMAS
        sure = abs(other - expected) > least_w[i]
        if sure and there_good and other < limits.colder_below * expected:
            out.append(COLDER)
        elif sure and there_other and other > limits.hotter_above * expected:
            out.append(HOTTER)
        elif surely.max() > WARM_SIGMAS and unsure > 0.9 * max(expected, other):
            out.append(UNREADABLE)
        else:
            out.append(ALIKE)
    return out
