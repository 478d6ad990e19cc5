"""One board's picture laid onto the other's, by what both show of every part.

Where both views err alike, templates are wrong on both boards alike; where they err apart, a part's
power is. Both pictures of one part are the same but for its power, so that no model is needed to
tell how one lies beside the other (Lucas & Kanade's least squares, as in `align`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import LEAST_SIGMA_PX, NOT_WHITE, Aligned, Aligner, View, shifted
from thermview.analysis.pair.plane import Pictures, highpass
from thermview.analysis.pair.softness import cut_of

Floats = NDArray[np.float64]

ROUNDS = 4
SETTLED_MM = 0.01
EDGE = 2.0  # what is wider than this many cells tells nothing of place
AROUND = 2  # cells beside a part
PLAIN = 50.0  # energy in units of the noise from which a part tells
SHARE = 0.3
"""Of cells that err independently."""
APART = 0.1
"""Share by which two pictures of one part differ though they lie on each other."""


def onto(
    aligner: Aligner,
    still: Pictures,
    moved: Aligned,
    picture: Callable[[View], Pictures],
    *,
    doubt: Floats,
    noise_k: float,
) -> Aligned:
    """Return the view by which a board's picture lies onto another's.

    Parameters
    ----------
    aligner : Aligner
        Of both boards.
    still : ndarray of float32, shape (course, row, column)
        The other's picture on the plane.
    moved : Aligned
        The view that is moved.
    picture : callable
        Brings the board's picture onto the plane by a view.
    doubt : ndarray, shape (8, 8)
        Covariance of how both lie beside each other, mm².
    noise_k : float
        Of a coefficient.
    """
    known = np.linalg.inv(doubt)
    apart = doubt
    step = np.zeros(8)
    cuts = [cut_of(aligner.plane, subject, AROUND) for subject in aligner.subjects]
    edges = highpass(still, EDGE)
    now = moved.view
    for _ in range(ROUNDS):
        seen = highpass(picture(now), EDGE)
        normal, right = _evidence(edges, seen, aligner.along, cuts, noise_k)
        more = np.asarray(np.linalg.solve(normal + known, right - known @ step), dtype=np.float64)
        apart = np.linalg.inv(normal / NOT_WHITE + known)
        step, now = step + more, shifted(aligner.plane, now, more)
        if np.abs(more).max() < SETTLED_MM:
            break
    apart[[0, 3], [0, 3]] += (LEAST_SIGMA_PX * moved.view.mm_per_px) ** 2
    return replace(moved, view=now, apart=apart)


def _evidence(
    still: Pictures,
    moved: Pictures,
    along: Sequence[NDArray[np.float64]],
    cuts: Sequence[tuple[slice, slice]],
    noise_k: float,
) -> tuple[Floats, Floats]:
    """Return normal equations for eight displacements; every part's power is free."""
    normal, right = np.zeros((8, 8)), np.zeros(8)
    slopes = [np.gradient(pictures, axis=(1, 2)) for pictures in (still, moved)]
    for cut in cuts:
        one, other = (p[:, *cut].ravel().astype(np.float64) for p in (still, moved))
        energies = float(one @ one), float(other @ other)
        if min(energies) < PLAIN * noise_k**2:
            continue
        ratio = (energies[1] / energies[0]) ** 0.5
        dy, dx = (0.5 * (ratio * a[:, *cut] + b[:, *cut]) for a, b in zip(*slopes, strict=True))
        ax, ay = (a[:, *cut] for a in along)
        table = (dx * ax[:, None] + dy * ay[:, None]).reshape(8, -1).astype(np.float64)
        mean = 0.5 * (ratio * one + other)
        left = other - ratio * one
        table -= np.outer(table @ mean, mean) / (mean @ mean)  # the part's own power is free
        wrong = np.mean(left**2) + APART**2 * np.mean(mean**2)
        weight = SHARE / (noise_k**2 + wrong)
        normal += weight * table @ table.T
        right += weight * table @ left
    return normal, right
