"""The supply's readings of a live session, gathered while others read them."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from thermview.frames import SupplyLog, SupplySample


class SupplyBook:
    """A supply log that grows; samples that do not follow in time are left out."""

    def __init__(self) -> None:
        self._samples: list[SupplySample] = []
        self._log: SupplyLog | None = None
        self._lock = threading.Lock()

    def add(self, samples: Iterable[SupplySample]) -> None:
        """Take new samples."""
        with self._lock:
            for sample in samples:
                if not self._samples or sample.time_s > self._samples[-1].time_s:
                    self._samples.append(sample)
                    self._log = None

    def log(self) -> SupplyLog | None:
        """Return the log so far, None before the first sample."""
        with self._lock:
            if self._log is None and self._samples:
                self._log = SupplyLog.of(self._samples)
            return self._log
