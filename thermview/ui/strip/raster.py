"""Curves as bands of pixels, drawn straight into an image's memory.

Qt's own painter strokes a line wider than one pixel through a general outliner: 20 lines of 2,400
points take 50 to 600 ms. A curve over time is simpler than a general line: each pixel column holds
one upright stretch of it, whose two ends alone need smoothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint32]
Heights = NDArray[np.floating]


def draw_band(
    pixels: Pixels,
    left_px: int,
    top_px: Heights,
    bottom_px: Heights,
    rgb: int,
    *,
    cover: float = 1.0,
) -> None:
    """Draw an upright stretch in every pixel column, its ends smoothed.

    Parameters
    ----------
    pixels : ndarray of uint32, shape (row, column), C-contiguous
        Opaque pixels 0xffRRGGBB, changed in place.
    left_px : int
        Pixel column of the first stretch.
    top_px, bottom_px : ndarray, shape (stretches,)
        Upper and lower end in every column, px from the top; NaN for none.
    rgb : int
        Colour 0xRRGGBB.
    cover : float
        Share of the colour, 0 to 1; the rest is what is there.
    """
    rows, _ = pixels.shape
    columns = np.flatnonzero(np.isfinite(top_px) & (bottom_px > 0) & (top_px < rows))
    top = np.clip(top_px[columns], 0, rows)
    bottom = np.clip(bottom_px[columns], 0, rows)
    columns += left_px
    first = np.minimum(top.astype(np.int64), rows - 1)
    last = np.maximum(np.ceil(bottom).astype(np.int64) - 1, first)
    _blend(pixels, first, columns, cover * (np.minimum(first + 1, bottom) - top), rgb)
    more = np.flatnonzero(last > first)
    _blend(pixels, last[more], columns[more], cover * (bottom[more] - last[more]), rgb)
    places = _places(first + 1, np.maximum(last - first - 1, 0), columns, pixels.shape[1])
    if cover == 1.0:
        pixels.reshape(-1)[places] = np.uint32(0xFF000000 | rgb)
    else:
        _blend(pixels, *np.divmod(places, pixels.shape[1]), np.full(places.shape, cover), rgb)


def _blend(
    pixels: Pixels, rows: NDArray[np.int64], columns: NDArray[np.int64], cover: Heights, rgb: int
) -> None:
    """Mix the colour into single pixels by the share that is covered, 0 to 1."""
    share = (np.clip(cover, 0.0, 1.0) * 256.0).astype(np.uint32)
    rest = 256 - share
    old = pixels[rows, columns]
    # red and blue go through one multiplication: 8 bits each, 16 apart, leave room for 8 more
    red_blue = (old & 0x00FF00FF) * rest + np.uint32(rgb & 0xFF00FF) * share
    green = (old & 0x0000FF00) * rest + np.uint32(rgb & 0x00FF00) * share
    pixels[rows, columns] = (
        0xFF000000 | ((red_blue >> 8) & 0x00FF00FF) | ((green >> 8) & 0x0000FF00)
    )


def _places(
    first: NDArray[np.int64], counts: NDArray[np.int64], columns: NDArray[np.int64], stride: int
) -> NDArray[np.int64]:
    """Return the flat places of `counts` rows from `first` down in every column."""
    ends = np.cumsum(counts)
    start = first * stride + columns - (ends - counts) * stride
    places = np.repeat(start, counts)
    places += np.arange(places.size) * stride
    return places
