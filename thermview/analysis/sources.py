"""Which parts' heat explains the pictures: matched filters, and explaining away one by one.

A part's template (sheet and body, `heat_model`) has one free amplitude, its power; the body's
excess over the sheet may lie between bounds. The best part is taken first, its share is taken off,
its neighbours are judged anew on what is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import (
    BODY_SEEN_LEAST,
    CONTACT,
    HIGHPASS_PX,
    Footprint,
    HeatModel,
    Template,
    Window,
    coverage,
    window_around,
)
from thermview.analysis.responses import Modes

Floats = NDArray[np.float64]

SIDE = 64
QUICK_SIDE = 32
QUICK_KAPPAS = (0.004, 0.015)
QUICK_LAGS = (1, 3)
MODEL_ERROR = 0.06
"""Share of a source's own picture by which its model may be wrong: noise for the others."""
MOST_SOURCES = 24


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
    outside the modes.
    """

    footprint: Footprint
    fit: Fit
    inside: float = 0.0
    misfit: float = 0.0
    outside: float = 0.0
    pixels: int = 0

    @property
    def strange(self) -> float:
        """Return the share of what is seen that heat of this part does not explain."""
        return (max(self.misfit, 0.0) + max(self.outside, 0.0)) / max(self.inside, 1.0)


def mask_of(footprint: Footprint, window: Window, around_px: int = 2) -> NDArray[np.bool_]:
    """Return the pixels of a part and `around_px` more on each side."""
    share = coverage(footprint.outline_px, window)
    kernel = np.ones((2 * around_px + 1, 2 * around_px + 1), np.uint8)
    return np.asarray(cv2.dilate((share > 0.05).astype(np.uint8), kernel) > 0)


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
    """

    def __init__(
        self, coefficients: NDArray[np.float32], variance: NDArray[np.float32], modes: Modes
    ) -> None:
        self.left = coefficients.copy()
        self.variance = variance.copy()
        self.modes = modes

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


def best_fit(
    model: HeatModel, modes: Modes, footprint: Footprint, field: Field, *, with_picture: bool = True
) -> Fit:
    """Return the best choice of a model's for a part, on what is left of a field."""
    window = window_around(footprint.centre_px, model.side, field.shape)
    sheet, body = model.templates(footprint.outline_px, window)
    return fit_templates(
        model,
        modes,
        footprint,
        field,
        window=window,
        sheet=sheet,
        body=body,
        with_picture=with_picture,
    )


def fit_templates(
    model: HeatModel,
    modes: Modes,
    footprint: Footprint,
    field: Field,
    *,
    window: Window,
    sheet: Template,
    body: Template,
    with_picture: bool = True,
) -> Fit:
    """Return the best choice among templates made before; see `best_fit`."""
    data = window.cut(field.left)
    weight = 1.0 / window.cut(field.variance)
    lags = np.array([lag for _, lag in model.choices])
    own = modes.body[lags].astype(np.float32)  # choice, mode
    heavy_data = (data * weight).reshape(-1)
    rows = sheet.reshape(len(sheet), -1)
    data_sheet = rows @ heavy_data
    heavy_body = weight * body
    data_body = own @ np.einsum("mij,ij->m", data, heavy_body)
    sheet_sheet = np.einsum("cmij,cmij,ij->c", sheet, sheet, weight, optimize=True)
    sheet_body = np.einsum("cm,cm->c", own, np.einsum("cmij,ij->cm", sheet, heavy_body))
    body_body = np.sum(own**2, axis=1) * float(np.sum(heavy_body * body))
    least = BODY_SEEN_LEAST / (CONTACT[1] * footprint.area_m2)
    most = 1.0 / (CONTACT[0] * footprint.area_m2)
    determinant = sheet_sheet * body_body - sheet_body**2
    free_power = data_sheet * body_body - data_body * sheet_body
    free_body = data_body * sheet_sheet - data_sheet * sheet_body
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where((free_power > 0) & (determinant > 0), free_body / free_power, least)
    tries = np.stack([np.clip(ratio, least, most), np.full_like(ratio, least),
                      np.full_like(ratio, most)])  # fmt: skip
    seen = data_sheet + tries * data_body
    size = sheet_sheet + tries * (2 * sheet_body + tries * body_body)
    scores = seen / np.sqrt(np.maximum(size, 1e-30))
    trial, choice = np.unravel_index(int(np.argmax(scores)), scores.shape)
    power = float(seen[trial, choice] / size[trial, choice])
    excess = float(tries[trial, choice])
    kappa, lag = model.choices[choice]
    picture = np.zeros((0, 0, 0), np.float32)
    if with_picture:
        extra = modes.body[lag].astype(np.float32)[:, None, None] * body * np.float32(excess)
        picture = np.float32(power) * (sheet[choice] + extra)
    return Fit(
        score=float(scores[trial, choice]),
        power_w=power,
        sigma_w=float(1.0 / np.sqrt(size[trial, choice])),
        kappa=kappa,
        lag=lag,
        excess_k_per_w=excess,
        window=window,
        picture=picture,
    )


class Explainer:
    """Finds the sources among parts."""

    def __init__(
        self, modes: Modes, mm_per_px: float, footprints: Sequence[Footprint], field: Field
    ) -> None:
        self.modes = modes
        self.field = field
        self.footprints = list(footprints)
        self.full = HeatModel(modes, mm_per_px, SIDE)
        self._quick = HeatModel(modes, mm_per_px, QUICK_SIDE, QUICK_KAPPAS, QUICK_LAGS)
        self._prepared = []
        for footprint in self.footprints:
            window = window_around(footprint.centre_px, QUICK_SIDE, field.shape)
            sheet, body = self._quick.templates(footprint.outline_px, window)
            self._prepared.append((window, sheet, body))
        self.scores = np.array([self._score(i) for i in range(len(self.footprints))])

    def _score(self, at: int) -> float:
        footprint = self.footprints[at]
        window, sheet, body = self._prepared[at]
        fit = fit_templates(
            self._quick,
            self.modes,
            footprint,
            self.field,
            window=window,
            sheet=sheet,
            body=body,
            with_picture=False,
        )
        return fit.score

    def explain(self, least_score: float) -> list[Found]:
        """Take sources off, the strongest evidence first, until none reaches `least_score`."""
        found: list[Found] = []
        left = set(range(len(self.footprints)))
        fits: dict[int, Fit] = {}
        while left and len(found) < MOST_SOURCES:
            best: tuple[float, int] | None = None
            for at in sorted(left, key=lambda i: -self.scores[i])[:4]:
                if self.scores[at] < 0.6 * least_score:
                    break
                if at not in fits:
                    fits[at] = best_fit(self.full, self.modes, self.footprints[at], self.field)
                if best is None or fits[at].score > best[0]:
                    best = (fits[at].score, at)
            if best is None or best[0] < least_score:
                break
            at = best[1]
            left.discard(at)
            fit = fits.pop(at)
            self.field.take_off(fit)
            found.append(Found(self.footprints[at], fit))
            for other in list(left):
                apart = np.abs(self.footprints[other].centre_px - self.footprints[at].centre_px)
                if apart.max() < SIDE * 0.75:
                    fits.pop(other, None)
                    self.scores[other] = self._score(other)
        return found

    def refit(self, found: list[Found], rounds: int = 1) -> None:
        """Fit each source again with all others taken off; the least first."""
        for _ in range(rounds if len(found) > 1 else 0):
            for one in found:
                self.field.take_off(one.fit, -1.0)
                fit = best_fit(self.full, self.modes, one.footprint, self.field)
                if fit.power_w <= 0:
                    fit = replace(fit, power_w=0.0, score=0.0, picture=0.0 * fit.picture)
                self.field.take_off(fit)
                one.fit = fit

    def weigh(self, found: Found, left_over: NDArray[np.float32], noise_var: float) -> None:
        """Measure how much of what is seen at a source its heat explains; others taken off."""
        fit = found.fit
        mask = mask_of(found.footprint, fit.window)
        unexplained = fit.window.cut(self.field.left)[:, mask]
        seen = unexplained + fit.picture[:, mask]
        count = int(mask.sum())
        found.pixels = count
        found.inside = float(np.sum(seen**2)) / noise_var - count * self.modes.count
        found.misfit = float(np.sum(unexplained**2)) / noise_var - count * self.modes.count
        outside = fit.window.cut(left_over)[mask]
        found.outside = float(np.sum(outside)) / noise_var - count * self.modes.freedom
