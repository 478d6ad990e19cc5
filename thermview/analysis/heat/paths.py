"""Heat along a path: a track that glows, with its course and its end.

A line that heats is a ridge of the rise: warmer than the board on both its sides. The board's
edge and the rims of cold bodies are warmer than one side only. Patches of such ridges that are
many times longer than wide are paths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, label

from thermview.analysis.trend import SIGMA_OF_MAD

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

BLUR_PX = 1.2
ASIDE_PX = 4
SIGMAS = 6.0
SHARE = 0.25
"""Of what stands out most in the picture: what is weaker is halo, or another thing's."""
LONGER = 7.5
"""A path is so many times longer than wide."""
LEAST_PX = 25.0
FILLS_PX = (1.5, 3.0, 6.0)
BEND_PX = 1.2
HOOK_PX, HOOK_COSINE = 10.0, 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """A chain of heat.

    Attributes
    ----------
    points_px : ndarray, shape (point, 2)
        Its course (x, y); the last point is its end: the one farther inside the picture.
    width_px : float
        As the camera and the heat's spread show it.
    mask : ndarray of bool, shape (row, column)
    clarity : float
        Of its ridge, in standard deviations of the picture's.
    """

    points_px: Floats
    width_px: float
    mask: Mask
    clarity: float

    @property
    def length_px(self) -> float:
        """Return its length."""
        return float(np.hypot(*np.diff(self.points_px, axis=0).T).sum())

    def away_px(self, x_px: float, y_px: float) -> float:
        """Return how far a place is from the path's line, px."""
        line = self.points_px.astype(np.float32).reshape(-1, 1, 2)
        back = np.concatenate([line, line[::-1]])  # closed by going back the same way
        return abs(float(cv2.pointPolygonTest(back, (x_px, y_px), True)))


def ridges(rise_k: NDArray[np.floating]) -> Floats:
    """Return how far each pixel is above both its sides, at the best of four slants, K."""
    smooth = cv2.GaussianBlur(np.asarray(rise_k, np.float32), (0, 0), BLUR_PX)
    padded = np.pad(smooth, ASIDE_PX, mode="edge")
    rows, columns = smooth.shape
    best = np.full(smooth.shape, -np.inf, np.float32)
    slant = round(ASIDE_PX / np.sqrt(2.0))
    for dy, dx in ((0, ASIDE_PX), (ASIDE_PX, 0), (slant, slant), (slant, -slant)):
        sides = [
            padded[ASIDE_PX + way * dy :, ASIDE_PX + way * dx :][:rows, :columns] for way in (-1, 1)
        ]
        np.maximum(best, smooth - np.maximum(*sides), out=best)
    return best.astype(np.float64)


def find_paths(rise_k: NDArray[np.floating], outlines: Sequence[Floats] = ()) -> list[Path]:
    """Return the paths in a picture's rise, the longest first.

    A path is told only where nothing else in the picture stands out much more: a warm part's halo
    on bodies around it makes short lines too.

    Parameters
    ----------
    rise_k : ndarray, shape (row, column)
        K; from before the power to the end.
    outlines : sequence of ndarray, shape (corner, 2)
        Of the parts: what bodies show is no line, the board under them is told by what is around.
    """
    whole = ridges(rise_k)
    ridge = ridges(_bared(rise_k, outlines))
    noise = float(np.median(np.abs(ridge - np.median(ridge)))) * SIGMA_OF_MAD
    least = max(SIGMAS * noise, SHARE * float(np.percentile(whole, 99.98)))
    found = []
    patches, count = label(ridge > least, structure=np.ones((3, 3)))
    for number in range(1, count + 1):
        path = _path_of(patches == number, ridge, noise)
        if path is not None:
            found.append(path)
    return sorted(found, key=lambda path: -path.length_px)


def _bared(rise_k: NDArray[np.floating], outlines: Sequence[Floats]) -> NDArray[np.float32]:
    """Return the rise with what is under parts filled from around them."""
    rise = np.asarray(rise_k, np.float32)
    seen: NDArray[Any] = np.ones(rise.shape, np.float32)
    for outline in outlines:
        corners = np.round((outline - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(seen, [corners], 0.0, shift=4)
    seen = cv2.erode(seen, np.ones((3, 3)))
    filled: NDArray[np.float32] = rise * seen
    weight = seen.copy()
    for sigma in FILLS_PX:  # near first; what is still bare from farther away
        near = np.asarray(cv2.GaussianBlur(filled, (0, 0), sigma))
        share = np.asarray(cv2.GaussianBlur(weight, (0, 0), sigma))
        able = (weight == 0) & (share > 0.02)
        filled[able] = near[able] / share[able]
        weight[able] = 1.0
    return np.asarray(np.where(weight > 0, filled, rise), np.float32)


def _path_of(mask: Mask, ridge: Floats, noise: float) -> Path | None:
    """Return the path through a patch, None where it is too short for its width."""
    y, x = np.nonzero(mask)
    if len(x) < LEAST_PX:
        return None
    way = _longest_way(mask, ridge)
    line = np.stack([x[way] + 0.5, y[way] + 0.5], axis=1)
    line = gaussian_filter1d(line, 2.0, axis=0, mode="nearest")
    length_px = float(np.hypot(*np.diff(line, axis=0).T).sum())
    width_px = len(x) / max(length_px, 1.0)
    if length_px < LEAST_PX or length_px < LONGER * width_px:
        return None
    bent = cv2.approxPolyDP(line.astype(np.float32).reshape(-1, 1, 2), BEND_PX, False)
    points = _unhooked(_unhooked(bent.reshape(-1, 2).astype(np.float64))[::-1])
    if _inside(points[0], mask.shape) > _inside(points[-1], mask.shape):
        points = points[::-1]
    return Path(points, width_px, mask, float(np.median(ridge[mask])) / max(noise, 1e-12))


def _unhooked(points: Floats) -> Floats:
    """Return a course without a short hook at its end: heat runs on along a board's edge."""
    while len(points) > 2:
        before, last = points[-2] - points[-3], points[-1] - points[-2]
        sizes = np.hypot(*before), np.hypot(*last)
        if sizes[1] >= HOOK_PX or before @ last > HOOK_COSINE * sizes[0] * sizes[1]:
            break
        points = points[:-1]
    return points


def _inside(point: Floats, shape: tuple[int, ...]) -> float:
    rows, columns = shape
    x, y = point
    return float(min(x, y, columns - x, rows - y))


def _longest_way(mask: Mask, ridge: Floats) -> NDArray[np.intp]:
    """Return the pixels, in the mask's order, of the longest of all shortest ways through it.

    Steps cost less where the ridge is higher, so that the way keeps to the middle.
    """
    y, x = np.nonzero(mask)
    number = np.full(mask.shape, -1)
    number[y, x] = np.arange(len(x))
    strength = np.sqrt(np.maximum(ridge[y, x], 1e-12) / ridge[y, x].max())
    rows, columns, costs = [], [], []
    padded = np.pad(number, 1, constant_values=-1)
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = padded[y + 1 + dy, x + 1 + dx]
        there = other >= 0
        here = np.flatnonzero(there)
        rows.append(here)
        columns.append(other[there])
        costs.append(np.hypot(dy, dx) * 2.0 / (strength[here] + strength[other[there]]))
    from scipy.sparse import coo_matrix  # late: few pictures have a track, and it takes a while
    from scipy.sparse.csgraph import dijkstra

    graph = coo_matrix(
        (np.concatenate(costs), (np.concatenate(rows), np.concatenate(columns))),
        shape=(len(x), len(x)),
    ).tocsr()
    first = int(np.argmax(_far(dijkstra(graph, directed=False, indices=0))))
    away, before = dijkstra(graph, directed=False, indices=first, return_predecessors=True)
    at, way = int(np.argmax(_far(away))), []
    while at >= 0:
        way.append(at)
        at = int(before[at])
    return np.array(way)


def _far(distances: Floats) -> Floats:
    return np.where(np.isfinite(distances), distances, -1.0)
