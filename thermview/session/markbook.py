"""The marks of a session: what the user and the source set, and what the triggers found."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from thermview.frames import Mark


class MarkBook:
    """Marks in the order of time, from any thread; one that stands already is not doubled."""

    def __init__(self, marks: Iterable[Mark] = ()) -> None:
        self._own = set(marks)
        self._found: set[Mark] = set()
        self._sorted: tuple[Mark, ...] = ()
        self._lock = threading.Lock()
        self._sort()

    @property
    def all(self) -> tuple[Mark, ...]:
        """Return all marks, oldest first."""
        return self._sorted

    @property
    def own(self) -> tuple[Mark, ...]:
        """Return the user's and the source's marks, in no order."""
        with self._lock:
            return tuple(self._own)

    def add(self, mark: Mark) -> None:
        """Add a mark of the user's or the source's."""
        with self._lock:
            self._own.add(mark)
            self._sort()

    def add_found(self, mark: Mark) -> None:
        """Add a mark that a trigger made."""
        with self._lock:
            self._found.add(mark)
            self._sort()

    def replace_found(self, marks: Iterable[Mark], until_s: float) -> None:
        """Put the triggers' marks found anew in place of those up to a time."""
        with self._lock:
            later = {mark for mark in self._found if mark.time_s > until_s}
            self._found = later | set(marks)
            self._sort()

    def remove(self, mark: Mark) -> None:
        """Take a mark away, whoever made it."""
        with self._lock:
            self._own.discard(mark)
            self._found.discard(mark)
            self._sort()

    def _sort(self) -> None:
        self._sorted = tuple(
            sorted(self._own | self._found, key=lambda m: (m.time_s, m.kind.value, m.text))
        )
