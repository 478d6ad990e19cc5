"""Measuring the regions of one picture: the same object live, in replay and for a command."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts, Scale, Scene
from thermview.radiometry import Setting, conversion, setting_for
from thermview.regions import Region, RegionPixels, Shape, measure

STATISTICS = ("min", "mean", "max", "max_x", "max_y", "min_x", "min_y")
"""What is known of a region in a frame, in the order of `RegionStats`; temperatures in K (counts
when the scale is relative), places in pixels on the image axes."""


@dataclass(frozen=True, slots=True)
class MeasureKey:
    """All that a region's numbers depend on besides the picture."""

    shape: Shape
    setting: Setting | None

    @classmethod
    def of(cls, region: Region, scene: Scene, scale: Scale) -> MeasureKey:
        """Return the key of a region: brightness has no emissivity."""
        if scale.relative:
            return cls(region.shape, None)
        return cls(region.shape, setting_for(region.emissivity, region.reflected_k, scene))


class Meter:
    """Measures a list of keys on pictures of one size and scale.

    Parameters
    ----------
    keys : iterable of MeasureKey
        What to measure, in the order of the table's rows.
    picture : (rows, columns)
        Size of the pictures.
    scale : Scale
        What their counts mean; with a relative scale the results are in counts.
    """

    def __init__(self, keys: Iterable[MeasureKey], picture: tuple[int, int], scale: Scale) -> None:
        self.keys = tuple(keys)
        self.picture = picture
        self.scale = scale
        self._reading_scale = Scale(1.0) if scale.relative else scale
        self._jobs = [
            (
                RegionPixels.of(key.shape, picture),
                None if key.setting is None else conversion(scale, key.setting),
            )
            for key in self.keys
        ]

    def measure(self, counts: Counts) -> NDArray[np.float64]:
        """Measure one picture.

        Returns
        -------
        ndarray of float64, shape (key, statistic)
            In the order of `STATISTICS`; NaN for a region without a pixel in view.
        """
        scale = self._reading_scale
        rows = [measure(counts, pixels, scale, convert) for pixels, convert in self._jobs]
        return np.array(rows, dtype=np.float64).reshape(len(rows), len(STATISTICS))
