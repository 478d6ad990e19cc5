"""From a fitted picture to watts: what the body keeps, what the surface hides, what V·I allows."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.sources import Fit
from thermview.analysis.heat_model import CAPACITY, FILM, SEEN, Footprint
from thermview.analysis.responses import RATES_HZ, Modes

Floats = NDArray[np.float64]

BODY_HEAT = 2.4e6
"""Heat capacity of ceramics and moulded plastics by volume, J/m³K: 3.0e6 and 1.8e6, from memory."""
MODEL_DOUBT = 0.35
"""Standard deviation of the logarithm of a power by the model alone (trials)."""
SHARE = 0.88
SHARE_DOUBT = 0.17
"""Of V·I at the terminals, what the board in view turns into heat; leads and tracks take some."""
FAR_OFF = 6.0  # the supply may feed what is not in view: then V·I is a limit only

_HEIGHTS_MM = {  # usual bodies, from memory
    r"SOT|SC70|SOD": 1.0,
    r"SOIC|^SO-?\d|SOP": 1.5,
    r"TSSOP|MSOP|SSOP": 1.0,
    r"QFN|DFN|SON": 0.9,
    r"QFP": 1.4,
    r"BGA|LGA": 1.2,
    r"XTAL|HC49": 3.5,
    r"RELAY": 15.0,
    r"CONN|JST|HEADER": 8.0,
}


def body_height_mm(package: str, width_mm: float, height_mm: float) -> float:
    """Return how high a part's body usually is, mm, by its package's name, else by its size."""
    name = package.upper()
    for pattern, tall_mm in reversed(_HEIGHTS_MM.items()):
        if re.search(pattern, name):
            return tall_mm
    short_mm = min(width_mm, height_mm)
    if re.search(r"\d{4}", name):  # chips: resistors are flat, capacitors nearly square
        share = 0.45 if name.startswith("R") else 0.85 if name.startswith("C") else 0.65
        return share * short_mm
    if re.search(r"CAN|ELEC|CP_", name):
        return 0.8 * short_mm
    return float(np.clip(0.55 * short_mm, 0.5, 4.0))


def under_body(modes: Modes, footprint: Footprint, fit: Fit) -> Floats:
    """Return the sheet's mean rise under a body per watt, K, shape (time,).

    The mean over a square of the body's area: its spectrum squared, gathered by decay rate.
    """
    side_m = math.sqrt(footprint.area_m2)
    wave = np.linspace(0.02, 8.0, 160) * 2 * np.pi / side_m
    kx, ky = np.meshgrid(wave, wave)
    shape = (np.sinc(kx * side_m / 2 / np.pi) * np.sinc(ky * side_m / 2 / np.pi)) ** 2
    rates = (fit.kappa * (kx**2 + ky**2) + FILM) / CAPACITY
    cell = (wave[1] - wave[0]) ** 2 / np.pi**2  # a quadrant stands for all four
    weight, _ = np.histogram(
        np.log(np.clip(rates, RATES_HZ[0], RATES_HZ[-1])),
        bins=_edges(),
        weights=shape * cell,
    )
    answers = modes.drive.sheet[fit.lag]
    return np.asarray(answers @ weight) / CAPACITY


def _edges() -> Floats:
    logs = np.log(RATES_HZ)
    middle = (logs[1:] + logs[:-1]) / 2
    return np.concatenate([[logs[0] - 1.0], middle, [logs[-1] + 1.0]])


def drawn_power(modes: Modes, footprint: Footprint, fit: Fit) -> float:
    """Return the power that a part turns into heat, W.

    The fit tells what flows into the board; what the body keeps for itself as it warms comes on
    top: C dT/dt of a body of the usual height.
    """
    drive = modes.drive
    flow = drive.body[fit.lag]
    body_k = under_body(modes, footprint, fit) + fit.excess_k_per_w * flow
    keeps = BODY_HEAT * footprint.area_m2 * footprint.height_m * np.gradient(body_k, drive.times_s)
    power = drive.power - modes.idle @ (modes.idle.T @ drive.power)
    size = float(power @ power)
    share = float(power @ (flow + keeps)) / size if size > 0 else 1.0
    return max(fit.power_w, 0.0) / SEEN * max(share, 0.05)


def within_supply(powers_w: Sequence[float], level_w: float | None) -> tuple[list[float], float]:
    """Return powers made to agree with V·I, and their relative standard deviation.

    The sum may not pass V·I; and where it comes near, V·I tells it better than the picture does.
    """
    total_w = sum(powers_w)
    if level_w is None or total_w <= 0 or level_w <= 0:
        return list(powers_w), MODEL_DOUBT
    apart = math.log(SHARE * level_w / total_w)
    if apart > math.log(FAR_OFF):
        return list(powers_w), MODEL_DOUBT
    trust = MODEL_DOUBT**2 / (MODEL_DOUBT**2 + SHARE_DOUBT**2)
    factor = min(math.exp(trust * apart), level_w / total_w)
    doubt = MODEL_DOUBT * SHARE_DOUBT / math.hypot(MODEL_DOUBT, SHARE_DOUBT)
    return [power * factor for power in powers_w], doubt
