"""Heat along a path: a track that glows, with its course and its end.

A line that heats is a ridge of the rise: warmer than the board on both its sides, all along. The
board's edge and the rims of cold bodies are warmer than one side only. Bodies hide what goes on
under them: a line that leaves a body where it would come out again is one. Chains of such ridges
that are many times longer than wide are paths.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import SIGMA_OF_MAD
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Steps = list[tuple[int, float]]

BLUR_PX = 1.2
ALONG_PX = (-8.0, -5.0, -2.5, 0.0, 2.5, 5.0, 8.0)
SLANTS = 12
ASIDE_PX = 4.0
SIGMAS, END_SIGMAS, FAINT_SIGMAS = 8.0, 7.0, 4.0
"""What a path has somewhere, at its ends, and all along where it is seen."""
SHARE, END_SHARE, FAINT_SHARE = 0.25, 0.16, 0.06
"""Of what stands out most in the picture: what is weaker is halo, or another thing's."""
LONGER = 7.5
"""A path is so many times longer than wide."""
LEAST_PX = 25.0
SURE = 450.0
"""Standard deviations times length, px: tracks had 540 and more, chance 420 at most (trials)."""
LEAST_SHARE = 0.01  # a gap costs ten times the ridge's height
HIDDEN_COST, MOST_HIDDEN = 3.0, 0.5
"""The way under bodies is taken straight, and is at most such a share of the whole."""
GAP_PX = 2
"""So far apart, twice, may two pieces lie."""
FILLS_PX = (1.5, 3.0, 6.0)
AHEAD_PX, FALLEN = 12, 0.6
BEND_PX = 1.2
HOOK_PX, HOOK_COSINE = 10.0, 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """A chain of heat.

    Attributes
    ----------
    points_px : ndarray, shape (point, 2)
        Its course (x, y); the last point is its end: the one farther inside the board.
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
    """Return how far each pixel is above both its sides, at the best of some slants, K.

    The median of some places along the slant: one bright spot makes no line, and a line's end is
    where it ends.
    """
    smooth = cv2.GaussianBlur(np.asarray(rise_k, np.float32), (0, 0), BLUR_PX)
    rows, columns = smooth.shape
    reach = round(max(ALONG_PX)) + round(ASIDE_PX)
    best = np.full(smooth.shape, -np.inf, np.float32)
    for slant in np.arange(SLANTS) * np.pi / SLANTS:
        still_wanted()
        along = np.array([np.cos(slant), np.sin(slant)])
        dx, dy = np.round(ASIDE_PX * along[::-1] * [-1, 1]).astype(int)
        padded = np.pad(smooth, reach + 1, mode="edge")
        ahead, behind = np.roll(padded, (dy, dx), (0, 1)), np.roll(padded, (-dy, -dx), (0, 1))
        above = padded - np.maximum(ahead, behind)
        places = np.round(np.outer(ALONG_PX, along)).astype(int) + reach + 1
        some = [above[y : y + rows, x : x + columns] for x, y in places]
        np.maximum(best, _median_of_seven(some), out=best)
    return best.astype(np.float64)


_COMPARED = "05 03 16 24 01 35 26 23 36 45 14 13 34"
"""Of which two places the lesser goes first, step by step: the median is in the fourth then."""


def _median_of_seven(pictures: Iterable[NDArray[Any]]) -> NDArray[Any]:
    """Return the median of seven pictures, eight times as fast as by sorting each pixel's."""
    row = list(pictures)
    for low, high in (map(int, pair) for pair in _COMPARED.split()):
        row[low], row[high] = np.minimum(row[low], row[high]), np.maximum(row[low], row[high])
    return row[3]


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
    hidden = _hidden(rise_k.shape, outlines)
    ridge = ridges(_bared(rise_k, hidden))
    noise = float(np.median(np.abs(ridge - np.median(ridge)))) * SIGMA_OF_MAD
    most = float(np.percentile(ridges(rise_k), 99.98))
    strong = ridge > max(SIGMAS * noise, SHARE * most)
    clear = ridge > max(END_SIGMAS * noise, END_SHARE * most)
    faint = ridge > max(FAINT_SIGMAS * noise, FAINT_SHARE * most)
    found = []
    gapless = cv2.morphologyEx((faint | hidden).astype(np.uint8), cv2.MORPH_CLOSE, _disc(GAP_PX))
    _, patches = cv2.connectedComponents(gapless, connectivity=8)
    for number in np.unique(patches[strong & ~hidden]):
        patch = patches == number
        course = _course_of(patch, ridge, hidden=hidden, ends=clear)
        if course is not None:
            seen, (points, width_px) = patch & ~hidden, course
            first, last = (_inside(points[at], outlines, ridge.shape) for at in (0, -1))
            points = points[::-1] if first > last else points
            clarity = float(np.median(ridge[seen & faint])) / max(noise, 1e-12)
            path = Path(points, width_px, seen, clarity)
            if clarity * path.length_px > SURE:
                found.append(path)
    return sorted(found, key=lambda path: -path.length_px)


def _disc(radius_px: int) -> NDArray[Any]:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius_px + 1, 2 * radius_px + 1))


def _hidden(shape: tuple[int, ...], outlines: Sequence[Floats]) -> Mask:
    """Return where bodies, and their rims, hide the board."""
    seen: NDArray[Any] = np.ones(shape, np.uint8)
    for outline in outlines:
        corners = np.round((outline - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(seen, [corners], 0, shift=4)
    return np.asarray(cv2.erode(seen, np.ones((3, 3))) == 0)


def _bared(rise_k: NDArray[np.floating], hidden: Mask) -> NDArray[np.float32]:
    """Return the rise with what is under parts filled from around them."""
    rise = np.asarray(rise_k, np.float32)
    weight = (~hidden).astype(np.float32)
    filled: NDArray[np.float32] = rise * weight
    for sigma in FILLS_PX:  # near first; what is still bare from farther away
        near = np.asarray(cv2.GaussianBlur(filled, (0, 0), sigma))
        share = np.asarray(cv2.GaussianBlur(weight, (0, 0), sigma))
        able = (weight == 0) & (share > 0.02)
        filled[able] = near[able] / share[able]
        weight[able] = 1.0
    return np.asarray(np.where(weight > 0, filled, rise), np.float32)


def _course_of(
    mask: Mask, ridge: Floats, *, hidden: Mask, ends: Mask
) -> tuple[Floats, float] | None:
    """Return a patch's course and width, px; None where it is too short for its width."""
    y, x = np.nonzero(mask)
    under = hidden[mask]
    way = _longest_way(mask, ridge, hidden=hidden, ends=ends[mask] & ~under)
    way = _ended(_ended(way, ridge[mask])[::-1], ridge[mask])
    if len(way) < LEAST_PX or float(under[way].mean()) > MOST_HIDDEN:
        return None
    line = np.stack([x[way] + 0.5, y[way] + 0.5], axis=1)
    edges = cv2.BORDER_REPLICATE
    line = cv2.GaussianBlur(line, (1, 17), 2.0, borderType=edges)
    length_px = float(np.hypot(*np.diff(line, axis=0).T).sum())
    strength = np.where(under, 0.0, np.maximum(ridge[mask], 0.0)) ** 2
    width_px = float(strength.sum() / strength[way].sum())  # of a bar as high as the ridge
    if length_px < LEAST_PX or length_px < LONGER * width_px:
        return None
    bent = cv2.approxPolyDP(line.astype(np.float32).reshape(-1, 1, 2), BEND_PX, False)
    return _unhooked(_unhooked(bent.reshape(-1, 2).astype(np.float64))[::-1]), width_px


def _ended(way: NDArray[np.intp], ridge: Floats) -> NDArray[np.intp]:
    """Return a way from where its ridge is half as high as farther on: heat spreads past an end."""
    height = ridge[way]
    ahead = [float(height[at : at + AHEAD_PX].max()) for at in range(len(way))]
    return way[int(np.argmax(height > FALLEN * np.array(ahead))) :]


def _unhooked(points: Floats) -> Floats:
    """Return a course without a short hook at its end: heat runs on along a board's edge."""
    while len(points) > 2:
        before, last = points[-2] - points[-3], points[-1] - points[-2]
        sizes = np.hypot(*before), np.hypot(*last)
        if sizes[1] >= HOOK_PX or before @ last > HOOK_COSINE * sizes[0] * sizes[1]:
            break
        points = points[:-1]
    return points


def _inside(point: Floats, outlines: Sequence[Floats], shape: tuple[int, ...]) -> float:
    """Return how far a place is inside what all parts span, or else the picture, px."""
    rows, columns = shape
    corners = np.array([(0, 0), (columns, 0), (columns, rows), (0, rows)])
    around = np.concatenate(outlines) if len(outlines) else corners
    hull = cv2.convexHull(around.astype(np.float32))
    return float(cv2.pointPolygonTest(hull, (float(point[0]), float(point[1])), True))


def _longest_way(mask: Mask, ridge: Floats, *, hidden: Mask, ends: Mask) -> NDArray[np.intp]:
    """Return the pixels, in the mask's order, of the longest of all shortest ways through it.

    Steps cost less where the ridge is higher, so that the way keeps to the middle.

    Parameters
    ----------
    mask, ridge, hidden : ndarray, shape (row, column)
    ends : ndarray of bool, shape (pixel of the mask,)
        Where it may begin and end.
    """
    steps = _steps_through(mask, ridge, hidden)
    first = _farthest(_ways_from(int(np.argmax(ends)), steps)[0], ends)
    away, before = _ways_from(first, steps)
    at, way = _farthest(away, ends), []
    while at >= 0:
        way.append(at)
        at = before[at]
    return np.array(way)


def _ways_from(first: int, steps: Sequence[Steps]) -> tuple[Floats, list[int]]:
    """Return each pixel's distance and the pixel before it, -1 at the first (Dijkstra 1959)."""
    away, before = [np.inf] * len(steps), [-1] * len(steps)
    away[first] = 0.0
    edge = [(0.0, first)]
    while edge:
        far, here = heappop(edge)
        if far > away[here]:
            continue
        for there, cost in steps[here]:
            if far + cost < away[there]:
                away[there], before[there] = far + cost, here
                heappush(edge, (far + cost, there))
    return np.array(away), before


def _farthest(distances: Floats, ends: Mask) -> int:
    return int(np.argmax(np.where(ends & np.isfinite(distances), distances, -1.0)))


def _steps_through(mask: Mask, ridge: Floats, hidden: Mask) -> list[Steps]:
    """Return each pixel's neighbours in a mask, and what the step there costs."""
    y, x = np.nonzero(mask)
    number = np.full(mask.shape, -1)
    number[y, x] = np.arange(len(x))
    highest = float(ridge[mask & ~hidden].max())
    price = 1.0 / np.sqrt(np.clip(ridge[y, x] / highest, LEAST_SHARE, 1.0))
    price[hidden[y, x]] = HIDDEN_COST
    steps: list[Steps] = [[] for _ in x]
    padded = np.pad(number, 1, constant_values=-1)
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = padded[y + 1 + dy, x + 1 + dx]
        here = np.flatnonzero(other >= 0)
        there = other[here]
        costs = np.hypot(dy, dx) * (price[here] + price[there]) / 2.0
        for one, two, cost in zip(here.tolist(), there.tolist(), costs.tolist(), strict=True):
            steps[one].append((two, cost))
            steps[two].append((one, cost))
    return steps
