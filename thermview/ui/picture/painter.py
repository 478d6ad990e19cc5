"""From a frame to a picture in the display's colours, by one look-up per pixel."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from thermview.frames import Frame
from thermview.ui.display import NO_VALUE_ARGB, Display, View

_COUNTS = np.arange(65_536, dtype=np.uint16)
_STEPS = 4096  # of the axis, for values that are not counts; a colour map has 256


class FramePainter:
    """Paints frames; the table of colours is made anew only when the display has changed."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self._key: Any = None
        self._table: NDArray[np.uint32] = np.empty(0, np.uint32)
        self._pixels: NDArray[np.uint32] = np.empty((0, 0), np.uint32)
        self._place: NDArray[np.float32] = np.empty((0, 0), np.float32)
        self._index: NDArray[np.uint16] = np.empty((0, 0), np.uint16)

    def paint(self, frame: Frame) -> QImage:
        """Return the frame's picture; it holds until the next call."""
        if self._pixels.shape != frame.shape:
            self._pixels = np.empty(frame.shape, np.uint32)
        if self._display.view is View.RISE:
            self._paint_levels(self._display.rise_k(frame))
        elif frame.counts.dtype == np.uint16:
            self._paint_counts(frame)
        else:
            self._paint_levels(self._display.kelvin_of(frame.counts, frame.scale))
        rows, columns = frame.shape
        return QImage(self._pixels.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32)

    def _paint_counts(self, frame: Frame) -> None:
        key = (self._display.settings_key, frame.scale)
        if key != self._key:
            levels_k = self._display.kelvin_of(_COUNTS, frame.scale)
            self._table, self._key = self._display.argb_of(levels_k), key
        # every count has its entry, so nothing ever wraps: the mode only spares the check
        np.take(self._table, frame.counts, out=self._pixels, mode="wrap")

    def _paint_levels(self, levels_k: NDArray[np.float32]) -> None:
        display = self._display
        low_k, high_k = display.low_k, display.high_k
        if display.settings_key != self._key:
            levels = np.linspace(low_k, high_k, _STEPS)
            self._table = display.argb_of(levels, band=False)
            self._key = display.settings_key
        if self._place.shape != levels_k.shape:  # kept: fresh memory costs more than the sums
            self._place = np.empty(levels_k.shape, np.float32)
            self._index = np.empty(levels_k.shape, np.uint16)
        place = np.subtract(levels_k, np.float32(low_k), out=self._place)
        place *= np.float32((_STEPS - 1) / (high_k - low_k))
        place += np.float32(0.5)
        np.fmax(place, 0, out=place)  # also puts something in the place of NaN
        np.fmin(place, _STEPS - 1, out=place)
        np.copyto(self._index, place, casting="unsafe")
        np.take(self._table, self._index, out=self._pixels, mode="wrap")
        if display.isotherm is not None:
            low_k, high_k = display.isotherm
            self._pixels[(levels_k >= low_k) & (levels_k <= high_k)] = display.band_colour.rgba()
        lacking = np.isnan(levels_k)
        if lacking.any():
            self._pixels[lacking] = NO_VALUE_ARGB
