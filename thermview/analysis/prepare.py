"""From footage to one block of apparent rises: frozen frames dropped, offsets' jumps found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import SIGMA_OF_MAD
from thermview.analysis.wanted import still_wanted
from thermview.errors import InputError
from thermview.frames import Footage, Frame
from thermview.frames.standstill import Standstill

Floats = NDArray[np.float64]
Block = NDArray[np.float32]
"""Pictures in a row, K, shape (frame, row, column)."""
Value = TypeVar("Value", bound=np.floating[Any])
Progress = Callable[[int, int], None]

FEWEST_FRAMES = 12
MOST_FRAMES, LEAST_FRAMES = 800, 240
MOST_VALUES = MOST_FRAMES * 256 * 192
"""Longer recordings are taken together in groups of frames down to so many pictures; large
pictures down to so many values, for several copies of all are held at once."""
FROZEN_SHARE = 0.9
JUMP_SIGMAS = 12.0
FIRST_FRAMES = 20
LEAST_PATCH_PX = 9
LEAST_SIDE_PX = 24
"""Of smaller pictures neither noise nor what is wide can be told."""


@dataclass(frozen=True, slots=True, eq=False)
class Shots:
    """Pictures as the camera gave them, K, those that the shutter held left out.

    Attributes
    ----------
    kelvin : ndarray of float32, shape (frame, row, column)
        Apparent temperature from any zero.
    times_s : ndarray, shape (frame,)
    segment : ndarray of int, shape (frame,)
        Counts up after each gap that the shutter left.
    """

    kelvin: Block
    times_s: Floats
    segment: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """Pictures that show the scene, ready for analysis.

    Attributes
    ----------
    rise_k : ndarray of float32, shape (frame, row, column)
        Apparent temperature above the mean of the first pictures, K.
    first_k : ndarray of float32, shape (row, column)
        That mean, K.
    times_s : ndarray, shape (frame,)
    segment : ndarray of int, shape (frame,)
        Counts up wherever the camera's offset may have changed (its shutter closed).
    noise_k : float
        Standard deviation of one pixel in one picture, K.
    bridged : int
        How many shutter events were bridged.
    anchored : bool
        The camera's drift was taken off by a matt patch: rises count in full.
    sway : ndarray, shape (frame, course)
        How the camera moved, px, where the pictures were held still; what is left of it at sharp
        edges is no evidence.
    """

    rise_k: Block
    first_k: Block
    times_s: Floats
    segment: NDArray[np.int64]
    noise_k: float
    bridged: int
    sway: Floats
    anchored: bool = False

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, columns)."""
        return int(self.rise_k.shape[1]), int(self.rise_k.shape[2])


def picture_of(frame: Frame) -> NDArray[np.float32]:
    """Return a frame's apparent temperature from any zero, K, shape (row, column)."""
    picture = frame.counts.astype(np.float32)
    picture *= np.float32(frame.scale.k_per_count)
    return picture


class Looks:
    """Tells of each frame, in order, whether it shows the scene anew.

    Attributes
    ----------
    gap : bool
        Before the last frame that did the shutter was closed, by the camera's word or because the
        picture stood still for longer than usual (see `Standstill`).
    """

    def __init__(self) -> None:
        self._still = Standstill()
        self._before: NDArray[Any] | None = None
        self._closed = False
        self.gap = False

    def new(self, frame: Frame, time_s: float) -> bool:
        """Tell whether a frame is neither held by the shutter nor the one before once more."""
        repeated = self._before is not None and alike(frame, self._before)
        self._before = frame.counts
        self._closed |= self._still.look(time_s, repeated=repeated) or frame.held
        if frame.held or repeated:
            return False
        self.gap, self._closed = self._closed, False
        return True


def alike(frame: Frame, before: NDArray[Any]) -> bool:
    """Tell whether a frame shows the same picture as other counts do: noise never comes twice."""
    return float(np.mean(frame.counts[::4, ::4] == before[::4, ::4])) > FROZEN_SHARE


def group_of(footage: Footage) -> int:
    """Return how many frames are taken together for one picture."""
    pixels = max(1, footage.info.height_px * footage.info.width_px)
    most = int(np.clip(MOST_VALUES // pixels, LEAST_FRAMES, MOST_FRAMES))
    return max(1, -(-(len(footage) - footage.first) // most))


def gather(footage: Footage, progress: Progress | None = None, *, average: bool = True) -> Shots:
    """Read all frames that show the scene.

    Parameters
    ----------
    footage : Footage
    progress : callable, optional
    average : bool
        Take the mean of each group of frames; else its first frame alone, for the mean of moving
        pictures is blurred.

    Raises
    ------
    InputError
        Too few of them, or too small.
    """
    rows, columns = footage.info.height_px, footage.info.width_px
    if min(rows, columns) < LEAST_SIDE_PX:
        raise InputError(
            f"pictures of {columns} x {rows} pixels are too small; "
            f"{LEAST_SIDE_PX} x {LEAST_SIDE_PX} or more are needed"
        )
    times_s = footage.times_s
    numbers = range(footage.first, len(footage))
    group = group_of(footage)
    pictures: list[Block] = []
    times: list[float] = []
    segments: list[int] = []
    pile: list[Block] = []
    pile_s: list[float] = []
    segment, looks = 0, Looks()

    def close_pile() -> None:
        if pile:
            kept = len(pile) if average else 1
            pictures.append(pile[0] if kept == 1 else np.mean(pile, axis=0))
            times.append(float(np.mean(pile_s[:kept])))
            segments.append(segment)
            pile.clear()
            pile_s.clear()

    for done, number in enumerate(numbers):
        still_wanted()
        frame = footage.frame(number)
        if progress is not None:
            progress(done, len(numbers))
        if not looks.new(frame, float(times_s[number])):
            continue
        if looks.gap:
            close_pile()
            segment += 1
        pile.append(picture_of(frame))
        pile_s.append(float(times_s[number]))
        if len(pile) == group:
            close_pile()
    close_pile()
    if len(pictures) < FEWEST_FRAMES:
        raise InputError(
            f"too few frames show the scene, {len(pictures)}; {FEWEST_FRAMES} or more are needed, "
            "best some seconds before the power and ten after"
        )
    return Shots(filled(np.stack(pictures)), np.array(times), np.array(segments))


def take_of(shots: Shots, sway: Floats | None = None) -> Take:
    """Return rises above the first pictures; `sway` as in `Take`."""
    kelvin = shots.kelvin
    segment = shots.segment + _jumps(kelvin, shots.segment)
    still_wanted()
    first_k = kelvin[:FIRST_FRAMES].mean(axis=0)
    rise_k = kelvin - first_k
    return Take(
        rise_k=rise_k,
        first_k=first_k,
        times_s=shots.times_s,
        segment=segment,
        noise_k=noise_of(rise_k),
        bridged=int(segment[-1]),
        sway=np.zeros((len(kelvin), 0)) if sway is None else sway,
    )


def anchored(take: Take, patch: NDArray[np.bool_]) -> Take:
    """Return pictures without the drift that a patch shows, which nothing warms.

    Raises
    ------
    InputError
        The patch is too small for the noise, or out of the picture.
    """
    if patch.shape != take.shape or int(patch.sum()) < LEAST_PATCH_PX:
        raise InputError(
            f"the matt patch has {int(patch.sum())} pixels in the picture; {LEAST_PATCH_PX} or "
            "more are needed, all of them on the patch"
        )
    drift_k = take.rise_k[:, patch].mean(axis=1)
    rise_k = take.rise_k - drift_k[:, None, None]
    rise_k -= rise_k[:FIRST_FRAMES].mean(axis=0)
    return replace(take, rise_k=rise_k, anchored=True)


def noise_of(rise_k: Block) -> float:
    """Return the noise of a pixel, K: robust, from the differences of successive pictures."""
    still_wanted()
    some = rise_k[:, ::3, ::3]
    steps = np.diff(some, axis=0)
    steps -= np.median(steps.reshape(len(steps), -1), axis=1)[:, None, None]
    noise_k = float(np.median(np.abs(steps))) * SIGMA_OF_MAD / float(np.sqrt(2.0))
    return max(noise_k, 1e-4)


def filled(kelvin: NDArray[Value]) -> NDArray[Value]:
    """Give pixels without a value the picture's median, in place: they carry nothing.

    Parameters
    ----------
    kelvin : ndarray, shape (frame, row, column)
    """
    known = np.isfinite(kelvin)
    if not known.all():
        for picture, good in zip(kelvin, known, strict=True):
            picture[~good] = np.median(picture[good]) if good.any() else 0.0
    return kelvin


def _jumps(kelvin: Block, segment: NDArray[np.int64]) -> NDArray[np.int64]:
    """Count jumps that the whole picture makes between two pictures, and that stay."""
    still_wanted()
    steps = np.diff(kelvin[:, ::4, ::4], axis=0).reshape(len(kelvin) - 1, -1)
    common = np.median(steps, axis=1)
    steady = np.diff(segment) == 0
    usual = float(np.median(np.abs(common[steady]))) * SIGMA_OF_MAD if steady.any() else 0.0
    least = max(JUMP_SIGMAS * usual, 0.05)
    # all of the picture steps, not a large part of it that warms
    spread = np.percentile(steps, [2, 98], axis=1)
    alike = (np.sign(spread[0] - common / 3) == np.sign(common)) | (
        np.abs(common) > 2 * (spread[1] - spread[0])
    )
    jump = np.concatenate([[False], steady & alike & (np.abs(common) > least)])
    return np.cumsum(jump).astype(np.int64)


def highpass(pictures: Block, width_px: float) -> Block:
    """Return pictures without what is wider than `width_px` (a Gaussian's standard deviation)."""
    return pictures - lowpass(pictures, width_px)


def lowpass(pictures: Block, width_px: float) -> Block:
    """Return what is wider, from pictures of a quarter's size: ten times quicker, alike to 2 %."""
    rows, columns = pictures.shape[1:]
    small = (max(1, columns // 4), max(1, rows // 4))
    wide = np.empty_like(pictures)
    for picture, out in zip(pictures, wide, strict=True):
        still_wanted()
        coarse = cv2.resize(picture, small, interpolation=cv2.INTER_AREA)
        coarse = cv2.GaussianBlur(coarse, (0, 0), width_px / 4, borderType=cv2.BORDER_REFLECT)
        out[:] = cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_LINEAR)
    return wide
