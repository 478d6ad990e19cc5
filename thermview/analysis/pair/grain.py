"""An enlarged recording brought back to as many pixels as its camera resolved.

What enlarges pictures, or smooths them, makes neighbouring pixels' noise go along, as it makes the
scene softer than so many pixels could show it. A camera's own pixels err each for itself. By how
much noise goes along, a picture's own pixel is told: of noise that is white up to a band's limit,
neighbours correlate as a sinc (the Wiener-Khinchin theorem).
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import View
from thermview.analysis.prepare import Take
from thermview.analysis.trend import SIGMA_OF_MAD

Floats = NDArray[np.float64]

FRAMES = 12
"""Differences of so many pictures tell."""
WIDE_PX = 9  # what is wider in a difference is drift
CLIPPED_SIGMAS = 4.0  # what moves is no noise
LEAST = 1.25
"""Pictures enlarged by less are left as they are."""
MOST = 4.0


def grain_px(take: Take) -> float:
    """Return how many pixels' side one of the camera's own has in a recording, 1 or more.

    Pixels of neighbouring rows and columns are compared: lines flicker along.
    """
    products, squares = 0.0, 0.0
    whole = np.diff(take.segment) == 0
    for at in np.linspace(0, len(whole) - 1, FRAMES).astype(int):
        step = take.rise_k[at + 1] - take.rise_k[at]
        step = step - cv2.blur(step, (WIDE_PX, WIDE_PX))
        most = CLIPPED_SIGMAS * SIGMA_OF_MAD * float(np.median(np.abs(step)))
        if not whole[at] or not most > 0:
            continue
        step = np.clip(step, -most, most)
        products += (
            float(np.mean(step[1:, 1:] * step[:-1, :-1] + step[1:, :-1] * step[:-1, 1:])) / 2
        )
        squares += float(np.mean(step**2))
    along = max(products / squares, 0.0) ** 0.5 if squares > 0 else 0.0
    apart = np.linspace(1.0, 1 / MOST, 100)
    return float(1 / np.interp(along, np.sinc(apart), apart))


def resolved(take: Take, view: View) -> tuple[Take, View]:
    """Return a recording with no more pixels than its camera resolved, and its view."""
    side = 1.0 if take.sway.size else grain_px(take)  # held still, pixels are mixed anyway
    if side < LEAST:
        return take, view
    rows, columns = (max(round(n / side), 1) for n in take.shape)

    def smaller(picture: NDArray[np.float32]) -> NDArray[np.float32]:
        out = cv2.resize(picture, (columns, rows), interpolation=cv2.INTER_AREA)
        return np.asarray(out, dtype=np.float32)

    rise_k = np.stack([smaller(picture) for picture in take.rise_k])
    step = np.diff(rise_k, axis=0)
    noise_k = SIGMA_OF_MAD * float(np.median(np.abs(step - np.median(step)))) / 2**0.5
    fewer = replace(take, rise_k=rise_k, first_k=smaller(take.first_k), noise_k=noise_k)
    return fewer, seen_by(view, take.shape, fewer.shape)


def seen_by(view: View, shape: tuple[int, int], other: tuple[int, int]) -> View:
    """Return a view of pictures of one shape as one of the same pictures in another."""
    (rows, columns), (new_rows, new_columns) = shape, other
    scale = np.diag([new_columns / columns, new_rows / rows, 1.0])
    size = float(np.sqrt(scale[0, 0] * scale[1, 1]))
    return replace(view, matrix=scale @ view.matrix, mm_per_px=view.mm_per_px / size)
