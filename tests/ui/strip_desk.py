"""A real desk on an invented film whose curves are given as arrays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

import numpy as np
from fake_desk import FakeFootage, FakeSession, make_desk
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Frame, Mark, MarkKind, Scale
from thermview.regions import Difference, Region, RegionSet, Spot
from thermview.session.curves import CurveStore
from thermview.session.player import Player
from thermview.session.session import Session
from thermview.ui.desk import Desk

Values = NDArray[np.float32]


class GivenCurves:
    """Curves by region id, K."""

    def __init__(self, times_s: NDArray[np.float64], columns: Mapping[str, Values]) -> None:
        self.times_s = times_s
        self.columns = dict(columns)
        self.held = np.zeros(len(times_s), dtype=np.bool_)
        self.zero_k = 293.15
        self.differences: tuple[Difference, ...] = ()
        self.revision = 0

    def __len__(self) -> int:
        return len(self.times_s)

    def column(self, region_id: str, statistic: str) -> Values:
        if region_id not in self.columns:
            raise UsageError(f"no region has the id {region_id!r}")
        return self.columns[region_id]

    def value(self, region_id: str, statistic: str, number: int) -> float:
        return float(self.column(region_id, statistic)[number])

    def rise(self, region_id: str, statistic: str) -> Values:
        return self.column(region_id, statistic) - np.float32(self.zero_k)

    def difference(self, difference_id: str, statistic: str) -> Values:
        wanted = next(d for d in self.differences if d.id == difference_id)
        return self.columns[wanted.minuend_id] - self.columns[wanted.subtrahend_id]


class FilmDesk:
    """The desk, and handles on what stands behind it."""

    def __init__(
        self,
        times_s: NDArray[np.float64],
        celsius: Mapping[str, NDArray[Any]],
        *,
        live: bool = False,
        with_difference: bool = False,
    ) -> None:
        picture = np.full((4, 4), 29315, dtype=np.uint16)
        self.desk: Desk = make_desk([picture], live=live)
        about = self.desk.session.info if self.desk.session else None
        assert about is not None
        frames = [Frame(picture, float(t), i, Scale(0.01)) for i, t in enumerate(times_s)]
        self.session = FakeSession(FakeFootage(about, frames))
        self.regions = tuple(
            Region(name=name, shape=Spot(1.0, 1.0), id=name.lower()) for name in celsius
        )
        self.curves = GivenCurves(
            times_s,
            {n.lower(): (v + 273.15).astype(np.float32) for n, v in celsius.items()},
        )
        self.session.curves = cast(CurveStore, self.curves)
        if with_difference:
            first, second = self.regions[:2]
            self.curves.differences = (
                Difference(
                    name=f"{first.name} − {second.name}",
                    minuend_id=first.id,
                    subtrahend_id=second.id,
                ),
            )
        self.desk.session = cast(Session, self.session)
        self.desk.player = Player(self.session.footage)
        self.desk.document.reset(RegionSet(self.regions, self.curves.differences))
        self.desk.display.set_level(293.15, 333.15)
        self.desk.seek(0)

    def mark(self, time_s: float, kind: MarkKind = MarkKind.PLAIN, text: str = "") -> Mark:
        made = Mark(time_s, kind, text)
        self.session.marks = (*self.session.marks, made)
        self.desk.marks_changed.emit()
        return made

    def grow(self, times_s: NDArray[np.float64], celsius: Mapping[str, NDArray[Any]]) -> None:
        """Let the film grow to these times and curves, as a camera's does."""
        picture = self.session.footage.frames[0].counts
        frames = [Frame(picture, float(t), i, Scale(0.01)) for i, t in enumerate(times_s)]
        self.session.footage.frames[:] = frames
        self.session.footage.times_s = times_s
        self.curves.times_s = times_s
        self.curves.held = np.zeros(len(times_s), dtype=np.bool_)
        self.curves.columns = {
            n.lower(): (v + 273.15).astype(np.float32) for n, v in celsius.items()
        }
        self.desk.tick()
        self.desk.curves_grew.emit()
