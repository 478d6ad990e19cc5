"""Holding a hand-held camera's picture still: each frame's view against a reference.

Even an unpowered board shows a pattern: parts of differing emissivity against the room, the board's
edge; frames are laid on it (`tracker`). The sensor's fixed pattern would pull the result: it does
not move with the board, and is therefore found as what stays in the camera's axes and taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.prepare import (
    Block,
    Progress,
    Shots,
    Take,
    gather,
    group_of,
    picture_of,
    take_of,
)
from thermview.analysis.tracker import COARSE_PX, LOST, Tracker, banded, warped, within
from thermview.analysis.trend import SIGMA_OF_MAD, upper_median
from thermview.frames import Footage

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

FIRST_POINTS = 3000
"""Where pictures are compared the first time, when much is still to be learned."""
WIDE_PX = (3.0, 12.0)
"""Where the sensor's pattern is stronger than the board's, edges and warm spots show so wide."""
DISTURBED = 0.06
"""Pictures that agree so much less than the best show something else too, such as a hand mirrored
all over; what they seem to say of the motion is not believed at first."""
PROBES = 24
STILL_PX = 0.2
"""Motion below this is left alone: moving a picture costs sharpness."""
TREMOR_FRAMES, TREMOR_RUNS = 5, 6
LEAST_TREMOR_PX = 0.15
"""Within those frames hands went 0.7 px and more, boards that warm seemed to go 0.01 (trials)."""
LEAST_FOLLOWED_PX = 40
"""Smaller pictures are left alone."""
MOST_LOST = 0.5
"""Where more pictures are lost there is nothing to hold on to."""
_COARSE_SIZE = 33  # four standard deviations to each side
_EDGE = 4.0
SURE = 0.95
"""Pictures that agree so well have not been held by the sensor's own pattern (trials)."""
SHAKEN_PX, AGREED = 1.2, 0.7
"""With the mean taken off, shaken boards went further and agreed better; warming ones seemed to go
0.7 px at most (trials)."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Where the board went.

    Attributes
    ----------
    matrices : ndarray, shape (frame, 3, 3)
        From the first picture's pixels to each picture's (pixel centres at integers + 0.5).
    agreement : ndarray, shape (frame,)
        Correlation of each picture with the reference where it has slopes.
    lost : ndarray of bool, shape (frame,)
        No lock.
    """

    matrices: Floats
    agreement: Floats
    lost: NDArray[np.bool_]

    def rest(self) -> Floats:
        """Return the way from the usual pose's pixels to the first picture's, shape (3, 3)."""
        good = self.matrices[~self.lost]
        usual = np.median(good, axis=0) if len(good) else np.eye(3)
        return np.asarray(np.linalg.inv(usual))

    def shifts_px(self, shape: tuple[int, int]) -> Floats:
        """Return how far the middle and a corner went, (dx, dy) each, shape (frame, 4)."""
        rows, columns = shape
        places = np.array([[columns / 2, rows / 2, 1.0], [columns * 0.9, rows * 0.9, 1.0]])
        moved = places @ self.matrices.transpose(0, 2, 1)
        apart = moved[..., :2] / moved[..., 2:] - places[:, :2]
        return np.asarray(apart.reshape(len(apart), 4))


def probe(pictures: Block) -> tuple[float, float]:
    """Return how far the picture goes in a few frames of all, px, and how well these agree.

    The distance is the middle's or a corner's, three quarters of the frames stay below it.
    """
    motion = _followed(pictures, PROBES)
    away = np.abs(motion.shifts_px(pictures.shape[1:]))
    return float(np.percentile(away.max(axis=1), 75)), float(np.median(motion.agreement))


def tremor(runs: Sequence[Block], fixed: Picture | None = None) -> tuple[float, float]:
    """Return how far the middle usually goes within a few frames, px, and how well these agree.

    Parameters
    ----------
    runs : sequence of ndarrays of float32, shape (frame, row, column)
        A few frames in a row each.
    fixed : ndarray of float32, shape (row, column), optional
        What is taken off before, K.
    """
    went, agreed = [], []
    for pictures in runs:
        motion = _followed(pictures, len(pictures), fixed)
        went.append(float(np.hypot(*motion.shifts_px(pictures.shape[1:])[-1, :2])))
        agreed.append(float(np.median(motion.agreement)))
    return float(np.median(went)), float(np.median(agreed))


def _starts(count: int) -> tuple[list[int], int]:
    """Return where runs of frames in a row begin, of so many frames, and their length."""
    length = min(TREMOR_FRAMES + 1, count)
    return [int(at) for at in np.linspace(0, count - length, TREMOR_RUNS)], length


def _runs(pictures: Block) -> list[Block]:
    starts, length = _starts(len(pictures))
    return [pictures[at : at + length] for at in starts]


def trembles(footage: Footage) -> bool:
    """Tell whether a hand holds the camera, from a few frames in a row here and there.

    Raises
    ------
    InputError
        A frame cannot be read.
    """
    starts, length = _starts(len(footage) - footage.first)
    runs = []
    for at in starts:
        frames = [footage.frame(footage.first + at + k) for k in range(length)]
        if length > 1 and not any(frame.held for frame in frames):
            runs.append(np.stack([picture_of(frame) for frame in frames]))
    return bool(runs) and tremor(runs)[0] > LEAST_TREMOR_PX


def _followed(pictures: Block, count: int, fixed: Picture | None = None) -> Motion:
    """Return the motion of `count` evenly picked pictures against the first."""
    picked = np.linspace(0, len(pictures) - 1, count).astype(int)
    few = np.stack([banded(pictures[i] if fixed is None else pictures[i] - fixed) for i in picked])
    return _track(Tracker(few[0]), few)


def _track(tracker: Tracker, banded_pictures: Block, starts: Floats | None = None) -> Motion:
    results = [
        tracker.follow(picture, None if starts is None else starts[i])
        for i, picture in enumerate(banded_pictures)
    ]
    matrices = np.array([matrix for matrix, _ in results])
    agreement = np.array([value for _, value in results])
    return Motion(matrices, agreement, agreement < LOST)


def stripes(mean: Picture) -> Picture:
    """Return the columns' and rows' own offsets of a sensor, from a mean picture.

    The median along a column lets the scene go by; what is much larger than the other columns'
    is an edge of the board that happens to lie along it.
    """
    found = np.zeros_like(mean)
    for axis in (0, 1):
        size = (_COARSE_SIZE, 1) if axis == 0 else (1, _COARSE_SIZE)
        narrow = mean - cv2.GaussianBlur(mean, size, COARSE_PX, borderType=cv2.BORDER_REFLECT)
        line = np.median(narrow, axis=axis)
        usual = float(np.median(np.abs(line))) * SIGMA_OF_MAD
        line = np.where(np.abs(line) < _EDGE * usual, line, 0.0)
        found += line[None, :] if axis == 0 else line[:, None]
    return found


def find_motion(
    pictures: Block, fixed: Picture | None = None, *, wide: bool = False
) -> tuple[Motion, Picture]:
    """Find how the board moves through pictures, and the sensor's fixed pattern.

    Parameters
    ----------
    pictures : ndarray of float32, shape (frame, row, column)
        K; a common offset does not matter.
    fixed : ndarray of float32, shape (row, column), optional
        A first guess at the sensor's own pattern, K; unless given, its rows and columns.
    wide : bool
        Go by what is `WIDE_PX` wide first, until the sensor's own pattern is known.

    Returns
    -------
    Motion
        Relative to the first picture.
    fixed : ndarray of float32, shape (row, column)
        The part of the sensor's own pattern that the motion makes visible, K.
    """
    every = max(1, len(pictures) // 48)
    few = pictures[::every]
    few = few - np.median(few[:, ::3, ::3].reshape(len(few), -1), axis=1)[:, None, None]
    if fixed is None:
        fixed = stripes(few.mean(axis=0))
    clean = np.stack([banded(p) for p in pictures])
    if wide:
        first = np.stack([banded(p - fixed, WIDE_PX) for p in pictures])
    else:
        first = clean - banded(fixed)
    motion = _track(Tracker(first[:3].mean(axis=0), FIRST_POINTS), first)
    good = _undisturbed(motion.agreement)
    some = good[::every]
    fixed = fixed_pattern(few[some], motion.matrices[::every][some], fixed)
    clean -= banded(fixed)
    seen = np.flatnonzero(good)[::every]
    reference = np.mean([warped(clean[i], motion.matrices[i]) for i in seen], axis=0)
    tracker = Tracker(reference)
    starts = [motion.matrices] if good.all() else [_bridged(motion.matrices, good), motion.matrices]
    motion, fixed = _liker(pictures, *((_track(tracker, clean, start), fixed) for start in starts))
    origin = np.linalg.inv(motion.matrices[0])
    return Motion(motion.matrices @ origin, motion.agreement, motion.lost), fixed


def _undisturbed(agreement: Floats) -> NDArray[np.bool_]:
    """Return which pictures show the board alone; all, where fewer than half agree well."""
    good = agreement > np.percentile(agreement, 90) - DISTURBED
    return good if good.mean() > 0.5 else np.ones_like(good)


def _bridged(matrices: Floats, good: NDArray[np.bool_]) -> Floats:
    """Return ways, shape (frame, 3, 3), with those that are not good taken from those around."""
    frames = np.arange(len(matrices))
    entries = matrices.reshape(len(matrices), -1).T
    bridged = [np.interp(frames, frames[good], entry[good]) for entry in entries]
    return np.stack(bridged, axis=1).reshape(matrices.shape)


def fixed_pattern(
    pictures: Sequence[Picture] | Block,
    matrices: Sequence[Floats] | Floats,
    fixed: Picture,
    rounds: int = 2,
) -> Picture:
    """Return what stays in the camera's axes while the board moves under it."""
    back = [np.linalg.inv(matrix) for matrix in matrices]
    for _ in range(rounds):
        board = np.mean(
            [warped(p - fixed, m) for p, m in zip(pictures, matrices, strict=True)], axis=0
        )
        apart = [p - warped(board, m) for p, m in zip(pictures, back, strict=True)]
        left = upper_median(np.asarray(apart, np.float32), axis=0)
        fixed = left - cv2.GaussianBlur(left, (0, 0), COARSE_PX)
    return fixed


def hold_still(pictures: Block) -> tuple[Block, Motion | None]:
    """Return pictures in the first one's axes, and the motion; None where there was none.

    A board that warms all over changes its pattern, which looks like a slow slide; a hand that
    holds a camera never keeps from trembling. Where the board shows little pattern of its own, the
    sensor's holds the pictures where they are; the mean of many has that one sharp and the
    board's smeared, so that a shaken board is seen to move with the mean taken off. In very small
    pictures what warms is so much of what there is that it alone would be followed.
    """
    if min(pictures.shape[1:]) < LEAST_FOLLOWED_PX:
        return pictures, None
    went_px, agreement = probe(pictures)
    found = None
    if went_px > STILL_PX and tremor(_runs(pictures))[0] > LEAST_TREMOR_PX:
        found = find_motion(pictures)
        agreement = float(np.median(found[0].agreement))
    if agreement < SURE:
        usual = upper_median(pictures[:: max(1, len(pictures) // 48)], axis=0)
        shaken_px, agreed = tremor(_runs(pictures), usual)
        if shaken_px > SHAKEN_PX and agreed > AGREED:
            other = find_motion(pictures, usual - np.median(usual))
            found = other if found is None else _liker(pictures, found, other)
        if found is not None and float(np.median(found[0].agreement)) < SURE:
            found = _liker(pictures, found, find_motion(pictures, wide=True))
    if found is None or found[0].lost.mean() > MOST_LOST:
        return pictures, None
    motion, fixed = found
    still = np.stack([warped(p - fixed, m) for p, m in zip(pictures, motion.matrices, strict=True)])
    return still, motion


def _liker(pictures: Block, *found: tuple[Motion, Picture]) -> tuple[Motion, Picture]:
    """Return the motion, and the sensor's pattern, by which the pictures are most alike."""
    if len(found) == 1:
        return found[0]
    return min(found, key=lambda one: _unlike(pictures, *one))


def _unlike(pictures: Block, motion: Motion, fixed: Picture) -> float:
    """Return the usual variance, K², that board and sensor at their places leave in pictures."""
    every = max(1, len(pictures) // 24)
    still = np.stack(
        [
            within(banded(warped(p - fixed, m)))
            for p, m in zip(pictures[::every], motion.matrices[::every], strict=True)
        ]
    )
    return float(np.median(np.var(still, axis=0)))


def steady(shots: Shots) -> tuple[Take, Motion | None]:
    """Hold the pictures still where the camera moved; pictures without lock are left out."""
    still, motion = hold_still(shots.kelvin)
    if motion is None:
        return take_of(shots), None
    good = ~motion.lost
    still = still if good.all() else still[good]
    kept = Shots(still, shots.times_s[good], shots.segment[good])
    return take_of(kept, motion.shifts_px(still.shape[1:])[good]), motion


def steadied(footage: Footage, progress: Progress | None = None) -> tuple[Take, Motion | None]:
    """Read footage and hold its pictures still; see `steady`.

    Raises
    ------
    InputError
        The footage cannot be used.
    """
    average = group_of(footage) == 1 or not trembles(footage)
    return steady(gather(footage, progress, average=average))
