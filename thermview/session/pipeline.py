"""The one way of a frame: held out or measured, then the triggers, then the sinks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

from thermview.frames import Frame, Scale, Scene
from thermview.regions import RegionSet
from thermview.session.curves import CurveStore
from thermview.session.measure import MeasureKey, Meter


@dataclass(frozen=True, slots=True)
class Plan:
    """What the frames are measured for: frozen, exchanged as a whole."""

    regions: RegionSet = field(default_factory=RegionSet)
    scene: Scene = field(default_factory=Scene)

    def keys(self, scale: Scale) -> dict[str, MeasureKey]:
        """Return what is measured for each region, by region id."""
        return {r.id: MeasureKey.of(r, self.scene, scale) for r in self.regions.regions}


class Step(Protocol):
    """One step of the pipeline, on the pipeline's thread."""

    def take(self, number: int, frame: Frame) -> None:
        """Deal with the session's frame `number`."""
        ...


class Watch(Protocol):
    """A step that looks at measured rows in their order, and at frames only where it needs them."""

    @property
    def needs_frames(self) -> bool:
        """Tell whether rows are not enough."""
        ...

    def take(self, number: int, frame: Frame | None) -> None:
        """Look at row `number`; the frame may be None unless it needs frames."""
        ...


class MeasureStep:
    """Measures what is missing in a frame's row; a held frame's row stays NaN."""

    def __init__(self, store: CurveStore) -> None:
        self._store = store
        self._meter: Meter | None = None

    def take(self, number: int, frame: Frame) -> None:
        """Measure one frame into its row."""
        keys = self._store.unmeasured(number)
        if frame.held or not keys:
            self._store.write(number, keys, None)
        else:
            self._store.write(number, keys, self._meter_for(keys, frame).measure(frame.counts))

    def _meter_for(self, keys: tuple[MeasureKey, ...], frame: Frame) -> Meter:
        meter = self._meter
        if meter is None or (meter.keys, meter.picture, meter.scale) != (
            keys,
            frame.shape,
            frame.scale,
        ):
            meter = self._meter = Meter(keys, frame.shape, frame.scale)
        return meter


class Pipeline:
    """The steps in their order."""

    def __init__(self, steps: Iterable[Step]) -> None:
        self._steps = tuple(steps)

    def take(self, number: int, frame: Frame) -> None:
        """Lead one frame through all steps."""
        for step in self._steps:
            step.take(number, frame)
