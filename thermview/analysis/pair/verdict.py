"""Colder, hotter or alike: both boards' powers weighed by all that may be wrong with them.

A difference of powers is uncertain by noise, by what the model leaves unexplained around a part,
by a share of what the neighbours changed (their templates are not perfect), and by a shift of
either view. What is common to all warm parts, the supply's level, is taken out first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import Aligned, displacements
from thermview.analysis.pair.fit import Fitted
from thermview.analysis.pair.outlined import outlined
from thermview.analysis.pair.plane import Plane, Subject, Window

Floats = NDArray[np.float64]

COLDER, HOTTER, ALIKE = "colder", "hotter", "alike"
OUT_OF_VIEW, UNREADABLE = "out of view", "unreadable"

SIGMAS = 3.0
PRESENT_SIGMAS = 1.0
"""A part is accused only if it dissipates on one board, by that board alone."""
WARM_SIGMAS = 3.0
"""Of what certainly dissipates it is told where that could not be compared."""
LEVEL_SPAN = (0.85, 1.18)
"""A supply's tolerance and the room's air change all parts' ratio by no more."""
FEW = 4  # warm parts from which a common level can be told
CORRELATED = 60.0
"""Cells that err together: what a model leaves is smooth."""
NEIGHBOUR_ERROR = 0.1
"""Share of a neighbour's change by which its template may be wrong at a part."""
PRESENCE_ERROR = 0.3
"""The same for its whole heat, which no second board takes out."""
AROUND = 2  # cells beside a part that belong to its evidence


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
    level : float
        The other board's power over the good one's, common to all.
    sigma_w : ndarray
        Of the difference of both boards' powers, level taken out.
    presence_w : ndarray, shape (2, subject)
        Of each board's power by itself.
    outlined : ndarray of bool, shape (subject,)
        The change shows in the part's own outline.
    """

    level: float
    sigma_w: Floats
    presence_w: Floats
    outlined: NDArray[np.bool_]


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
) -> Weighed:
    """Return the powers' uncertainties."""
    size = np.sqrt(np.maximum(np.diag(fitted.gram), 1e-30))
    scaled = fitted.gram / size[:, None] / size
    inverse = np.linalg.inv(scaled + 1e-4 * np.eye(len(size))) / size[:, None] / size
    spread = np.diag(inverse)
    places = np.stack([s.centre_mm for s in subjects])
    shift_var = np.stack(
        [
            _leak(fitted, inverse, board) * _shift_var(plane, places, view)
            for board, view in enumerate(views)
        ]
    ).sum(axis=1)
    windows = [_evidence_window(plane, s) for s in subjects]
    # what a model leaves under a large body errs as one over all of it
    alike = [CORRELATED + s.area_m2 * 1e6 / plane.pitch_mm**2 for s in subjects]

    def variance(power: Floats, left: NDArray[np.float32], share: float, noise: float) -> Floats:
        whole = np.tensordot(power.astype(np.float32), fitted.columns, 1)
        out = np.empty(len(subjects))
        for i, (window, mask) in enumerate(windows):
            cut = (slice(None), *window.slices)
            others = whole[cut] - np.float32(power[i]) * fitted.columns[i][cut]
            wrong = np.mean((left[cut] ** 2 + share**2 * others**2)[:, mask])
            out[i] = spread[i] * (noise**2 + alike[i] * wrong)
        return out

    presence = np.stack(
        [variance(fitted.power_w[b], fitted.left[b], PRESENCE_ERROR, noise_k) for b in (0, 1)]
    )
    presence_w = np.sqrt(presence + shift_var)
    level = common_level(fitted.power_w, presence_w)
    difference = fitted.power_w[1] - level * fitted.power_w[0]
    left = fitted.left[1] - np.float32(level) * fitted.left[0]
    var = variance(difference, left, NEIGHBOUR_ERROR, 1.5 * noise_k)
    var += level**2 * shift_var[0] + shift_var[1]
    return Weighed(level, np.sqrt(var), presence_w, outlined(fitted, plane, subjects, level))


def _evidence_window(plane: Plane, subject: Subject) -> tuple[Window, NDArray[np.bool_]]:
    extent = np.ptp(plane.cells(subject.outline_mm), axis=0).max()
    side = int(np.ceil(extent)) + 2 * AROUND + 4
    window = Window.around(plane.cells(subject.centre_mm), side, plane.shape)
    share = plane.coverage(subject.outline_mm, window)
    kernel = np.ones((2 * AROUND + 1, 2 * AROUND + 1), np.uint8)
    return window, np.asarray(cv2.dilate((share > 0.05).astype(np.uint8), kernel) > 0)


def _leak(fitted: Fitted, inverse: Floats, board: int) -> Floats:
    """Return each power's change, W², by a shift of one cell along x and y, shape (2, subject)."""
    model = np.tensordot(fitted.power_w[board].astype(np.float32), fitted.columns, 1)
    table = fitted.columns.reshape(len(fitted.columns), -1)
    dy, dx = np.gradient(model, axis=(1, 2))
    return np.stack(
        [(inverse @ (table @ slope.ravel()).astype(np.float64)) ** 2 for slope in (dx, dy)]
    )


def _shift_var(plane: Plane, places_mm: Floats, view: Aligned) -> Floats:
    """Return the variance of a view's shift along x and y, cells², shape (2, place)."""
    along = displacements(plane, places_mm)
    var = [np.einsum("pi,ij,pj->p", a, view.covariance, a) for a in along]
    return np.stack(var) / plane.pitch_mm**2


def verdicts(
    power_w: Floats, weighed: Weighed, limits: Limits, sigmas: float = SIGMAS
) -> list[str]:
    """Return the verdict on each subject that is in view of both."""
    out = []
    for i, (good, other) in enumerate(power_w.T):
        expected = weighed.level * good
        unsure = sigmas * weighed.sigma_w[i]
        surely = power_w[:, i] / np.maximum(weighed.presence_w[:, i], 1e-30)
        there_good, there_other = surely > PRESENT_SIGMAS
        own = weighed.outlined[i] and abs(other - expected) > unsure
        if own and there_good and other < limits.colder_below * expected:
            out.append(COLDER)
        elif own and there_other and other > limits.hotter_above * expected:
            out.append(HOTTER)
        elif surely.max() > WARM_SIGMAS and unsure > 0.9 * max(expected, other):
            out.append(UNREADABLE)
        else:
            out.append(ALIKE)
    return out
