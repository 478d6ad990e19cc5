"""Both boards' films in step, as the window shows them. Outside Qt's thread.

Both are shown on the grid of this board's picture, at the same times since power-on, so that one
zoom, one colour scale and one playhead serve both and their difference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.compare import Comparison
from thermview.errors import InputError
from thermview.frames import Footage

Pictures = NDArray[np.float32]
Floats = NDArray[np.float64]

STEPS = 64  # pictures of each film that are kept for looking at
BEFORE_S = 1.0
ZERO_S = 3.0  # up to so long before power the zero is taken from
MOST_ZERO = 24
BESIDE = 1  # frames on each side that a picture is averaged with
BLUR_PX = 0.8  # one standard deviation of a camera's blur, px


@dataclass(frozen=True, slots=True, eq=False)
class Films:
    """Rises of both boards in step, K, on the grid of this board's picture.

    Attributes
    ----------
    since_s : ndarray, shape (picture,)
        Seconds after power-on.
    good_k, bad_k : ndarray of float32, shape (picture, row, column)
        The good board's is at this board's supply level; NaN where its camera did not look. None
        without a good board.
    high_k : float
        End of the colour scale that both share.
    span_k : float
        End of the scale of their difference, on both sides of zero.
    """

    since_s: Floats
    good_k: Pictures | None
    bad_k: Pictures
    high_k: float
    span_k: float

    def at(self, since_s: float) -> int:
        """Return the number of the pictures nearest to a time after power-on."""
        return int(np.argmin(np.abs(self.since_s - since_s)))

    def difference_k(self, number: int) -> Pictures:
        """Return this board less the good one; what is common to the whole picture taken out."""
        assert self.good_k is not None
        apart: Pictures = self.bad_k[number] - self.good_k[number]
        seen = np.isfinite(apart)
        common = float(np.median(apart[seen])) if seen.any() else 0.0
        return apart - np.float32(common)


def in_step(found: Comparison, films: tuple[Any, Any]) -> Films:
    """Return both films at the same times since power-on, on the grid of this board's picture."""
    good, bad = films
    shown = alone_in_step(found, bad)
    own_k = rises_at(good, found.on_s[0], shown.since_s)
    good_k = np.empty_like(shown.bad_k)
    views = [aligned.view for aligned in found.aligned]
    to_good = views[0].matrix @ np.linalg.inv(views[1].matrix)
    finer = views[1].mm_per_px / views[0].mm_per_px
    for picture, out in zip(own_k, good_k, strict=True):
        out[:] = brought(picture, to_good, finer, (good_k.shape[1], good_k.shape[2]))
    good_k *= np.float32(found.level)
    shown = replace(shown, good_k=good_k, high_k=_high(np.stack([good_k[-1], shown.bad_k[-1]])))
    apart = shown.difference_k(STEPS - 1)
    seen = np.abs(apart[np.isfinite(apart)])
    span_k = max(float(np.percentile(seen, 99.7)) if seen.size else 0.0, 0.2)
    return replace(shown, span_k=span_k)


def alone_in_step(found: Comparison, bad: Any) -> Films:
    """Return this board's film alone."""
    since_s = np.linspace(-BEFORE_S, found.until_s, STEPS)
    bad_k = rises_at(bad, found.on_s[1], since_s)
    return Films(since_s, None, bad_k, _high(bad_k[-1]), 1.0)


def _high(late_k: Pictures) -> float:
    return max(float(np.nanpercentile(late_k, 99.7)), 0.5)


def rises_at(footage: Any, on_s: float, since_s: Floats) -> Pictures:
    """Return rises over the time before power, K, float32, at times since power-on."""
    times_s = footage.times_s[footage.first :]
    zero = _mean(footage, _quiet(times_s, on_s) + footage.first)
    out = np.empty((len(since_s), *zero.shape), np.float32)
    for place, since in enumerate(since_s):
        nearest = int(np.argmin(np.abs(times_s - on_s - since)))
        around = np.arange(max(0, nearest - BESIDE), min(len(times_s), nearest + BESIDE + 1))
        out[place] = _mean(footage, around + footage.first) - zero
    return out


def _quiet(times_s: Floats, on_s: float) -> NDArray[np.intp]:
    """Return the numbers of the frames before power, the first where there are none."""
    quiet = np.flatnonzero((times_s < on_s) & (times_s > on_s - ZERO_S))
    if len(quiet) == 0:
        return np.zeros(1, dtype=np.intp)
    return quiet[:: max(1, len(quiet) // MOST_ZERO)]


def _mean(footage: Any, numbers: NDArray[np.intp]) -> Pictures:
    """Return the mean of frames, K; those held by the shutter count only where all are."""
    frames = [footage.frame(int(n)) for n in numbers]
    frames = [f for f in frames if not f.held] or frames
    total = np.zeros(frames[0].shape, np.float32)
    for frame in frames:
        total += frame.counts.astype(np.float32) * np.float32(frame.scale.k_per_count)
    # what is added to every count drops out of a rise
    total /= np.float32(len(frames))
    return total


def brought(picture: Pictures, there: Floats, finer: float, shape: tuple[int, int]) -> Pictures:
    """Return a picture on another grid, NaN beside it.

    Parameters
    ----------
    there : ndarray, shape (3, 3)
        From pixels of the new grid to those of the picture.
    finer : float
        How many of the picture's pixels make one of the new grid's; a finer picture is blurred.
    shape : (rows, columns)
        Of the new grid.
    """
    more = (BLUR_PX * finer) ** 2 - BLUR_PX**2
    soft = cv2.GaussianBlur(picture, (0, 0), more**0.5) if more > 0.01 else picture
    half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    out: Pictures = cv2.warpPerspective(
        soft,
        np.linalg.inv(half) @ there @ half,
        (shape[1], shape[0]),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    ).astype(np.float32, copy=False)
    return out


def last_picture(footage: Footage) -> Pictures:
    """Return the last frame that shows the scene, K, for clicking matching points on it."""
    for number in range(len(footage) - 1, max(footage.first, len(footage) - 50) - 1, -1):
        frame = footage.frame(number)
        if not frame.held:
            return frame.kelvin().astype(np.float32)
    raise InputError("no frame of this recording shows the scene")
