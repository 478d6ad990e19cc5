"""From a fitted picture to watts: what the body keeps, what the surface hides, what V·I allows."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.match import match_of
from thermview.analysis.heat.sources import Field, Found
from thermview.analysis.heat_model import CAPACITY, FILM, SEEN, Footprint, HeatModel
from thermview.analysis.responses import RATES_HZ, TAUS_S, Drive, Modes
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]

BODY_HEAT = 2.4e6
"""Heat capacity of ceramics and moulded plastics by volume, J/m³K: 3.0e6 and 1.8e6, from memory."""
HELD = np.array([*np.geomspace(700.0, 30000.0, 12), 6e4, 1e6])
"""Conductances between body and board that are weighed, W/m²K; the last is no body at all."""
HELD_USUALLY, HELD_M2, HELD_SPREAD = 5500.0, 3e-6, 0.5
"""Usual for a body of that area, and the spread of its logarithm (trials): normal towards bodies
that are held loosely, with the long tail of a Cauchy distribution towards heat in the board itself.
Joints go with a body's girth: per area they fall as 1 over its length."""
LAG_SPREAD = 1.0
"""Standard deviation of the logarithm of a body's lag about its heat over its conductance."""
SPECTRUM_RINGS = 600
SHAPE_ERROR = 0.08
"""Share of a source's picture by which the best of models is still wrong."""
LEAST_WEIGHT = 1e-3
HIDDEN = 0.02
"""A step of which less is left beside offsets and drift: the camera's shutter closed just then."""
MATCHED = 0.82
"""What a picture that is never quite the model's tells of its power (trials)."""
BARE_OF_CHIPS = 0.72
"""Chips' bright ends are a quarter to a half of their length: share of the body that is seen."""
BOARD_DOUBT = math.hypot(0.11, 0.1, 0.08)
"""Standard deviation of the logarithm of all powers of one board alike: heat capacity of laminate
and copper, the camera's blur, film and emissivity (ranges of the materials)."""
PART_DOUBT = math.hypot(0.12, 0.12, 0.12, 0.06)
"""Of each power by itself, beside what the fits leave open: the body's heat, its outline off by
some tenths of a pixel, copper that is uneven around it, its own emissivity."""
MODEL_DOUBT = math.hypot(BOARD_DOUBT, PART_DOUBT)
SHARE, SHARE_LESS, SHARE_MORE = 0.93, 0.3, 0.1
"""Of V·I at the terminals, what the board in view turns into heat, and standard deviations of its
logarithm downwards and upwards: leads and tracks take little or, beside a hard short, most."""
FAR_OFF = 6.0  # the supply may feed what is not in view: then V·I is a limit only

_CHIP = re.compile(r"(?<!\d)\d{4}(?!\d)")  # its size in hundredths of an inch, or tenths of a mm

_HEIGHTS_MM = {  # usual bodies, from memory
    r"SOT|SC70|SOD": 1.0,
    r"SOIC|^SO-?\d|SOP": 1.5,
    r"TSSOP|MSOP|SSOP": 1.0,
    r"QFN|DFN|SON": 0.9,
    r"QFP": 1.4,
    r"BGA|LGA": 1.2,
    r"DPAK|TO-?252": 2.3,
    r"XTAL|HC49": 3.5,
    r"RELAY": 15.0,
    r"CONN|JST|HEADER": 8.0,
}


def bare_share(package: str) -> float:
    """Return which share of a body's warmth a camera sees, by its package's name."""
    return BARE_OF_CHIPS if _CHIP.search(package) else 1.0


def body_height_mm(package: str, width_mm: float, height_mm: float) -> float:
    """Return how high a part's body usually is, mm, by its package's name, else by its size."""
    name = package.upper()
    for pattern, tall_mm in reversed(_HEIGHTS_MM.items()):
        if re.search(pattern, name):
            return tall_mm
    short_mm = min(width_mm, height_mm)
    if _CHIP.search(name):  # chips: resistors are flat, capacitors nearly square
        share = 0.45 if name.startswith("R") else 0.85 if name.startswith("C") else 0.65
        return share * short_mm
    if re.search(r"CAN|ELEC|CP_", name):
        return 0.8 * short_mm
    return float(np.clip(0.55 * short_mm, 0.5, 4.0))


def under_body(drive: Drive, area_m2: float, kappa: float, lag: int) -> Floats:
    """Return the sheet's mean rise under a body per watt, K, shape (time,).

    The mean over a square of the body's area: its spectrum squared, gathered by decay rate.
    """
    k2, share = _square_spectrum()
    rates = (kappa * k2 / area_m2 + FILM) / CAPACITY
    weight, _ = np.histogram(
        np.log(np.clip(rates, RATES_HZ[0], RATES_HZ[-1])), bins=_edges(), weights=share / area_m2
    )
    answers = drive.sheet[lag]
    return np.asarray(answers @ weight) / CAPACITY


@cache
def _square_spectrum() -> tuple[Floats, Floats]:
    """Return squared wave numbers, and each one's share in the mean over a square of side 1."""
    wave = np.linspace(0.02, 8.0, 160) * 2 * np.pi
    kx, ky = np.meshgrid(wave, wave)
    shape = (np.sinc(kx / 2 / np.pi) * np.sinc(ky / 2 / np.pi)) ** 2
    shape *= (wave[1] - wave[0]) ** 2 / np.pi**2  # a quadrant stands for all four
    k2 = kx**2 + ky**2
    edges = np.geomspace(k2.min(), k2.max() * (1 + 1e-9), SPECTRUM_RINGS + 1)
    share, _ = np.histogram(k2, bins=edges, weights=shape)
    total, _ = np.histogram(k2, bins=edges, weights=shape * k2)
    seen = share > 0
    return total[seen] / share[seen], share[seen]


@cache
def _edges() -> Floats:
    logs = np.log(RATES_HZ)
    middle = (logs[1:] + logs[:-1]) / 2
    return np.concatenate([[logs[0] - 1.0], middle, [logs[-1] + 1.0]])


@dataclass(frozen=True, slots=True)
class Drawn:
    """The power that a part turns into heat, W, and the standard deviation of its logarithm."""

    power_w: float
    spread: float


def unusual_held(area_m2: float) -> Floats:
    """Return how unusual each of `HELD` is for a body: minus twice the log of its likelihood."""
    usual = HELD_USUALLY * math.sqrt(HELD_M2 / area_m2)
    off = (np.log(HELD / usual) / HELD_SPREAD) ** 2
    return np.asarray(np.where(usual > HELD, off, 2.0 * np.log1p(off)))


def unusual_lag(footprint: Footprint, lags: Sequence[int]) -> Floats:
    """Return the same of lags (positions in `TAUS_S`), shape (held, lag)."""
    if footprint.height_m <= 0:
        return np.zeros((len(HELD), len(lags)))
    usual_s = np.maximum(BODY_HEAT * footprint.height_m / HELD, TAUS_S[0] / 2)
    taus_s = np.asarray(TAUS_S)[list(lags)]
    return np.asarray((np.log(taus_s / usual_s[:, None]) / LAG_SPREAD) ** 2)


def drawn_power(model: HeatModel, field: Field, found: Found) -> Drawn:
    """Return the power that a found source turns into heat; all sources are taken off the field.

    A part's picture fits nearly as well with a body that is held loosely and dissipates less.
    Therefore not the best fit tells its power but the mean over all conductances of board and
    body, weighed by how well they fit and by what is usual; fits are told apart no finer than the
    model is true (`SHAPE_ERROR`).
    """
    still_wanted()
    window, footprint = found.fit.window, found.footprint
    templates = model.templates(footprint.outline_px, window)
    seen = window.cut(field.left) + found.fit.picture
    match = match_of(templates, model.choices, field.modes, seen=seen, variance=field.variance)
    excess = footprint.bare / (HELD * footprint.area_m2)
    amount, size = match.of(excess[:, None])
    gain = np.where(amount > 0, amount**2 / np.maximum(size, 1e-30), 0.0)
    evidence = gain / (1.0 + SHAPE_ERROR**2 * gain.max())
    evidence -= unusual_held(footprint.area_m2)[:, None]
    evidence -= unusual_lag(footprint, [lag for _, lag in model.choices])
    weight = np.exp(0.5 * (evidence - evidence.max()))
    weight[weight < LEAST_WEIGHT] = 0.0
    weight /= weight.sum()
    told = [
        (weight[at, choice], amount[at, choice] / size[at, choice] * share)
        for choice in np.flatnonzero(weight.any(axis=0)).tolist()
        for at, share in enumerate(
            _shares(field.modes, footprint, model.choices[choice], excess).tolist()
        )
        if weight[at, choice] > 0
    ]
    weights = np.array([w for w, _ in told])
    logs = np.log(np.maximum([p for _, p in told], 1e-9))
    mean = float(weights @ logs)
    spread = float(np.sqrt(weights @ (logs - mean) ** 2))
    return Drawn(math.exp(mean) / (SEEN * MATCHED), spread)


def _shares(
    modes: Modes, footprint: Footprint, choice: tuple[float, int], excess: Floats
) -> Floats:
    """Return what a part draws over what flows into the board, for excesses of its body.

    What the body keeps for itself as it warms comes on top: C dT/dt of one of the usual height.
    """
    kappa, lag = choice
    drive = modes.drive
    flow = drive.body[lag]
    body_k = under_body(drive, footprint.area_m2, kappa, lag)[:, None] + flow[:, None] * excess
    heat = BODY_HEAT * footprint.area_m2 * footprint.height_m
    keeps = heat * np.gradient(body_k, drive.times_s, axis=0)
    power = drive.power - modes.idle @ (modes.idle.T @ drive.power)
    size, whole = float(power @ power), float(drive.power @ drive.power)
    if size < HIDDEN * whole:
        power, size = drive.power, whole
    if size <= 0:
        return np.ones(len(excess))
    return np.asarray(np.maximum(power @ (flow[:, None] + keeps) / size, 0.05))


def within_supply(
    powers_w: Sequence[float], spreads: Sequence[float], level_w: float | None
) -> tuple[list[float], list[float]]:
    """Return a board's powers made to agree with V·I, and their standard deviations, W.

    Errors multiply: one is shared by all powers of a board, one is each power's own. Their sum is
    then set beside V·I (least squares on logarithms), so that a power that is most of the sum is
    known about as well as the sum, and a small one no better than the pictures tell it. The sum
    may not pass V·I.

    Parameters
    ----------
    powers_w : sequence of float
        As the pictures tell them, W.
    spreads : sequence of float
        What fits and noise leave open of each, as a standard deviation of its logarithm.
    level_w : float or None
        V·I, W.
    """
    if not powers_w:
        return [], []
    logs = np.log(np.maximum(powers_w, 1e-12))
    open_ = np.square(spreads) + PART_DOUBT**2
    covariance = BOARD_DOUBT**2 + np.diag(open_)
    total_w = float(np.exp(logs).sum())
    if level_w is not None and 0 < SHARE * level_w < FAR_OFF * total_w:
        apart = math.log(SHARE * level_w / total_w)
        doubt = SHARE_LESS if apart > 0 else SHARE_MORE
        part = np.exp(logs) / total_w
        common = covariance @ part
        gain = common / (part @ common + doubt**2)
        logs += gain * apart
        covariance -= np.outer(gain, common)
        logs -= max(0.0, math.log(float(np.exp(logs).sum()) / level_w) + 1e-9)
    told_w = np.exp(logs)
    return told_w.tolist(), (told_w * np.sqrt(np.diag(covariance))).tolist()
