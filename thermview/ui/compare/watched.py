"""Footage that tells how far it has been read."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage, Frame, Mark, SourceInfo, SupplyLog

Floats = NDArray[np.float64]


class Watched:
    """Footage whose reading is told, and can be cancelled, frame by frame."""

    def __init__(self, footage: Footage, reading: Callable[[int, int], None]) -> None:
        self._footage = footage
        self._reading = reading

    @property
    def info(self) -> SourceInfo:
        """Return the footage's."""
        return self._footage.info

    @property
    def times_s(self) -> Floats:
        """Return the footage's."""
        return self._footage.times_s

    @property
    def first(self) -> int:
        """Return the footage's."""
        return self._footage.first

    @property
    def supply(self) -> SupplyLog | None:
        """Return the footage's."""
        return self._footage.supply

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the footage's."""
        return self._footage.marks

    def __len__(self) -> int:
        return len(self._footage)

    def frame(self, number: int) -> Frame:
        """Return a frame, after telling which; see `Footage`."""
        self._reading(number - self.first, len(self) - self.first)
        return self._footage.frame(number)

    def close(self) -> None:
        """Do nothing: the footage is its owner's."""
