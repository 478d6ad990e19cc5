"""Footage that tells how far it has been read."""

from __future__ import annotations

from collections.abc import Callable

from thermview.frames import Footage, FootageOver, Frame


class Watched(FootageOver):
    """Footage whose reading is told, and can be cancelled, frame by frame."""

    def __init__(self, footage: Footage, reading: Callable[[int, int], None]) -> None:
        super().__init__(footage)
        self._reading = reading

    def frame(self, number: int) -> Frame:
        """Return a frame, after telling which; see `Footage`."""
        self._reading(number - self.first, len(self) - self.first)
        return super().frame(number)
