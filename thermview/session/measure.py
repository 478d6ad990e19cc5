"""Measuring the regions of one picture: the same object live, in replay and for a command."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts, Frame, Scale, Scene
from thermview.radiometry import CameraProfile, Setting, conversion, setting_for
from thermview.radiometry.bad_pixels import BadPixelRepair
from thermview.regions import Region, RegionPixels, Shape, measure
from thermview.regions.carried import carried, mapped
from thermview.session.following import Poses

STATISTICS = ("min", "mean", "max", "max_x", "max_y", "min_x", "min_y")
"""What is known of a region in a frame, in the order of `RegionStats`; temperatures in K (counts
when the scale is relative), places in pixels on the image axes."""


@dataclass(frozen=True, slots=True)
class MeasureKey:
    """All that a region's numbers depend on besides the picture."""

    shape: Shape
    setting: Setting | None
    profile: CameraProfile | None = None
    poses: Poses | None = None
    """Where the board is in each frame, which the shape goes along with."""

    @classmethod
    def of(
        cls,
        region: Region,
        scene: Scene,
        scale: Scale,
        profile: CameraProfile | None = None,
        poses: Poses | None = None,
    ) -> MeasureKey:
        """Return the key of a region: brightness has no emissivity and no camera's error."""
        if scale.relative:
            return cls(region.shape, None, poses=poses)
        setting = setting_for(region.emissivity, region.reflected_k, scene)
        return cls(region.shape, setting, profile, poses)


def converter(
    scale: Scale, setting: Setting | None, profile: CameraProfile | None
) -> Callable[[Counts], NDArray[np.float32]] | None:
    """Return the function from counts to K; None where the scale alone says it."""
    if setting is None and (profile is None or not profile.corrects):
        return None
    return conversion(scale, setting, profile)


@lru_cache(maxsize=8)
def repair_for(profile: CameraProfile | None, picture: tuple[int, int]) -> BadPixelRepair | None:
    """Return what fills a camera's bad pixels; None where none is known in such pictures."""
    if profile is None or not profile.bad_pixels:
        return None
    mask = np.zeros(picture, dtype=np.bool_)
    flat = np.asarray(profile.bad_pixels)
    if flat.min() < 0 or flat.max() >= mask.size:  # found in pictures of another size
        return None
    mask.flat[flat] = True
    return None if mask.all() else BadPixelRepair(mask)


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
                converter(scale, key.setting, key.profile),
            )
            for key in self.keys
        ]
        # a picture has one camera: what holds for one key holds for all
        self._repair = repair_for(self.keys[0].profile, picture) if self.keys else None

    @property
    def poses(self) -> Poses | None:
        """Return where the board is, where a shape goes along with it."""
        return next((key.poses for key in self.keys if key.poses is not None), None)

    def measure(
        self, counts: Counts, matrix: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Measure one picture.

        Parameters
        ----------
        counts : ndarray, shape (row, column)
        matrix : ndarray, shape (3, 3), optional
            Where the board is in this picture; places are told in the shapes' own pixels.

        Returns
        -------
        ndarray of float64, shape (key, statistic)
            In the order of `STATISTICS`; NaN for a region without a pixel in view.
        """
        scale = self._reading_scale
        if self._repair is not None:
            counts = self._repair.repair(counts)
        rows = []
        back = np.asarray(np.linalg.inv(np.eye(3) if matrix is None else matrix), np.float64)
        for key, (pixels, convert) in zip(self.keys, self._jobs, strict=True):
            if key.poses is None or matrix is None:
                rows.append(np.array(measure(counts, pixels, scale, convert)))
                continue
            here = RegionPixels.of(carried(key.shape, matrix), self.picture)
            row = np.array(measure(counts, here, scale, convert))
            row[3:7] = mapped(back, row[3:7].reshape(2, 2)).ravel()
            rows.append(row)
        return np.array(rows, dtype=np.float64).reshape(len(rows), len(STATISTICS))

    def measure_frame(self, number: int, frame: Frame) -> NDArray[np.float64]:
        """Measure a frame; shapes go along with the board, and are NaN where it is lost."""
        poses = self.poses
        if poses is None:
            return self.measure(frame.counts)
        matrix = poses.take(number, frame)
        table = self.measure(frame.counts, matrix)
        if matrix is None:
            table[[key.poses is not None for key in self.keys]] = np.nan
        return table
