"""A region's smallest, mean and largest temperature in one frame, and where they are."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts, Scale
from thermview.regions.masks import Box, boxed_mask
from thermview.regions.shapes import Shape

Convert = Callable[[Counts], NDArray[np.floating]]
"""Counts of a region's pixels to their object temperatures, K, in the same order."""


class RegionStats(NamedTuple):
    """What one frame says of one region.

    Temperatures are K (counts where the scale is relative); all are NaN where the region has no
    pixel with a value. Places are centres of pixels in the picture's axes, (j + 0.5, i + 0.5);
    of several equal pixels it is the first, row by row.
    """

    min_k: float
    mean_k: float
    max_k: float
    max_x: float
    max_y: float
    min_x: float
    min_y: float


NO_STATS = RegionStats(*(math.nan,) * 7)
"""A region without a pixel in view."""


@dataclass(frozen=True, eq=False)
class RegionPixels:
    """The pixels of one shape in pictures of one size, ready for measuring.

    Attributes
    ----------
    size : (rows, columns)
        Of the pictures.
    box : Box
        Around the pixels.
    mask : ndarray of uint8, shape (box.height, box.width), or None
        255 where a pixel of the box belongs to the shape; None where all do.
    """

    size: tuple[int, int]
    box: Box
    mask: NDArray[np.uint8] | None

    @classmethod
    def of(cls, shape: Shape, size: tuple[int, int]) -> RegionPixels:
        """Return the pixels of `shape` in pictures of `size` (rows, columns); remembered."""
        return _pixels_of(shape, size)

    @cached_property
    def indices(self) -> NDArray[np.intp]:
        """Return the flat, row-major indices of the pixels, ascending."""
        mask = np.ones((self.box.height, self.box.width)) if self.mask is None else self.mask
        row, column = np.nonzero(mask)
        return (row + self.box.top) * self.size[1] + column + self.box.left

    def __len__(self) -> int:
        if self.mask is None:
            return self.box.height * self.box.width
        return cv2.countNonZero(self.mask)


@lru_cache(maxsize=512)
def _pixels_of(shape: Shape, size: tuple[int, int]) -> RegionPixels:
    box, inside = boxed_mask(shape, size)
    mask = None if inside.all() else np.where(inside, np.uint8(255), np.uint8(0))
    return RegionPixels(size, box, mask)


def measure(
    counts: Counts, pixels: RegionPixels, scale: Scale, convert: Convert | None = None
) -> RegionStats:
    """Measure one region in one frame.

    Parameters
    ----------
    counts : ndarray of uint16 or float32, shape (row, column)
        The frame; NaN (float32 only) is a pixel without a value and is left out.
    pixels : RegionPixels
        Of the region, for pictures of this size.
    scale : Scale
        Makes apparent temperatures of counts; used where `convert` is None.
    convert : callable, optional
        Makes object temperatures, K, of the pixels' counts. The mean is then of the pixels'
        temperatures, not the temperature of their mean count.

    Returns
    -------
    RegionStats
    """
    if pixels.box.height == 0:
        return NO_STATS
    if convert is not None:
        return _of_values(convert(counts.ravel().take(pixels.indices)), pixels, _IN_KELVIN)
    if counts.dtype != np.uint16:
        return _of_values(counts.ravel().take(pixels.indices), pixels, scale)
    top, bottom, left, right = pixels.box
    part = counts[top:bottom, left:right]
    if pixels.mask is None:
        low, high, at_low, at_high = cv2.minMaxLoc(part)
        mean = cv2.sumElems(part)[0] / part.size  # a sum of whole numbers in float64: exact
    else:
        low, high, at_low, at_high = cv2.minMaxLoc(part, pixels.mask)
        mean = cv2.mean(part, pixels.mask)[0]
    per_count, offset = scale.k_per_count, scale.offset_k
    return RegionStats(
        low * per_count + offset,
        mean * per_count + offset,
        high * per_count + offset,
        at_high[0] + left + 0.5,
        at_high[1] + top + 0.5,
        at_low[0] + left + 0.5,
        at_low[1] + top + 0.5,
    )


_IN_KELVIN = Scale(1.0)


def _of_values(values: NDArray[np.floating], pixels: RegionPixels, scale: Scale) -> RegionStats:
    """Measure values that may lack (NaN), one for each of the region's pixels."""
    at = pixels.indices
    total = cv2.sumElems(values)[0]  # in float64, whatever the values are
    if math.isnan(total):
        there = ~np.isnan(values)
        values, at = values[there], at[there]
        if values.size == 0:
            return NO_STATS
        total = cv2.sumElems(values)[0]
    low, high = int(values.argmin()), int(values.argmax())
    low_y, low_x = divmod(int(at[low]), pixels.size[1])
    high_y, high_x = divmod(int(at[high]), pixels.size[1])
    return RegionStats(
        scale.kelvin_of(float(values[low])),
        scale.kelvin_of(total / values.size),
        scale.kelvin_of(float(values[high])),
        high_x + 0.5,
        high_y + 0.5,
        low_x + 0.5,
        low_y + 0.5,
    )
