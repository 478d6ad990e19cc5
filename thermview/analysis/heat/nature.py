"""Heat or reflection: both explanations are fitted to what is seen at a part.

Heat follows the power through thermal lags and keeps the shape of `heat_model`. A reflection keeps
the course over time that its surroundings show more dimly, for solder mask mirrors a little too:
the mean and the slopes of the picture around the part, whatever their course, times a free picture
of the part's mirroring. A third fit takes those courses off first and asks whether heat is left,
so that a part that warms under a hand's image is still found; a fourth takes off what the picture
far away does, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.sources import SIDE, Field, Fit, Found, best_fit, flat
from thermview.analysis.heat.surroundings import own_courses
from thermview.analysis.heat_model import Filters, Footprint, HeatModel, mask_of
from thermview.analysis.prepare import Block
from thermview.analysis.responses import Modes, orthonormal, project

Floats = NDArray[np.float64]

MIRROR_LEAVES = 0.2
"""A mirror of the surroundings leaves less than this (trials: 0–0.1; heat mostly 0.15–1)."""
MOST_LEFT = 0.7
"""Heat alone, or beside a mirror image, must not leave more (trials: 2 of 894 sources do)."""
REST_SCORE = 4.0
FAINT_SCORE = 15.0
FAINT_LIKELY = 0.3
"""With so weak sources the regression below has little to go by (trials: of 198 boards where
nothing heats none is accused at this, and six of eight faint parts are found that were missed)."""

WEIGHTS = (-3.76, -0.81, 0.65, 0.43, -0.37, 1.02, 1.82)
"""Logistic regression over some 2100 sources and false sources of 168 simulated recordings, two
simulators: constant; logarithms of what heat leaves, what a mirror leaves, the score over that of
sham cooling nearby, what heat leaves of the rest, the rest's score (of 6) over the excess, the same
beside what the picture far away does. The constant is less by 2, for false heat does more harm
than heat that is missed (cross-validated: 1 false, not 7; 101 of 109 faults, not 100)."""


class Nature(Enum):
    """What makes a part look warmer."""

    HEATING = "heating"
    REFLECTION = "reflection"
    UNCERTAIN = "uncertain"


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """How well each explanation fits; shares of what is seen, 0 (all explained) to about 1.

    Attributes
    ----------
    heat_leaves : float
        What heat alone leaves unexplained.
    mirror_leaves : float
        What a mirror of the surroundings leaves.
    rest_leaves : float
        What heat leaves of that which is no such mirror.
    rest : Fit or None
        That heat; None where nothing significant is left.
    rest_afar : float
        Its score beside what the picture far away does.
    score : float
        Signal to noise of the heat.
    sham : float
        Highest score of cooling nearby.
    excess : float
        How many times the noise the surroundings scatter, 1 or more.
    cools : bool
        Something that was warm before cools here or close by; the rest is without that.
    """

    heat_leaves: float
    mirror_leaves: float
    rest_leaves: float
    rest: Fit | None
    rest_afar: float
    score: float
    sham: float
    excess: float
    cools: bool = False

    @property
    def terms(self) -> tuple[float, ...]:
        """Return what the regression weighs: 1, then logarithms in the order of its weights."""
        rest_score = self.rest.score if self.rest is not None else 0.0
        return (
            1.0,
            float(np.log(np.clip(self.heat_leaves, 0.03, 1.5))),
            float(np.log(np.clip(self.mirror_leaves, 0.05, 1.0))),
            float(np.log(np.clip(self.score / max(self.sham, 1.5), 0.5, 30.0))),
            float(np.log(np.clip(self.rest_leaves, 0.03, 1.5))),
            float(np.log(np.clip(rest_score / self.excess, 3.0, 200.0) / 6.0)),
            float(np.log(np.clip(self.rest_afar / self.excess, 3.0, 200.0) / 6.0)),
        )

    @property
    def likely(self) -> float:
        """Return how likely it is that the part itself dissipates, 0 to 1."""
        return float(1.0 / (1.0 + np.exp(-np.dot(WEIGHTS, self.terms))))

    @property
    def nature(self) -> Nature:
        """Return the verdict."""
        cooling = self.cools and self.rest is None
        least = FAINT_LIKELY if self.faint else 0.5
        explained = min(self.heat_leaves, self.rest_leaves) < MOST_LEFT
        if self.likely > least and explained and not cooling:
            return Nature.HEATING
        if self.mirror_leaves < MIRROR_LEAVES:
            return Nature.REFLECTION
        return Nature.UNCERTAIN

    @property
    def faint(self) -> bool:
        """Tell whether it is too weak for its rest to tell, and nothing else explains it.

        A mirror so faint would show its surroundings' course as they do; noise is no likely cause,
        for the score is beyond that; and what drifts or cools would go the other way close by.
        """
        weak = self.sham < self.score < FAINT_SCORE * self.excess
        return weak and self.mirror_leaves > 0.5 and self.heat_leaves < 0.7

    @property
    def rest_is_better(self) -> bool:
        """Tell whether the heat's power is better taken from what is no mirror image."""
        return self.rest is not None and self.rest_leaves < 0.7 * self.heat_leaves


def judge(
    found: Found,
    field: Field,
    *,
    all_coefficients: NDArray[np.float32],
    narrow: Block,
    wide: Block,
    cooling: Floats,
    afar: Floats,
    noise_var: float,
) -> Evidence:
    """Weigh heat against reflection at a found source; the other sources are taken off.

    Parameters
    ----------
    found : Found
        Weighed already.
    field : Field
        All sources taken off.
    all_coefficients : ndarray, shape (mode, row, column)
        Nothing taken off.
    narrow, wide : ndarray, shape (frame, row, column)
        High-passed pictures and the rest.
    cooling : ndarray, shape (frame, course)
        Orthonormal; how what was warm before cools there, see `Cooling`.
    afar : ndarray, shape (frame, course)
        What the picture far away does, see `Afar`.
    noise_var : float
        Variance of a pixel, K².
    """
    fit, modes = found.fit, field.modes
    window = fit.window
    mask = mask_of(found.footprint, window)
    count = int(mask.sum())
    spread_in = np.sqrt(2.0 * count * modes.count)
    spread_out = np.sqrt(2.0 * count * modes.freedom)
    inside = max(found.inside, 1.0)
    heat_leaves = max(found.misfit - 2 * spread_in, 0.0) / inside
    heat_leaves += max(found.outside - 3 * spread_out, 0.0) / max(found.plain, inside)

    own = window.cut(field.left) + fit.picture
    others = window.cut(all_coefficients) - own
    curves = window.cut(narrow).reshape(len(narrow), -1).astype(np.float64)
    curves -= modes.active @ others.reshape(modes.count, -1)
    courses = own_courses(wide, found.footprint.centre_px, modes.idle)

    seen = curves[:, mask.ravel()]
    seen = seen - modes.idle @ (modes.idle.T @ seen)
    mirror_leaves = _mirror_leaves(seen, courses, modes, noise_var=noise_var, least=inside)

    pictures = curves.astype(np.float32).reshape(len(curves), *mask.shape)
    idle = np.concatenate([modes.idle, courses, cooling], axis=1)
    rest, coefficients, changed = _beside(found, field, pictures, idle)
    beyond, _, _ = _beside(found, field, pictures, np.concatenate([idle, afar], axis=1))
    left = coefficients - rest.picture
    was = float(np.sum(coefficients[:, mask] ** 2)) / noise_var - count * changed.count
    is_left = float(np.sum(left[:, mask] ** 2)) / noise_var - count * changed.count
    rest_leaves = max(is_left - 2 * np.sqrt(2.0 * count * changed.count), 0.0) / max(was, 1.0)
    good = rest.score > REST_SCORE * found.excess and was > 1.0
    return Evidence(
        heat_leaves=heat_leaves,
        mirror_leaves=mirror_leaves,
        rest_leaves=rest_leaves,
        rest=rest if good else None,
        rest_afar=beyond.score,
        score=fit.score,
        sham=found.sham,
        excess=found.excess,
        cools=cooling.shape[1] > 0,
    )


def _beside(
    found: Found, field: Field, pictures: NDArray[np.float32], courses: Floats
) -> tuple[Fit, NDArray[np.float32], Modes]:
    """Return the heat in a source's window beside courses that are no evidence.

    Parameters
    ----------
    found : Found
    field : Field
    pictures : ndarray, shape (frame, row, column)
        High-passed, in the window, the other sources taken off.
    courses : ndarray, shape (frame, course)

    Returns
    -------
    fit : Fit
    coefficients : ndarray, shape (mode, row, column)
        What it was fitted to.
    modes : Modes
        Of these coefficients.
    """
    window = found.fit.window
    modes = Modes.of(field.modes.drive, orthonormal(courses))
    coefficients = flat(project(modes.active, pictures))
    filters = Filters(modes, field.mm_per_px)
    model = HeatModel(filters, SIDE, kappas=(found.fit.kappa,), lags=(found.fit.lag,))
    moved = found.footprint.outline_px - [window.x, window.y]
    footprint = Footprint(found.footprint.name, moved, found.footprint.area_m2)
    left = Field(coefficients, window.cut(field.variance), modes, mm_per_px=field.mm_per_px)
    return best_fit(model, footprint, left), coefficients, modes


def _mirror_leaves(
    seen: Floats, courses: Floats, modes: Modes, *, noise_var: float, least: float
) -> float:
    """Return which share courses leave of a part's change: of all, or of what answers the power.

    The larger of the two: what wanders with the surroundings while the power is steady says
    nothing of what answers it.

    Parameters
    ----------
    seen : ndarray, shape (frame, pixel)
        Without what is no evidence.
    courses : ndarray, shape (frame, course)
        Orthonormal.
    modes : Modes
    noise_var : float
        Of a pixel, K².
    least : float
        Energy below which a change counts as that much, in units of the noise.
    """
    count = seen.shape[1]
    shown = courses.T @ seen
    total = float(np.sum(seen**2)) / noise_var - count * (modes.freedom + modes.count)
    mirrored = float(np.sum(shown**2)) / noise_var - courses.shape[1] * count
    mirrored -= 2 * np.sqrt(6.0 * count)
    answer = modes.active.T @ seen
    common = modes.active.T @ courses
    kept = answer - common @ shown
    answered = float(np.sum(answer**2)) / noise_var - count * modes.count
    is_left = float(np.sum(kept**2)) / noise_var
    is_left -= count * (modes.count - float(np.sum(common**2)))
    doubt = 2 * np.sqrt(2.0 * count * modes.count)
    return float(max(1.0 - mirrored / max(total, least), is_left / max(answered, doubt)))
