"""What frames are measured for, and the step that measures: live, in replay, in the background."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from thermview.frames import Frame, Scene, SourceInfo
from thermview.radiometry import CameraProfile
from thermview.regions import Rectangle, Region, RegionSet
from thermview.session.curves import CurveStore
from thermview.session.following import Poses
from thermview.session.measure import MeasureKey, Meter
from thermview.session.triggers import Quantity, TriggerRule

PICTURE_ID = "picture"
"""The whole picture's column, measured where a rule asks for it."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What the frames are measured and watched for: frozen, exchanged as a whole."""

    info: SourceInfo
    scene: Scene
    regions: RegionSet = field(default_factory=RegionSet)
    rules: tuple[TriggerRule, ...] = ()
    profile: CameraProfile | None = None
    repair: bool = True
    poses: Poses | None = None

    @property
    def camera(self) -> CameraProfile | None:
        """Return the profile as it is applied: without bad pixels where they are left as found."""
        if self.profile is None or self.repair:
            return self.profile
        return replace(self.profile, bad_pixels=())

    def keys(self) -> dict[str, MeasureKey]:
        """Return what is measured, by region id."""
        regions = {r.id: r for r in self.regions.regions}
        if any(r.region is None and r.quantity is not Quantity.DEPARTURE for r in self.rules):
            whole = Rectangle(0, 0, self.info.width_px, self.info.height_px)
            regions[PICTURE_ID] = Region(PICTURE_ID, whole)
        return {
            region_id: MeasureKey.of(
                region,
                self.scene,
                self.info.scale,
                self.camera,
                self.poses if region_id != PICTURE_ID else None,
            )
            for region_id, region in regions.items()
        }


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
            self._store.write(
                number, keys, self._meter_for(keys, frame).measure_frame(number, frame)
            )

    def _meter_for(self, keys: tuple[MeasureKey, ...], frame: Frame) -> Meter:
        meter = self._meter
        if meter is None or (meter.keys, meter.picture, meter.scale) != (
            keys,
            frame.shape,
            frame.scale,
        ):
            meter = self._meter = Meter(keys, frame.shape, frame.scale)
        return meter
