"""The plainest answer: where the picture has risen most since the baseline.

This is no proof of a source: heat spreads, and a reflection rises too. What it is good for is a
first look, and it is always called what it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage
from thermview.regions import Polygon, pixel_indices


@dataclass(frozen=True, slots=True)
class Rise:
    """How much a part or a place has risen: K, and where its hottest pixel's centre is, px."""

    name: str
    rise_k: float
    x_px: float
    y_px: float


def frames_between(footage: Footage, start_s: float, end_s: float) -> range:
    """Return the numbers of the frames with start_s <= time < end_s that can still be had."""
    first, last = np.searchsorted(footage.times_s, (start_s, end_s))
    return range(max(int(first), footage.first), int(last))


def median_image(footage: Footage, numbers: range, most: int = 15) -> NDArray[np.float32]:
    """Return the median over time, K, of up to `most` frames spread evenly over `numbers`.

    The median lets a passing hand's reflection go by. Frames held by the shutter are left out.

    Returns
    -------
    ndarray of float32, shape (row, column)
        NaN everywhere when there is no frame to use.
    """
    picked = numbers[:: max(1, len(numbers) // most)]
    frames = [frame for frame in map(footage.frame, picked) if not frame.held]
    if not frames:
        shape = (footage.info.height_px, footage.info.width_px)
        return np.full(shape, np.nan, dtype=np.float32)
    stack = np.stack([frame.kelvin() for frame in frames])
    return np.asarray(np.median(stack, axis=0), dtype=np.float32)


def rises_of_outlines(
    rise_k: NDArray[np.float32], outlines: Mapping[str, NDArray[np.float64]]
) -> list[Rise]:
    """Return the mean rise inside each outline, the largest first.

    Parameters
    ----------
    rise_k : ndarray, shape (row, column)
        Rise above the baseline, K.
    outlines : mapping of name to ndarray, shape (corner, 2)
        Corners (x, y) in pixels. Outlines that hold no pixel are left out.
    """
    rises = []
    for name, corners in outlines.items():
        inside = pixel_indices(Polygon(tuple(map(tuple, corners.tolist()))), rise_k.shape)
        if inside.size and np.isfinite(values := rise_k.ravel()[inside]).any():
            row, column = divmod(int(inside[np.nanargmax(values)]), rise_k.shape[1])
            rises.append(Rise(name, float(np.nanmean(values)), column + 0.5, row + 0.5))
    return sorted(rises, key=lambda rise: -rise.rise_k)


def largest_place(rise_k: NDArray[np.float32], name: str = "picture") -> Rise | None:
    """Return the pixel with the largest rise of a slightly smoothed picture, or None."""
    import cv2

    if not np.isfinite(rise_k).any():
        return None
    filled = np.where(np.isfinite(rise_k), rise_k, np.nanmin(rise_k))
    smooth = cv2.GaussianBlur(filled, (0, 0), 1.0)
    row, column = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
    return Rise(name, float(smooth[row, column]), column + 0.5, row + 0.5)
