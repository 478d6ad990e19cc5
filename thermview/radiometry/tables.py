"""From counts to object temperature by look-up, however many settings one picture needs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Counts, Scale
from thermview.radiometry.equation import object_temperature
from thermview.radiometry.profile import CameraProfile
from thermview.radiometry.setting import Setting

Kelvin = NDArray[np.float32]
COUNT_VALUES = 65_536


@lru_cache(maxsize=128)  # a quarter of a megabyte each
def table(scale: Scale, setting: Setting | None, profile: CameraProfile | None = None) -> Kelvin:
    """Return the object temperature, K, of every uint16 count; read-only, shape (65536,).

    With `setting` None it is the apparent temperature. NaN where no object could look like that.
    """
    result = _kelvin(np.arange(COUNT_VALUES), scale, setting, profile)
    result.setflags(write=False)
    return result


@lru_cache(maxsize=128)
def conversion(
    scale: Scale, setting: Setting | None, profile: CameraProfile | None = None
) -> Callable[[Counts], Kelvin]:
    """Return the function from counts (any shape) to object temperature, K, float32.

    uint16 counts take one look-up each; others are put through the equation. With a profile, what
    the camera corrects itself is undone and its own error taken off first.
    """

    def convert(counts: Counts) -> Kelvin:
        if counts.dtype == np.uint16:
            found: Kelvin = table(scale, setting, profile)[counts]
            return found
        return _kelvin(counts, scale, setting, profile)

    return convert


def _kelvin(
    counts: Counts, scale: Scale, setting: Setting | None, profile: CameraProfile | None
) -> Kelvin:
    apparent_k = scale.kelvin(counts)
    if profile is not None:
        apparent_k = profile.apparent(apparent_k)
    kelvin = apparent_k if setting is None else object_temperature(apparent_k, setting)
    return kelvin.astype(np.float32)


class FrameConverter:
    """Whole pictures to object temperature, with regions of settings of their own.

    The settings' tables stand end to end in one array of 65,536 entries each. A pixel's place in it
    is one integer: its setting's number above, its count in the lowest 16 bits. So a picture costs
    writing its counts into those bits and one look-up per pixel, whatever the number of settings.

    Parameters
    ----------
    shape : (rows, columns)
        Of every picture.
    scale : Scale
        What counts mean.
    default : Setting or None
        For pixels in no region; None leaves them apparent.
    regions : sequence of (mask or flat indices, Setting or None)
        A bool mask of `shape`, or flat indices in row-major order. Where regions overlap, the
        later one holds.
    profile : CameraProfile or None
        What is known of the camera.
    """

    def __init__(
        self,
        shape: tuple[int, int],
        scale: Scale,
        default: Setting | None,
        regions: Sequence[tuple[NDArray[Any], Setting | None]] = (),
        *,
        profile: CameraProfile | None = None,
    ) -> None:
        settings = list(dict.fromkeys([default, *(setting for _, setting in regions)]))
        self._shape = shape
        self._scale = scale
        self._profile = profile
        self._settings = settings
        self._place = np.zeros(shape[0] * shape[1], dtype=np.int64)
        for where, setting in regions:
            pixels = where.ravel() if where.dtype == np.bool_ else where
            self._place[pixels] = settings.index(setting) * COUNT_VALUES
        words = self._place.view(np.uint16).reshape(-1, 4)
        self._count = words[:, 0 if sys.byteorder == "little" else 3].reshape(shape)
        self._tables = np.concatenate([table(scale, s, profile) for s in settings])

    def kelvin(self, counts: Counts, out: Kelvin | None = None) -> Kelvin:
        """Return object temperatures, K, float32, shape (row, column); NaN where not solvable.

        `out`, float32 of the same shape and contiguous, is filled and returned when given: live
        pictures then need no new memory, which takes as long as the look-up itself. Not for two
        threads at once.
        """
        if counts.shape != self._shape:
            raise UsageError(f"the picture is {counts.shape}, the converter is for {self._shape}")
        result = np.empty(self._shape, dtype=np.float32) if out is None else out
        if counts.dtype == np.uint16:
            self._count[:] = counts
            # no place is ever out of range; "wrap" only spares numpy a buffer
            self._tables.take(self._place, out=result.reshape(-1), mode="wrap")
            return result
        for number, setting in enumerate(self._settings):
            here = (self._place // COUNT_VALUES == number).reshape(self._shape)
            result[here] = conversion(self._scale, setting, self._profile)(counts[here])
        return result
