"""Which of two cameras saw softer, told by the parts that both boards have.

A small part's height in the picture falls with the camera's blur. Both pictures of one part are the
same but for its power and that blur, so that what the model of heat gets wrong does not matter.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.plane import Pictures, Plane, Subject, Window, highpass

Floats = NDArray[np.float64]

ROUNDS = 3
EDGE = 2.0  # what is wider than this many cells tells nothing of blur
AROUND = 3  # cells beside a part
MOST_PARTS = 40
PLAIN = 200.0  # energy in units of the noise from which a part tells
MOST_VAR = 2.0  # cells²
APART = 0.1
"""Share by which two pictures of one part differ for other reasons."""


def evened(
    block: Pictures, plane: Plane, subjects: Sequence[Subject], noise_k: float
) -> tuple[Pictures, float]:
    """Return both boards' pictures equally soft, and the blur that was added, variance in cells².

    Parameters
    ----------
    block : ndarray of float32, shape (2, course, row, column)
    noise_k : float
        Of a value.
    """
    cuts = [cut_of(plane, s, AROUND) for s in subjects]
    softer = 0.0  # of the second over the first
    for _ in range(ROUNDS):
        now = _softened(block, softer)
        softer = float(np.clip(softer + _difference(now, cuts, noise_k), -MOST_VAR, MOST_VAR))
    return _softened(block, softer), abs(softer)


def cut_of(plane: Plane, subject: Subject, around: int) -> tuple[slice, slice]:
    """Return the rows and columns of a part and of so many cells around it."""
    extent = np.ptp(plane.cells(subject.outline_mm), axis=0).max()
    side = int(np.ceil(extent)) + 2 * around
    return Window.around(plane.cells(subject.centre_mm), side, plane.shape).slices


def _softened(block: Pictures, softer: float) -> Pictures:
    """Return pictures, the sharper ones blurred."""
    if abs(softer) < 1e-3:
        return block
    out = block.copy()
    for picture in out[0 if softer > 0 else 1]:
        picture[:] = cv2.GaussianBlur(picture, (0, 0), abs(softer) ** 0.5)
    return out


def _difference(block: Pictures, cuts: list[tuple[slice, slice]], noise_k: float) -> float:
    """Return by how much the second board's pictures are softer, variance in cells².

    A Gaussian's variance grown by v adds v/2 of a picture's Laplacian.
    """
    edges = [highpass(pictures, EDGE) for pictures in block]
    bent = [np.stack([cv2.Laplacian(p, cv2.CV_32F) for p in pictures]) for pictures in edges]
    votes = []
    for cut in cuts:
        good, bad = (e[:, *cut].ravel().astype(np.float64) for e in edges)
        energies = good @ good, bad @ bad
        if min(energies) < PLAIN * noise_k**2:
            continue
        ratio = np.sqrt(energies[1] / energies[0])
        lap = 0.5 * (ratio * bent[0][:, *cut] + bent[1][:, *cut]).ravel().astype(np.float64)
        mean = 0.5 * (ratio * good + bad)
        lap -= mean * (lap @ mean) / (mean @ mean)  # the part's own power is free
        left = bad - ratio * good
        # a hot part has no more to tell; one beside a part that differs, less
        unlike = left @ left + APART**2 * (mean @ mean)
        votes.append((min(energies), lap @ lap / unlike, lap @ left / unlike))
    if not votes:
        return 0.0
    _, gain, right = np.sum(sorted(votes, reverse=True)[:MOST_PARTS], axis=0)
    return float(2 * right / gain)
