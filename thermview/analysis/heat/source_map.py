"""Where the board is heated, and how much: the heat equation turned round.

q = C ∂T/∂t - κ∇²T + hT for a thin sheet. The Laplacian makes noise large, so the picture passes a
Wiener filter first, made from the noise and from a source as the camera sees it; what is left of
negative q is cut off. Total power over a neighbourhood is kept; shapes are as sharp as the noise
lets them be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.background import frequencies
from thermview.analysis.heat_model import CAPACITY, FILM, SPREAD_PX
from thermview.analysis.spectra import back, forward

Floats = NDArray[np.float64]


def source_map(
    rise_k: NDArray[np.floating],
    rate_k_per_s: NDArray[np.floating],
    *,
    mm_per_px: float,
    kappa: float,
    noise_k: float,
    film: float = FILM,
    capacity: float = CAPACITY,
    spread_px: float = SPREAD_PX,
    positive: bool = True,
) -> Floats:
    """Return the heating of the sheet, W/m², shape (row, column).

    Parameters
    ----------
    rise_k, rate_k_per_s : ndarray, shape (row, column)
        Rise over the unpowered board, K, and its rate now, K/s; object temperatures.
    mm_per_px : float
    kappa, film, capacity : float
        κ W/K, h W/m²K, C J/m²K of the sheet.
    noise_k : float
        Standard deviation of a pixel of `rise_k`.
    spread_px : float
        The camera's blur, taken out as far as the noise allows.
    positive : bool
        Cut negative heating off: a board does not cool by itself.
    """
    pad = 32
    rise = np.pad(np.asarray(rise_k, np.float64), pad, mode="edge")
    rate = np.pad(np.asarray(rate_k_per_s, np.float64), pad, mode="edge")
    size = (rise.shape[0], rise.shape[1])
    per_px = frequencies(size)
    k2 = (2 * np.pi * per_px / (mm_per_px * 1e-3)) ** 2
    blur = np.exp(-0.5 * (2 * np.pi * per_px * spread_px) ** 2)
    stiff = kappa * k2 + film
    seen = forward(rise)
    # a compact source's spectrum is blur over stiffness; its size is the picture's own at low k
    shape = (blur / (stiff + capacity / 10.0)) ** 2
    noise = noise_k**2 * rise.size
    signal = np.maximum(np.abs(seen) ** 2 - noise, 0.0)
    low = (per_px > 0) & (per_px < 0.06)
    strength = float(np.sum(signal[low]) / np.sum(shape[low]))
    wiener = strength * shape / (strength * shape + noise)
    wiener[0, 0] = 1.0
    wanted = wiener / np.maximum(blur, 0.05)
    heating = back(wanted * (stiff * seen + capacity * forward(rate)), size)
    inner = heating[pad:-pad, pad:-pad]
    return np.asarray(np.maximum(inner, 0.0) if positive else inner)


def power_within(heating: Floats, mask: NDArray[np.bool_], mm_per_px: float) -> float:
    """Return the power, W, of a map of W/m² inside a mask."""
    return float(heating[mask].sum()) * (mm_per_px * 1e-3) ** 2
