"""Footage laid over other footage."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.frames.frame import Frame
from thermview.frames.info import Mark, SourceInfo, SupplyLog
from thermview.frames.protocols import Footage


class FootageOver:
    """The same as the footage beneath, but for what a subclass changes.

    Parameters
    ----------
    footage : Footage
        Stays open and the caller's.
    """

    def __init__(self, footage: Footage) -> None:
        self._footage = footage

    @property
    def info(self) -> SourceInfo:
        """Return the footage's; see `Footage`."""
        return self._footage.info

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the footage's; see `Footage`."""
        return self._footage.times_s

    @property
    def first(self) -> int:
        """Return the footage's; see `Footage`."""
        return self._footage.first

    @property
    def supply(self) -> SupplyLog | None:
        """Return the footage's; see `Footage`."""
        return self._footage.supply

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the footage's; see `Footage`."""
        return tuple(self._footage.marks)

    def __len__(self) -> int:
        return len(self._footage)

    def frame(self, number: int) -> Frame:
        """Return the footage's; see `Footage`."""
        return self._footage.frame(number)

    def close(self) -> None:
        """Do nothing: the footage beneath is the caller's."""
