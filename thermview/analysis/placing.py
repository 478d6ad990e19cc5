"""Where the parts lie in a picture that moved: their own pattern against the listed outlines.

Landmarks are picked in some picture; a hand-held camera was elsewhere in the others. Parts differ
from the board in emissivity, so that the outlines, laid right, cut patches of their own shade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import Footprint, Window, coverage

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

REACH_PX = 4
WIDE_PX = 6.0
FARTHEST_PX = 2.0
NEAR_PX = 1.2
CLEAR = 2.0
BETTER = 1.04
"""Another pose must fit so much better than the first picture's."""


def moved_footprints(footprints: Sequence[Footprint], matrix: Floats) -> list[Footprint]:
    """Return footprints with their outlines mapped by a matrix, pixels to pixels."""
    found = []
    for footprint in footprints:
        corners = np.column_stack([footprint.outline_px, np.ones(len(footprint.outline_px))])
        mapped = corners @ matrix.T
        found.append(replace(footprint, outline_px=mapped[:, :2] / mapped[:, 2:]))
    return found


def settled(
    footprints: Sequence[Footprint], picture: Picture, poses: Sequence[Floats]
) -> list[Footprint]:
    """Return the footprints where they suit a picture best; see `best_pose`."""
    return moved_footprints(footprints, best_pose(footprints, picture, poses))


def best_pose(footprints: Sequence[Footprint], picture: Picture, poses: Sequence[Floats]) -> Floats:
    """Return the way from the landmarks' pixels to the picture's that suits it best, (3, 3).

    Parameters
    ----------
    footprints : sequence of Footprint
        As the landmarks place them.
    picture : ndarray of float32, shape (row, column)
        The unpowered board.
    poses : sequence of ndarray, shape (3, 3)
        Ways from the landmarks' pixels to the picture's that are tried, the likeliest first; each
        with any shift of up to `REACH_PX`.
    """
    narrow = picture - cv2.GaussianBlur(picture, (0, 0), WIDE_PX)
    best: tuple[float, Floats] | None = None
    for pose in poses:
        fit, shift, clear = _best_shift(moved_footprints(footprints, pose), narrow)
        near = clear and np.hypot(*shift) < NEAR_PX
        if best is None or (near and fit > BETTER * best[0]):
            step = np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1.0]])
            best = (fit, step @ pose)
    return best[1] if best is not None else np.eye(3)


def _best_shift(footprints: Sequence[Footprint], narrow: Picture) -> tuple[float, Floats, bool]:
    """Return how well outlines cut patches of their own shade at the best shift, it, and if clear.

    A pattern too faint to tell, or a best shift farther than landmarks err (px), gives no shift
    and is not clear.
    """
    size = 2 * REACH_PX + 1
    total = np.zeros((size, size))
    rows, columns = narrow.shape
    for footprint in footprints:
        low = np.floor(footprint.outline_px.min(axis=0)).astype(int) - 3
        side = int(np.ceil(np.ptp(footprint.outline_px, axis=0).max())) + 7
        x0, y0 = low - REACH_PX
        x1, y1 = low + side + REACH_PX
        if x0 < 0 or y0 < 0 or x1 > columns or y1 > rows:
            continue
        share = coverage(footprint.outline_px, Window(int(low[0]), int(low[1]), side))
        share -= share.mean()
        seen = cv2.matchTemplate(narrow[y0:y1, x0:x1], share, cv2.TM_CCORR)
        total += np.asarray(seen, np.float64) ** 2 / max(float(np.sum(share**2)), 1e-6)
    row, column = np.unravel_index(int(np.argmax(total)), total.shape)
    shift = np.array([column - REACH_PX + _vertex(total[row], column), row - REACH_PX + 0.0])
    shift[1] += _vertex(total[:, column], row)
    if np.hypot(*shift) > FARTHEST_PX or total[row, column] < CLEAR * np.median(total):
        return float(total[REACH_PX, REACH_PX]), np.zeros(2), False
    return float(total[row, column]), shift, True


def _vertex(values: Floats, at: np.intp | int) -> float:
    """Return how far beside its highest value a curve's parabola tops."""
    if not 0 < at < len(values) - 1:
        return 0.0
    left, middle, right = values[at - 1 : at + 2]
    bend = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0
