"""Where the board is in each frame of a session whose camera moves, and the picture held still."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.following import Follower, Pose, shift_px
from thermview.analysis.prepare import picture_of
from thermview.analysis.stabilise import LEAST_TREMOR_PX
from thermview.analysis.tracker import opencv_way
from thermview.errors import ThermviewError
from thermview.frames import Footage, FootageOver, Frame
from thermview.radiometry.bad_pixels import BadPixelRepair

Floats = NDArray[np.float64]

NEAR_FRAMES = 8
"""From a pose so many frames away one is found at once; farther ones are reached step by step."""
TREMBLE_S, TREMBLES = 0.4, 7
LATELY_S = 8.0
_UNKNOWN, _FOUND, _LOST, _HELD = range(4)


class Poses:
    """The board's poses, by frame number; found in any order, each from the nearest known one.

    Any thread may ask.

    Parameters
    ----------
    footage : Footage
        Stays open and the caller's.
    anchor : int
        Number of the frame in whose pixels regions and parts are.

    Raises
    ------
    InputError, IndexError
        That frame cannot be had.
    """

    def __init__(self, footage: Footage, anchor: int) -> None:
        self.anchor = anchor
        self._footage = footage
        self._follower = Follower(picture_of(footage.frame(anchor)))
        self._matrices: Floats = np.zeros((anchor + 1024, 3, 3))
        self._states: NDArray[np.uint8] = np.zeros(anchor + 1024, np.uint8)
        self._lock = threading.Lock()
        self._note(anchor, _FOUND, np.eye(3))

    def known(self, number: int) -> bool:
        """Tell whether a frame was looked at."""
        return number < len(self._states) and self._states[number] != _UNKNOWN

    def lost(self, number: int) -> bool:
        """Tell whether the board was not found in a frame."""
        return number < len(self._states) and self._states[number] == _LOST

    def matrix(self, number: int) -> Floats | None:
        """Return the way from the anchor's pixels to a frame's; None where unknown or lost."""
        if not self.known(number) or self._states[number] == _LOST:
            return None
        return np.array(self._matrices[number])

    def nearest(self, number: int) -> tuple[int, Floats]:
        """Return the nearest frame in which the board was found, and its matrix."""
        good = np.flatnonzero(self._states == _FOUND)
        at = int(good[np.argmin(np.abs(good - number))])
        return at, np.array(self._matrices[at])

    def take(self, number: int, frame: Frame) -> Floats | None:
        """Find the board in a frame; return its matrix, None where it is lost.

        A frame far from all known ones is reached through those between.
        """
        known, _ = self.nearest(number)
        step = NEAR_FRAMES if number > known else -NEAR_FRAMES
        for between in range(known + step, number, step):
            with suppress(ThermviewError, IndexError):  # let go of meanwhile, or unreadable
                self._find(between, self._footage.frame(between))
        self._find(number, frame)
        return self.matrix(number)

    def _find(self, number: int, frame: Frame) -> None:
        with self._lock:
            if not self.known(number):
                _, near = self.nearest(number)
                if frame.held:
                    self._note(number, _HELD, near)
                else:
                    pose: Pose = self._follower.follow(picture_of(frame), near)
                    self._note(number, _LOST if pose.lost else _FOUND, pose.matrix)

    def outward(self, first: int, stop: int) -> Iterator[int]:
        """Give the frames that are not known, each beside one that is: on from the anchor, back."""
        for numbers in (range(self.anchor, stop), range(min(self.anchor, stop) - 1, first - 1, -1)):
            yield from (number for number in numbers if not self.known(number))

    def _note(self, number: int, state: int, matrix: Floats) -> None:
        if number >= len(self._states):
            more = max(len(self._states), number + 1 - len(self._states))
            self._states = np.concatenate([self._states, np.zeros(more, np.uint8)])
            self._matrices = np.concatenate([self._matrices, np.zeros((more, 3, 3))])
        self._matrices[number] = matrix
        self._states[number] = state


def held_still(frame: Frame, matrix: Floats) -> Frame:
    """Return a frame in the anchor's pixels; what lay outside of the picture is NaN.

    Parameters
    ----------
    frame : Frame
    matrix : ndarray, shape (3, 3)
        From the anchor's pixels to the frame's.
    """
    counts = cv2.warpPerspective(
        frame.counts.astype(np.float32),
        opencv_way(matrix),
        (frame.shape[1], frame.shape[0]),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    )
    return replace(frame, counts=np.asarray(counts, np.float32))


class StillFootage(FootageOver):
    """Footage whose pictures are held still on the board; the frames beneath stay as they are.

    Parameters
    ----------
    footage : Footage
        Stays open and the caller's.
    poses : Poses
    repair : BadPixelRepair, optional
        Fills the camera's bad pixels before they are moved.
    """

    def __init__(
        self, footage: Footage, poses: Poses, repair: BadPixelRepair | None = None
    ) -> None:
        super().__init__(footage)
        self._poses = poses
        self._repair = repair

    def frame(self, number: int) -> Frame:
        """Return a frame held still; where the board is lost, as it was last seen."""
        frame = self._footage.frame(number)
        if self._repair is not None:
            frame = replace(frame, counts=self._repair.repair(frame.counts))
        near, matrix = self._poses.nearest(number)
        if near != number:
            if abs(near - number) <= NEAR_FRAMES:
                self._poses.take(number, frame)
            found = self._poses.matrix(number)
            matrix = matrix if found is None else found
        return held_still(frame, matrix)


def moves(footage: Footage, end: int | None = None) -> bool:
    """Tell whether a hand holds the camera, from a few pairs of frames.

    Parameters
    ----------
    footage : Footage
    end : int, optional
        Only the frames of the last seconds before this one are looked at; else all.

    Raises
    ------
    InputError
        A frame cannot be read.
    """
    times_s = footage.times_s
    stop = len(times_s) if end is None else min(end + 1, len(times_s))
    start = footage.first
    if end is not None and stop:
        start = max(start, int(np.searchsorted(times_s, times_s[stop - 1] - LATELY_S)))
    ends = np.searchsorted(times_s, times_s[start:stop] + TREMBLE_S).tolist()
    able = [(n, m) for n, m in zip(range(start, stop), ends, strict=False) if m < stop]
    if len(able) < TREMBLES:
        return False
    went = []
    for at in np.linspace(0, len(able) - 1, TREMBLES).astype(int):
        before, after = (footage.frame(n) for n in able[at])
        if not (before.held or after.held):
            went.append(shift_px(picture_of(before), picture_of(after)))
    return len(went) > TREMBLES // 2 and float(np.median(went)) > LEAST_TREMOR_PX
