"""Which parts' heat explains the pictures: matched filters, and explaining away one by one.

A part's template (sheet and body, `heat_model`) has one free amplitude, its power; the body's
excess over the sheet may lie between bounds. The best part is taken first, its share is taken off,
its neighbours are judged anew on what is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.background import Whitener, local_excess
from thermview.analysis.heat.match import excess_bounds, match_of, scores_of
from thermview.analysis.heat.quick import QuickMatch, Shares
from thermview.analysis.heat_model import (
    HIGHPASS_PX,
    Filters,
    Footprint,
    HeatModel,
    Template,
    Templates,
    Window,
    mask_of,
    window_around,
)
from thermview.analysis.responses import Modes
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]

SIDE = 64
MODEL_ERROR = 0.06
"""Share of a source's own picture by which its model may be wrong: noise for the others."""
MOST_SOURCES = 24
FARTHEST_PX = 1.2
PLACE_SIGMA_PX = 0.5
"""Landmarks picked by hand place parts so well."""
SETTLE_SCORE = 15.0
NEAR_PX = 45.0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The heat that suits a part best.

    Attributes
    ----------
    score : float
        Signal to noise of the power.
    power_w, sigma_w : float
        As seen (not yet divided by the emissivity); sigma from noise alone.
    kappa : float
        W/K.
    lag : int
        Position in `TAUS_S`.
    excess_k_per_w : float
        Of the body over the board under it.
    window : Window
    picture : ndarray of float32, shape (mode, row, column)
        The fitted part of the coefficients.
    """

    score: float
    power_w: float
    sigma_w: float
    kappa: float
    lag: int
    excess_k_per_w: float
    window: Window
    picture: Template


@dataclass(slots=True, eq=False)
class Found:
    """A part with heat, and how well heat explains what is seen there.

    `inside`, `misfit` and `outside` are energies in the part's mask, in units of the noise,
    what noise gives on the average taken off: seen in the modes; of that not explained; and
    outside the modes, beside `plain`, what is in them likewise. `excess` is how many times the
    noise the surroundings scatter, `sham` the highest score that cooling reaches nearby.
    """

    footprint: Footprint
    fit: Fit
    inside: float = 0.0
    misfit: float = 0.0
    outside: float = 0.0
    plain: float = 0.0
    pixels: int = 0
    excess: float = 1.0
    sham: float = 0.0


def flat(coefficients: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return coefficient pictures without what is wider than the high-pass."""
    wide = [
        cv2.GaussianBlur(c, (0, 0), HIGHPASS_PX, borderType=cv2.BORDER_REFLECT)
        for c in coefficients
    ]
    return np.asarray(coefficients - np.stack(wide))


class Field:
    """What is still unexplained, and the noise that it is judged by.

    Parameters
    ----------
    coefficients : ndarray of float32, shape (mode, row, column)
        High-passed.
    variance : ndarray of float32, shape (row, column)
        Of one coefficient, K².
    modes : Modes
    mm_per_px : float
    whitener : Whitener, optional
        The filter that the coefficients have passed, when not the plain high-pass.
    """

    def __init__(
        self,
        coefficients: NDArray[np.float32],
        variance: NDArray[np.float32],
        modes: Modes,
        *,
        mm_per_px: float,
        whitener: Whitener | None = None,
    ) -> None:
        self.left = coefficients.copy()
        self.variance = variance.copy()
        self.modes = modes
        self.mm_per_px = mm_per_px
        self.filters = Filters(modes, mm_per_px, whitener)

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, columns)."""
        return int(self.left.shape[1]), int(self.left.shape[2])

    def take_off(self, fit: Fit, sign: float = 1.0) -> None:
        """Explain a source away (or put it back with sign -1); its error becomes noise."""
        window = fit.window
        window.cut(self.left)[...] -= np.float32(sign) * fit.picture
        doubt = np.float32(sign * MODEL_ERROR**2) * np.mean(fit.picture**2, axis=0)
        window.cut(self.variance)[...] += doubt


def best_fit(model: HeatModel, footprint: Footprint, field: Field) -> Fit:
    """Return the best choice of a model's for a part, on what is left of a field."""
    window = window_around(footprint.centre_px, model.side, field.shape)
    return fit_templates(model, footprint, field, model.templates(footprint.outline_px, window))


def settle(model: HeatModel, footprint: Footprint, field: Field, fit: Fit) -> tuple[Footprint, Fit]:
    """Let a part move a little: landmarks are never exact; return where it fits best, and how.

    The picture's slopes tell how far; a place more than `FARTHEST_PX` off is not believed.
    """
    choice = model.choices.index((fit.kappa, fit.lag))
    shift = np.zeros(2)
    best, where = fit, footprint
    for _ in range(2):
        weight = 1.0 / fit.window.cut(field.variance)
        scale = np.sqrt(weight)
        along = -np.gradient(best.picture, axis=2) * scale
        down = -np.gradient(best.picture, axis=1) * scale
        left = (fit.window.cut(field.left) - best.picture) * scale
        basis = np.stack([(best.picture * scale).ravel(), along.ravel(), down.ravel()])
        normal = (basis @ basis.T).astype(np.float64)
        stiff = float(np.mean(left**2)) / PLACE_SIGMA_PX**2
        normal[1, 1] += stiff
        normal[2, 2] += stiff
        step = np.linalg.solve(normal, (basis @ left.ravel()).astype(np.float64))[1:]
        shift = np.clip(shift + step, -FARTHEST_PX, FARTHEST_PX)
        moved = replace(footprint, outline_px=footprint.outline_px + shift)
        templates = model.templates(moved.outline_px, fit.window, only=choice)
        trial = fit_templates(model, moved, field, templates, only=choice)
        if trial.score <= best.score:
            break
        best, where = trial, moved
    return where, best


def place_sigma_px(fit: Fit, field: Field) -> float:
    """Return how far off a fitted place is by noise alone: root mean square, px.

    The inverse of the picture's squared slopes over the noise's variance, which no estimate of a
    place passes (Cramér and Rao's bound).
    """
    scale = 1.0 / np.sqrt(fit.window.cut(field.variance))
    slopes = [float(np.sum((np.gradient(fit.picture, axis=axis) * scale) ** 2)) for axis in (1, 2)]
    return float(np.sqrt(sum(1.0 / max(slope, 1e-12) for slope in slopes)))


def fit_templates(
    model: HeatModel,
    footprint: Footprint,
    field: Field,
    templates: Templates,
    only: int | None = None,
) -> Fit:
    """Return the best choice among templates made before; see `best_fit`.

    Each choice has two pictures, the sheet's and the body's; their ratio may lie between bounds,
    and within them the best is known in closed form.
    """
    still_wanted()
    window = templates.window
    choices = model.choices if only is None else [model.choices[only]]
    match = match_of(
        templates, choices, field.modes, seen=window.cut(field.left), variance=field.variance
    )
    tries = match.tries(*excess_bounds(footprint))
    seen, size = match.of(tries)
    scores = scores_of(seen, size)
    trial, choice = np.unravel_index(int(np.argmax(scores)), scores.shape)
    power = float(seen[trial, choice] / size[trial, choice])
    excess = float(tries[trial, choice])
    kappa, lag = choices[choice]
    course = (match.own[choice] * excess)[:, None, None]
    return Fit(
        score=float(scores[trial, choice]),
        power_w=power,
        sigma_w=float(1.0 / np.sqrt(size[trial, choice])),
        kappa=kappa,
        lag=lag,
        excess_k_per_w=excess,
        window=window,
        picture=np.float32(power) * (templates.sheet[choice] + course * templates.body),
    )


class Explainer:
    """Finds the sources among parts."""

    def __init__(self, footprints: Sequence[Footprint], field: Field) -> None:
        self.field = field
        self.footprints = list(footprints)
        self._quick = QuickMatch(Shares(self.footprints, field.shape), field.filters)

    @cached_property
    def model(self) -> HeatModel:
        """Return all choices of board and body, made when first asked for: it takes a while."""
        return HeatModel(self.field.filters, SIDE)

    def explain(self, least_score: float) -> list[Found]:
        """Take sources off, the strongest evidence first, until none reaches `least_score`."""
        found: list[Found] = []
        left = set(range(len(self.footprints)))
        fits: dict[int, Fit] = {}
        while left and len(found) < MOST_SOURCES:
            best: tuple[float, int] | None = None
            scores = self._quick.scores(self.field.left, self.field.variance)
            for at in sorted(left, key=lambda i: -scores[i])[:4]:
                if scores[at] < 0.6 * least_score:
                    break
                if at not in fits:
                    fits[at] = best_fit(self.model, self.footprints[at], self.field)
                if best is None or fits[at].score > best[0]:
                    best = (fits[at].score, at)
            if best is None or best[0] < least_score:
                break
            at = best[1]
            left.discard(at)
            fit, footprint = fits.pop(at), self.footprints[at]
            if fit.score > SETTLE_SCORE:
                footprint, fit = settle(self.model, footprint, self.field, fit)
            self.field.take_off(fit)
            found.append(Found(footprint, fit))
            for other in list(left):
                apart = np.abs(self.footprints[other].centre_px - self.footprints[at].centre_px)
                if apart.max() < SIDE * 0.75:
                    fits.pop(other, None)
        return found

    def fit_at(self, footprint: Footprint) -> Found:
        """Fit a place that is no part of the list, let it settle, and take it off."""
        fit = best_fit(self.model, footprint, self.field)
        if fit.score > SETTLE_SCORE:
            footprint, fit = settle(self.model, footprint, self.field, fit)
        self.field.take_off(fit)
        return Found(footprint, fit)

    def refit(self, found: list[Found], rounds: int = 1) -> None:
        """Fit each source again with all others taken off; the least first."""
        for _ in range(rounds if len(found) > 1 else 0):
            for one in found:
                self.field.take_off(one.fit, -1.0)
                fit = best_fit(self.model, one.footprint, self.field)
                if fit.power_w <= 0:
                    fit = replace(fit, power_w=0.0, score=0.0, picture=0.0 * fit.picture)
                self.field.take_off(fit)
                one.fit = fit

    def sham(self) -> Floats:
        """Return the score that cooling would reach at each part on what is left.

        Nothing cools when the power comes on, but drift and reflections go both ways: what reaches
        little higher than this nearby is weak evidence.
        """
        return self._quick.scores(self.field.left, self.field.variance, sign=-1.0)

    def weigh(
        self,
        found: Found,
        *,
        plain: NDArray[np.float32],
        left_over: NDArray[np.float32],
        noise_var: float,
        sham: Floats | None,
    ) -> None:
        """Measure how much of what is seen at a source its heat explains; others taken off.

        Parameters
        ----------
        found : Found
        plain : ndarray, shape (mode, row, column)
            High-passed coefficients.
        left_over : ndarray, shape (row, column)
            Energy outside the modes, of equally high-passed pictures.
        noise_var : float
            K².
        sham : ndarray, shape (part,), or None
            See `sham`; None where `found` has its own already.
        """
        if sham is not None:
            middles = np.array([footprint.centre_px for footprint in self.footprints])
            away = middles - found.footprint.centre_px
            found.sham = float(sham[np.hypot(away[:, 0], away[:, 1]) < NEAR_PX].max(initial=0.0))
        fit, modes = found.fit, self.field.modes
        mask = mask_of(found.footprint, fit.window)
        left = fit.window.cut(self.field.left)
        unexplained = left[:, mask]
        seen = unexplained + fit.picture[:, mask]
        count = int(mask.sum())
        found.pixels = count
        found.inside = float(np.sum(seen**2)) / noise_var - count * modes.count
        found.misfit = float(np.sum(unexplained**2)) / noise_var - count * modes.count
        outside = fit.window.cut(left_over)[mask]
        found.outside = float(np.sum(outside)) / noise_var - count * modes.freedom
        found.plain = float(np.sum(fit.window.cut(plain)[:, mask] ** 2)) / noise_var
        found.plain -= count * modes.count
        found.excess = local_excess(
            left,
            fit.window.cut(self.field.variance),
            ~mask_of(found.footprint, fit.window, around_px=4),
            scale_px=float(np.clip(np.sqrt(count) / 5, 1.2, 4.0)),
        )
