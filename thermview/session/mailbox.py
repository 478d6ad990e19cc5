"""A box that holds the newest thing only, so that a slow reader never makes a queue grow."""

from __future__ import annotations

import threading
from typing import Generic, TypeVar

T = TypeVar("T")


class Mailbox(Generic[T]):
    """Latest wins: `put` replaces what nobody has looked at yet; any threads."""

    def __init__(self) -> None:
        self._item: T | None = None
        self._count = 0
        self._arrived = threading.Condition()

    def put(self, item: T) -> None:
        """Leave an item in place of the one before."""
        with self._arrived:
            self._item = item
            self._count += 1
            self._arrived.notify_all()

    @property
    def count(self) -> int:
        """Return how many items were put; tells a reader whether the latest is new."""
        return self._count

    def latest(self) -> T | None:
        """Return the newest item, or None before the first."""
        return self._item

    def wait_beyond(self, count: int, timeout_s: float) -> T | None:
        """Return the newest item once more than `count` were put; None if that takes too long."""
        with self._arrived:
            if self._arrived.wait_for(lambda: self._count > count, timeout_s):
                return self._item
        return None
