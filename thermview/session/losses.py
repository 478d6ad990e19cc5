"""Frames that did not arrive whole, counted where it happens."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Losses:
    """Counts of frames since the session started.

    Attributes
    ----------
    received : int
        Delivered by the source, whatever became of them.
    queue_dropped : int
        Received, but the pipeline was too slow to take them.
    source_lost : int
        Never delivered: holes in the source's own numbering.
    damaged : int
        Delivered damaged, or with a time that does not follow the frame before.
    repeated : int
        Delivered again by the source in place of a new picture.
    late : int
        Came much later after the one before than is usual, though none was lost between.
    writer_dropped : int
        Measured and shown, but missing in the file being recorded.
    """

    received: int = 0
    queue_dropped: int = 0
    source_lost: int = 0
    damaged: int = 0
    repeated: int = 0
    late: int = 0
    writer_dropped: int = 0

    @property
    def lost(self) -> int:
        """Return the frames that are missing somewhere."""
        return self.queue_dropped + self.source_lost + self.writer_dropped


class LossCounter:
    """The counts, added to by any thread."""

    def __init__(self) -> None:
        self._losses = Losses()
        self._lock = threading.Lock()

    def add(self, **more: int) -> None:
        """Add to the counts by name."""
        with self._lock:
            sums = {name: getattr(self._losses, name) + number for name, number in more.items()}
            self._losses = replace(self._losses, **sums)

    def now(self) -> Losses:
        """Return the counts as they stand."""
        return self._losses
