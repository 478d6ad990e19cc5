"""One picture of the camera, and what its counts mean."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError

Counts = NDArray[Any]
"""A picture as the source gave it: uint16 or float32, shape ``(row, column)``."""


class FrameFlag(IntFlag):
    """What is known against a frame; the values are those of the recording's `flags`."""

    NONE = 0
    DAMAGED = 1
    REPEATED = 2
    GAP_BEFORE = 4


@dataclass(frozen=True, slots=True)
class Scale:
    """What a count means: apparent temperature = counts x `k_per_count` + `offset_k`, K.

    With `relative` the counts are brightness only and mean no temperature: such pictures are
    shown and measured in counts, never in degrees.
    """

    k_per_count: float
    offset_k: float = 0.0
    relative: bool = False

    def __post_init__(self) -> None:
        if not (np.isfinite(self.k_per_count) and np.isfinite(self.offset_k)):
            raise InputError(
                f"the scale is {self.k_per_count} K per count with offset {self.offset_k} K; "
                "both must be finite numbers"
            )
        if self.k_per_count <= 0:
            raise InputError(f"the scale is {self.k_per_count} K per count; it must be above 0")

    def kelvin(self, counts: Counts) -> NDArray[np.float64]:
        """Return apparent temperatures, K, float64, in the shape of `counts`."""
        result: NDArray[np.float64] = np.multiply(counts, self.k_per_count, dtype=np.float64)
        result += self.offset_k
        return result

    def kelvin_of(self, count: float) -> float:
        """Return the apparent temperature, K, of one (possibly fractional) count."""
        return count * self.k_per_count + self.offset_k


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One picture: immutable, so that it may cross threads.

    Attributes
    ----------
    counts : ndarray of uint16 or float32, shape (row, column)
        As the source gave them; made read-only. NaN (float only) is a pixel without a value.
    time_s : float
        Seconds since the source's `start_time`.
    index : int
        Position in the source's own numbering, from 0, lost frames included where they are known.
    scale : Scale
        What the counts mean.
    shutter : bool
        Held by the camera's shutter: the picture is not of the scene now.
    flags : FrameFlag
        What is known against the frame.
    """

    counts: Counts
    time_s: float
    index: int
    scale: Scale
    shutter: bool = False
    flags: FrameFlag = FrameFlag.NONE

    def __post_init__(self) -> None:
        if self.counts.ndim != 2 or self.counts.dtype not in (np.uint16, np.float32):
            raise InputError(
                f"a frame is a 2-D picture of uint16 or float32, not {self.counts.ndim}-D "
                f"of {self.counts.dtype}"
            )
        self.counts.setflags(write=False)

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, columns)."""
        rows, columns = self.counts.shape
        return int(rows), int(columns)

    @property
    def held(self) -> bool:
        """Tell whether the frame shows no new moment of the scene (shutter) or is damaged."""
        return self.shutter or bool(self.flags & FrameFlag.DAMAGED)

    def kelvin(self) -> NDArray[np.float64]:
        """Return the apparent temperatures, K, float64, shape (row, column)."""
        return self.scale.kelvin(self.counts)
