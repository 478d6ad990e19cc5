"""Following a board picture by picture while the camera moves: live, and at any place of a film.

`stabilise` looks at a whole recording at once. Here pictures come one at a time, so that what it
finds in two passes (the sensor's fixed pattern, a reference without noise) is gathered on the way
from pictures that were seen from different places.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.stabilise import fixed_pattern, stripes
from thermview.analysis.tracker import LOST, Tracker, banded, warped

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

SURE = 0.8
"""Below this the whole picture is asked too where it fits best: a jump may be half explained."""
APART_PX = 1.5
"""Two pictures so far apart tell the board from the sensor."""
KEPT = 16
FEWEST_KEPT = 6
EVERY = 20
"""So many pictures lie between two looks at the fixed pattern."""


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where the board is in one picture.

    Attributes
    ----------
    matrix : ndarray, shape (3, 3)
        From the first picture's pixels to this one's (pixel centres at integers + 0.5).
    agreement : float
        Correlation with the reference where it has slopes.
    """

    matrix: Floats
    agreement: float

    @property
    def lost(self) -> bool:
        """Tell whether the board was not found."""
        return not self.agreement > LOST


class Follower:
    """Follows the board that the first picture shows.

    Parameters
    ----------
    first : ndarray of float32, shape (row, column)
        Apparent temperature, K; from any zero.
    """

    def __init__(self, first: Picture) -> None:
        self._first = _level(first)
        self._fixed = stripes(self._first)
        self._fixed_band = banded(self._fixed)
        self._reference = banded(self._first) - self._fixed_band
        self._window = np.asarray(
            cv2.createHanningWindow((first.shape[1], first.shape[0]), cv2.CV_32F), np.float32
        )
        self._tracker = Tracker(self._reference)
        self._kept: list[tuple[Picture, Floats]] = [(self._first, np.eye(3))]
        self._since = 0
        self._fresh = False

    def follow(self, picture: Picture, near: Floats | None = None) -> Pose:
        """Return where the board is; `near` is where it was in a picture close in time."""
        level = _level(picture)
        band = banded(level) - self._fixed_band
        start = np.eye(3) if near is None else near
        pose = Pose(*self._tracker.follow(band, start))
        if not pose.agreement > SURE:
            again = Pose(*self._tracker.follow(band, self._shifted(band)))
            pose = max(pose, again, key=lambda one: one.agreement)
        if not pose.lost:
            self._keep(level, pose.matrix)
        return pose

    def _shifted(self, band: Picture) -> Floats:
        (dx, dy), _ = cv2.phaseCorrelate(self._reference, band, self._window)
        return np.array([[1.0, 0.0, dx], [0.0, 1.0, dy], [0.0, 0.0, 1.0]])

    def _keep(self, level: Picture, matrix: Floats) -> None:
        self._since += 1
        middle = np.array([level.shape[1] / 2, level.shape[0] / 2, 1.0])
        here = matrix @ middle
        apart = [float(np.hypot(*(here - other @ middle)[:2])) for _, other in self._kept]
        if min(apart) >= APART_PX:
            self._kept.append((level, matrix))
            if len(self._kept) > KEPT:
                del self._kept[1]  # the first one holds the axes
            self._fresh = True
        if self._fresh and self._since >= EVERY and len(self._kept) >= FEWEST_KEPT:
            self._since, self._fresh = 0, False
            self._learn()

    def _learn(self) -> None:
        """Find what stays in the camera's axes, and a reference with less noise."""
        pictures = [picture for picture, _ in self._kept]
        ways = [matrix for _, matrix in self._kept]
        self._fixed = fixed_pattern(pictures, ways, self._fixed, rounds=1)
        self._fixed_band = banded(self._fixed)
        clean = [warped(banded(p) - self._fixed_band, m) for p, m in self._kept]
        self._reference = np.mean(clean, axis=0).astype(np.float32)
        self._tracker = Tracker(self._reference)


def _level(picture: Picture) -> Picture:
    """Return a picture around its own median; pixels without a value get that."""
    known = np.isfinite(picture)
    level = picture - np.float32(np.median(picture if known.all() else picture[known]))
    level[~known] = 0.0
    return np.asarray(level, np.float32)


def shift_px(before: Picture, after: Picture) -> float:
    """Return how far the board's middle went between two pictures close in time, px."""
    pose = Follower(before).follow(after)
    middle = np.array([before.shape[1] / 2, before.shape[0] / 2, 1.0])
    return 0.0 if pose.lost else float(np.hypot(*(pose.matrix @ middle - middle)[:2]))
