"""The curves of the regions: columns that grow while others read them."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.trend import rates
from thermview.errors import UsageError
from thermview.regions import Difference
from thermview.session.measure import STATISTICS, MeasureKey

RATE_WINDOW_S = 2.0
"""Window of a rate of rise: long against the noise, short against a part's warming."""

Column = NDArray[np.float32]
Scalar = TypeVar("Scalar", bound=np.generic)


class _Block:
    """Seven columns of one key, and which rows of them are measured."""

    def __init__(self, capacity: int) -> None:
        self.values = np.full((len(STATISTICS), capacity), np.nan, dtype=np.float32)
        self.measured = np.zeros(capacity, dtype=np.bool_)

    def grow(self, capacity: int) -> None:
        old = self.measured.size
        values = np.full((len(STATISTICS), capacity), np.nan, dtype=np.float32)
        values[:, :old] = self.values
        measured = np.zeros(capacity, dtype=np.bool_)
        measured[:old] = self.measured
        self.values, self.measured = values, measured


class CurveStore:
    """Rows by frame number, columns by region and statistic; float32, K (counts when relative).

    Any thread may read and write. What the reading methods return is a read-only view of length
    `len(store)` at the time of the call; rows written later show in it until the store grows.
    """

    def __init__(self, times_s: Iterable[float] = (), capacity: int = 1024) -> None:
        known = np.fromiter(times_s, dtype=np.float64)
        self._count = known.size
        self._capacity = max(capacity, known.size)
        self._times_s = np.zeros(self._capacity)
        self._times_s[: known.size] = known
        self._held = np.zeros(self._capacity, dtype=np.bool_)
        self._seen = np.zeros(self._capacity, dtype=np.bool_)
        self._blocks: dict[MeasureKey, _Block] = {}
        self._keys: dict[str, MeasureKey] = {}
        self._differences: dict[str, Difference] = {}
        self._baseline: tuple[float, float] | None = None
        self._lock = threading.RLock()
        self.revision = 0

    # -- writing -------------------------------------------------------------------------------

    def append(self, time_s: float, *, held: bool) -> int:
        """Add a row for a new frame and return its number; its columns are not measured yet."""
        with self._lock:
            if self._count == self._capacity:
                self._grow(2 * self._capacity)
            number = self._count
            self._times_s[number] = time_s
            self._held[number] = held
            self._seen[number] = True
            self._count += 1
            return number

    def see(self, number: int, *, held: bool) -> None:
        """Note whether an already counted frame is held."""
        with self._lock:
            self._held[number] = held
            self._seen[number] = True
            self.revision += held

    def write(
        self, number: int, keys: Iterable[MeasureKey], table: NDArray[np.float64] | None
    ) -> None:
        """Write a measured row; None where the frame is held. Keys no longer wanted are skipped."""
        with self._lock:
            for position, key in enumerate(keys):
                block = self._blocks.get(key)
                if block is not None:
                    block.measured[number] = True
                    if table is not None:
                        block.values[:, number] = table[position]

    def give_up(self, number: int) -> None:
        """Leave a row NaN for good: its frame cannot be had. One never seen counts as held."""
        with self._lock:
            self._held[number] |= not self._seen[number]
            self._seen[number] = True
            for block in self._blocks.values():
                block.measured[number] = True

    def touch(self) -> None:
        """Say that rows other than the newest have changed."""
        with self._lock:
            self.revision += 1

    def set_columns(
        self, keys: Mapping[str, MeasureKey], differences: Iterable[Difference] = ()
    ) -> None:
        """Set what is measured, by region id; columns whose key stays keep their rows."""
        with self._lock:
            self._blocks = {
                key: self._blocks.get(key) or _Block(self._capacity) for key in keys.values()
            }
            self._keys = dict(keys)
            self._differences = {d.id: d for d in differences}
            self.revision += 1

    def set_baseline(self, interval_s: tuple[float, float] | None) -> None:
        """Set the interval (start, end), s, whose mean is the zero of the rises."""
        with self._lock:
            self._baseline = interval_s
            self.revision += 1

    def _grow(self, capacity: int) -> None:
        def longer(old: NDArray[Scalar]) -> NDArray[Scalar]:
            new = np.zeros(capacity, dtype=old.dtype)
            new[: old.size] = old
            return new

        self._times_s = longer(self._times_s)
        self._held = longer(self._held)
        self._seen = longer(self._seen)
        for block in self._blocks.values():
            block.grow(capacity)
        self._capacity = capacity

    # -- reading -------------------------------------------------------------------------------

    def __len__(self) -> int:
        return self._count

    @property
    def nbytes(self) -> int:
        """Return the memory taken, room for rows to come included."""
        with self._lock:
            blocks = sum(b.values.nbytes + b.measured.nbytes for b in self._blocks.values())
            return blocks + self._times_s.nbytes + self._held.nbytes + self._seen.nbytes

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the frames' times, s, shape (len,)."""
        with self._lock:
            return _view(self._times_s[: self._count])

    def time_s(self, number: int) -> float:
        """Return the time of one frame, s."""
        with self._lock:
            return float(self._times_s[: self._count][number])

    @property
    def baseline(self) -> tuple[float, float] | None:
        """Return the interval (start, end), s, whose mean is the zero of the rises."""
        return self._baseline

    @property
    def held(self) -> NDArray[np.bool_]:
        """Return which frames show no new moment (shutter, damaged), shape (len,)."""
        with self._lock:
            return _view(self._held[: self._count])

    def missing(self, first: int, stop: int) -> NDArray[np.intp]:
        """Return the numbers in `first` … `stop` - 1 of frames that are not measured in full."""
        with self._lock:
            whole = self._seen[first:stop].copy()
            for block in self._blocks.values():
                whole &= block.measured[first:stop]
        return np.flatnonzero(~whole) + first

    def unmeasured(self, number: int) -> tuple[MeasureKey, ...]:
        """Return the keys that frame `number` is not measured for."""
        with self._lock:
            return tuple(k for k, block in self._blocks.items() if not block.measured[number])

    def column(self, region_id: str, statistic: str) -> Column:
        """Return a curve, float32, shape (len,); NaN where not measured (yet) or held.

        Raises
        ------
        UsageError
            No such region or statistic.
        """
        row = _row(statistic)
        with self._lock:
            key = self._keys.get(region_id)
            if key is None:
                raise UsageError(f"no region has the id {region_id!r}; measured: {[*self._keys]}")
            return _view(self._blocks[key].values[row, : self._count])

    def value(self, region_id: str, statistic: str, number: int) -> float:
        """Return one number of a curve, NaN where there is none."""
        with self._lock:
            key = self._keys.get(region_id)
            if key is None or not 0 <= number < self._count:
                return float("nan")
            return float(self._blocks[key].values[_row(statistic), number])

    def zero(self, region_id: str, statistic: str) -> float:
        """Return the mean of a curve over the baseline's interval, NaN without one."""
        with self._lock:
            interval = self._baseline
        if interval is None:
            return float("nan")
        times = self.times_s
        low = np.searchsorted(times, interval[0], side="left")
        high = np.searchsorted(times, interval[1], side="right")
        part = self.column(region_id, statistic)[low:high]
        part = part[~np.isnan(part)]
        return float(part.mean(dtype=np.float64)) if part.size else float("nan")

    def rise(self, region_id: str, statistic: str) -> Column:
        """Return a curve minus its mean over the baseline's interval, K; NaN without one."""
        return self.column(region_id, statistic) - np.float32(self.zero(region_id, statistic))

    def rate(self, region_id: str, statistic: str, window_s: float = RATE_WINDOW_S) -> Column:
        """Return the robust slope of a curve over the `window_s` before each frame, K/s."""
        column = self.column(region_id, statistic)
        return rates(self.times_s[: column.size], column, window_s).astype(np.float32)

    def difference(self, difference_id: str, statistic: str) -> Column:
        """Return the first region's curve minus the second's, K.

        Raises
        ------
        UsageError
            No such difference.
        """
        with self._lock:
            wanted = self._differences.get(difference_id)
            if wanted is None:
                raise UsageError(f"no difference has the id {difference_id!r}")
            return self.column(wanted.minuend_id, statistic) - self.column(
                wanted.subtrahend_id, statistic
            )


def _row(statistic: str) -> int:
    try:
        return STATISTICS.index(statistic)
    except ValueError:
        raise UsageError(
            f"no statistic is called {statistic!r}; give one of {STATISTICS}"
        ) from None


def _view(array: NDArray[Scalar]) -> NDArray[Scalar]:
    view = array.view()
    view.setflags(write=False)
    return view
