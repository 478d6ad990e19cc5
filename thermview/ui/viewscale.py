"""One view's axis and its colours: what a level looks like on picture and strip."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtGui import QColor


class View(Enum):
    """What a pixel's colour means."""

    TEMPERATURE = "temperature"
    RISE = "rise"


class LevelMode(Enum):
    """Where level and span come from."""

    AUTO = "auto"
    MANUAL = "manual"
    FROZEN = "frozen"


COLOUR_MAPS: dict[View, dict[str, str]] = {
    View.TEMPERATURE: {
        "inferno": "inferno",
        "magma": "magma",
        "plasma": "plasma",
        "viridis": "viridis",
        "cividis": "cividis",
        "grey": "CET-L1",
        "blue to white": "CET-CBL2",
    },
    View.RISE: {
        "blue – dark – red": "CET-D4",
        "blue – dark – yellow": "CET-D6",
        "blue – white – red": "CET-D1",
        "blue – white – yellow": "CET-CBD1",
    },
}
"""Names on screen → pyqtgraph's names: perceptually uniform sets only; for rises diverging ones."""

_BAND_COLOURS = ((0, 255, 170), (255, 60, 200), (0, 210, 255), (255, 255, 255))
NO_VALUE_ARGB = 0xFF5A5A5A
"""Colour of a pixel without a value: an opaque grey."""


@dataclass(frozen=True, slots=True)
class ViewScale:
    """Level, span and colours of one view; K of temperature, or K of rise.

    `isotherm` is the highlighted band (low_k, high_k); an infinite end makes it "above" or
    "below".
    """

    view: View
    colour_map: str
    low_k: float
    high_k: float
    mode: LevelMode = LevelMode.AUTO
    isotherm: tuple[float, float] | None = None

    def _whole_map(self) -> NDArray[np.uint8]:
        """Return the map's 256 colours: uint8, (256, 3), RGB."""
        name = COLOUR_MAPS[self.view][self.colour_map]
        table = pg.colormap.get(name).getLookupTable(0.0, 1.0, 256, alpha=False)
        return np.asarray(table, dtype=np.uint8)

    def _map_ends(self) -> tuple[float, float]:
        """Return the levels, K, of the map's first and last colour."""
        if self.view is View.RISE:  # zero is always the map's middle, whatever the axis shows
            reach = max(abs(self.low_k), abs(self.high_k))
            return -reach, reach
        return self.low_k, self.high_k

    def _place(self, levels_k: NDArray[np.floating]) -> NDArray[np.uint8]:
        """Return which of the map's 256 colours each level, K, has (NaN: any)."""
        low_k, high_k = self._map_ends()
        place = (levels_k - low_k) * (256.0 / (high_k - low_k))
        colours: NDArray[np.uint8] = np.clip(np.nan_to_num(place), 0.0, 255.0).astype(np.uint8)
        return colours

    def rgb_of(self, levels_k: NDArray[np.floating]) -> NDArray[np.uint8]:
        """Return the map's colours of levels, K: uint8, shape of `levels_k` + (3,)."""
        return self._whole_map()[self._place(np.asarray(levels_k, dtype=np.float64))]

    @property
    def band_colour(self) -> QColor:
        """Return the colour of the highlighted band: the one least like the map's own colours."""
        table = self._whole_map().astype(np.int64)
        apart = [((table - np.array(c)) ** 2).sum(axis=1).min() for c in _BAND_COLOURS]
        return QColor(*_BAND_COLOURS[int(np.argmax(apart))])

    def argb_of(self, levels_k: NDArray[np.floating], *, band: bool = True) -> NDArray[np.uint32]:
        """Return the picture's colours 0xAARRGGBB of levels, K: band highlighted, NaN grey."""
        red, green, blue = self._whole_map().astype(np.uint32).T
        argb: NDArray[np.uint32] = (0xFF000000 | (red << 16) | (green << 8) | blue)[
            self._place(levels_k)
        ]
        if band and self.isotherm is not None:
            low_k, high_k = self.isotherm
            argb[(levels_k >= low_k) & (levels_k <= high_k)] = self.band_colour.rgba()
        argb[np.isnan(levels_k)] = NO_VALUE_ARGB
        return argb
