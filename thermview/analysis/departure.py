"""Anything on the picture that departs from its own trend, and where.

The picture is looked at in overlapping squares, half a square apart, so that a small spot lies
whole in one of them wherever it is. Each square's mean is predicted by a straight line fitted to
its own past, which fades with `memory_s`: first a least-squares line that grows with every frame,
then one of constant memory (fading-memory polynomial filter of degree 1, N. Morrison,
*Introduction to Sequential Smoothing and Prediction*, 1969, from memory). What most squares do
alike (drift of the camera, air) is taken off; what remains is held against the square's own
noise. A square has departed when it is off by more than `sigmas` in the same direction in
`frames` frames running.

After that, as after a gap, the trends are learnt anew: it answers to changes, not to states.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame, Scale

Floats = NDArray[np.float32]

SQUARE_PX = 4
CLIP_SIGMAS = 3.0
"""A line learns from a deviation only up to this, so that one spike does not bend it."""

LEAST_SHARE = 0.8
"""No square is taken to be quieter than this share of the quieter half's noise: with the few
frames behind it, its own figure may be too small by chance."""

LEAST_STEPS = 0.1
"""Nor quieter than this many steps of the counts: steady counts have no measurable noise."""

NOISE_MEMORY_S = 20.0
"""Over which the past of a square's noise fades: long, so that the figure is steady."""

FIRST_NOISE_FRAMES = 8
"""Before this many frames the line itself is too loose to measure noise against."""


class Departure(NamedTuple):
    """A place that left its trend.

    Attributes
    ----------
    x_px, y_px : float
        Its centre, in the picture's axes.
    change_k : float
        How far the square is off its trend, K (counts where the scale is relative).
    sigmas : float
        The same in units of the square's noise.
    since_s : float
        Time of the first frame in which it was off.
    """

    x_px: float
    y_px: float
    change_k: float
    sigmas: float
    since_s: float


class DepartureWatch:
    """Watches a stream of frames of one size; memory of a few pictures, whatever its length.

    Parameters
    ----------
    sigmas : float
        How far off counts, in the square's own noise.
    frames : int
        In how many frames running.
    duration_s : float
        And at least for how long.
    memory_s : float
        Over which the past of a square fades. Bends of the true curve within it look like
        departures: a board that warms by 20 K with a time constant of a minute bends by
        0.006 K/s², which leaves 0.006·memory_s² K.
    learn_s : float
        How long it only learns after the start, a gap, or a departure.
    """

    def __init__(
        self,
        sigmas: float = 5.0,
        frames: int = 3,
        duration_s: float = 0.0,
        memory_s: float = 5.0,
        learn_s: float = 3.0,
    ) -> None:
        self._sigmas = sigmas
        self._frames = frames
        self._duration_s = duration_s
        self._memory_s = memory_s
        self._learn_s = learn_s
        self._scale = Scale(1.0)
        self._count_step = 1.0
        self._mean = self._slope = self._variance = np.zeros((0, 0), np.float32)
        self._running = np.zeros((0, 0), np.int16)
        self._since_s = np.zeros((0, 0))
        self._noise_frames = 0
        self._forget()

    def _forget(self, keep_noise: bool = False) -> None:
        self._seen = 0
        self._last_s = self._start_s = np.nan
        if not keep_noise:
            self._noise_frames = 0

    def take(self, frame: Frame) -> Departure | None:
        """Take the next frame; return what has departed in it, the strongest place.

        Held frames are passed over; what the camera's shutter changed in the pattern of the
        picture is learnt anew after them.
        """
        if frame.held:
            self._forget(keep_noise=True)
            return None
        squares, blind = _squares(frame)
        gap = self._seen and frame.time_s - self._last_s > self._memory_s
        if gap or frame.scale != self._scale or (self._seen and squares.shape != self._mean.shape):
            self._forget()
        self._scale = frame.scale
        if squares.size == 0:
            return None
        if self._seen == 0:
            whole = frame.counts.dtype == np.uint16
            self._count_step = 1.0 if whole else float(np.spacing(np.abs(squares).max()))
            self._begin(squares, frame.time_s)
            return None
        step_s = frame.time_s - self._last_s
        self._mean += self._slope * np.float32(step_s)
        squares = np.where(blind, self._mean, squares)
        off: Floats = squares - self._mean
        off -= np.float32(np.median(off[::2, ::2]))
        found = self._test(off, frame.time_s)
        self._learn(squares - self._mean, off, step_s)
        self._last_s = frame.time_s
        if found is not None:
            self._forget(keep_noise=True)
        return found

    def _begin(self, squares: Floats, time_s: float) -> None:
        self._mean = squares.copy()
        self._slope = np.zeros_like(squares)
        if self._noise_frames == 0 or self._variance.shape != squares.shape:
            self._noise_frames = 0
            self._variance = np.zeros_like(squares)
        self._running = np.zeros(squares.shape, np.int16)
        self._since_s = np.full(squares.shape, np.nan)
        self._last_s = self._start_s = time_s
        self._seen = 1

    def _noise(self) -> Floats:
        common = np.float32(np.median(self._variance[::2, ::2]))
        least = max(LEAST_SHARE**2 * float(common), (LEAST_STEPS * self._count_step) ** 2)
        return np.sqrt(np.maximum(self._variance, np.float32(least)))

    def _learn(self, moved: Floats, off: Floats, step_s: float) -> None:
        """Lead lines and noise on; `moved` is against the line, `off` without the common part."""
        n = self._seen
        fade = 1 - np.exp(-step_s / self._memory_s)
        level_gain = max(2 * (2 * n + 1) / ((n + 1) * (n + 2)), 1 - (1 - fade) ** 2)
        slope_gain = max(6 / ((n + 1) * (n + 2)), fade**2)
        if self._ready(self._last_s + step_s):
            limit = CLIP_SIGMAS * self._noise()
            clipped = np.clip(off, -limit, limit)
            moved = moved + (clipped - off)
            off = clipped
        self._mean += np.float32(level_gain) * moved
        self._slope += np.float32(slope_gain / step_s) * moved
        self._seen += 1
        if n >= FIRST_NOISE_FRAMES:
            self._noise_frames += 1
            gain = np.float32(max(1 / self._noise_frames, 1 - np.exp(-step_s / NOISE_MEMORY_S)))
            self._variance += gain * (off * off - self._variance)

    def _ready(self, time_s: float) -> bool:
        return time_s - self._start_s >= self._learn_s and self._noise_frames >= 30

    def _test(self, off: Floats, time_s: float) -> Departure | None:
        if not self._ready(time_s):
            return None
        strength = off / self._noise()
        side = np.sign(strength).astype(np.int16) * (np.abs(strength) > self._sigmas)
        same = self._running * side > 0
        self._running = side + same * self._running
        self._since_s = np.where(same, self._since_s, time_s)
        long_enough = time_s - self._since_s >= self._duration_s - 1e-9
        departed = (np.abs(self._running) >= self._frames) & long_enough
        if not departed.any():
            return None
        row, column = np.unravel_index(
            np.argmax(np.where(departed, np.abs(strength), 0)), strength.shape
        )
        x, y = _centre(np.abs(off), int(row), int(column))
        return Departure(
            x,
            y,
            float(off[row, column]) * self._scale.k_per_count,
            float(abs(strength[row, column])),
            float(self._since_s[row, column]),
        )


def _squares(frame: Frame) -> tuple[Floats, NDArray[np.bool_] | bool]:
    """Return the means of the squares, in counts, and which lack the value of a pixel.

    Counts of uint16 are taken about the middle of their range, so that float32 keeps the digits.
    """
    if frame.counts.dtype == np.uint16:
        return _averaged(frame.counts.astype(np.float32) - np.float32(32768.0)), False
    lacking = np.isnan(frame.counts)
    picture = np.where(lacking, np.float32(0.0), frame.counts)
    return _averaged(picture), _averaged(lacking.astype(np.float32)) > 0


def _averaged(picture: Floats) -> Floats:
    # the anchor is the square's left top pixel, so that square (i, j) starts at 2i, 2j
    means = np.asarray(
        cv2.boxFilter(picture, -1, (SQUARE_PX, SQUARE_PX), anchor=(0, 0)), np.float32
    )
    rows, columns = picture.shape
    half = SQUARE_PX // 2
    inside: Floats = means[: rows - SQUARE_PX + 1 : half, : columns - SQUARE_PX + 1 : half]
    return inside


def _centre(strength: Floats, row: int, column: int) -> tuple[float, float]:
    """Return the place, px: the centre of gravity of a square and its neighbours."""
    top, left = max(row - 1, 0), max(column - 1, 0)
    part = strength[top : row + 2, left : column + 2].astype(np.float64) ** 2
    rows, columns = np.indices(part.shape)
    half, total = SQUARE_PX / 2, part.sum()
    y = (rows * part).sum() / total + top
    x = (columns * part).sum() / total + left
    return float(x * half + half), float(y * half + half)
