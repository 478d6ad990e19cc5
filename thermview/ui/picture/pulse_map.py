"""A pulse test's pictures: how much a place swings with the pulses, and how late."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray

from thermview.session.pulsing import Pulsed
from thermview.ui.levels import robust_range

COLOURS = "inferno"
DELAY_COLOURS = "CET-C1"  # cyclic: a delay of a whole period is none
SEEN_NOISES = 3.0
UNSEEN_ARGB = 0xFF3A3A3A


def amplitude_ends(pulsed: Pulsed) -> tuple[float, float]:
    """Return the ends of the amplitude's scale, K: the usual noise, and the largest swing."""
    amplitude_k = pulsed.harmonic.amplitude_k
    low = float(np.median(pulsed.harmonic.noise_k))
    return low, max(robust_range(amplitude_k)[1], 2 * low, 1e-6)


def pulse_pixels(pulsed: Pulsed, *, delay: bool) -> NDArray[np.uint32]:
    """Return a pulse test's picture, 0xffRRGGBB: its swing, or its delay where a swing is seen."""
    found = pulsed.harmonic
    if delay:
        place = np.mod(-found.phase_rad / (2 * np.pi), 1.0)
        table = pg.colormap.get(DELAY_COLOURS).getLookupTable(0.0, 1.0, 256)
    else:
        low, high = amplitude_ends(pulsed)
        place = np.clip((found.amplitude_k - low) / (high - low), 0.0, 1.0)
        table = pg.colormap.get(COLOURS).getLookupTable(0.0, 1.0, 256)
    colours = table.astype(np.uint32)
    argb = 0xFF000000 | colours[:, 0] << 16 | colours[:, 1] << 8 | colours[:, 2]
    pixels: NDArray[np.uint32] = argb[np.minimum(place * 256, 255).astype(np.uint8)]
    if delay:  # noise has any delay
        pixels[found.amplitude_k < SEEN_NOISES * found.noise_k] = UNSEEN_ARGB
    return np.ascontiguousarray(pixels.astype(np.uint32))
