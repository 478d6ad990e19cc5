"""Measuring a whole recording for a command: every frame as recorded, in full precision."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Footage, Frame, Scene
from thermview.radiometry import ASSUMED_REFLECTED_K, CameraProfile, conversion
from thermview.regions import Region, RegionSet
from thermview.regions.carried import carried
from thermview.session.following import Poses
from thermview.session.measure import MeasureKey, Meter
from thermview.session.profiles import recorded_profile
from thermview.session.surroundings import around, ring
from thermview.session.worth import Judge
from thermview.units import celsius_from_kelvin


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredFrame:
    """One frame's numbers.

    Attributes
    ----------
    number : int
        Of the frame, from 0.
    time_s : float
        Of the frame.
    held : bool
        The camera's shutter was shut, or the frame is damaged; it is measured all the same.
    table : ndarray of float64, shape (region, statistic)
        In the order of the regions and of `STATISTICS`; K (counts when the scale is relative),
        NaN for a region out of view.
    around_k : ndarray of float64, shape (region,)
        Temperature of the board around each small part, K; NaN where it is of no use.
    """

    number: int
    time_s: float
    held: bool
    table: NDArray[np.float64]
    around_k: NDArray[np.float64]


def measure_footage(
    footage: Footage,
    regions: RegionSet,
    scene: Scene | None = None,
    profile: CameraProfile | None = None,
    judge: Judge | None = None,
    *,
    poses: Poses | None = None,
) -> Iterator[MeasuredFrame]:
    """Measure every frame of a recording, one at a time, as recorded.

    Parameters
    ----------
    footage : Footage
        The recording.
    regions : RegionSet
        What to measure; a region's own emissivity comes before the scene's.
    scene : Scene, optional
        In place of the recording's own.
    profile : CameraProfile, optional
        In place of the recording's own.
    judge : Judge, optional
        Knows which parts are so small that the board around them counts.
    poses : Poses, optional
        Where the board is: the regions go along with it, NaN where it is lost.

    Yields
    ------
    MeasuredFrame
        In the frames' order, none left out.
    """
    scene = footage.info.scene if scene is None else scene
    scale = footage.info.scale
    known = recorded_profile(footage) if profile is None else profile
    keys = tuple(MeasureKey.of(region, scene, scale, known, poses) for region in regions.regions)
    meter: Meter | None = None
    for number in range(footage.first, len(footage)):
        frame = footage.frame(number)
        if meter is None or (meter.picture, meter.scale) != (frame.shape, frame.scale):
            meter = Meter(keys, frame.shape, frame.scale)
        table = meter.measure_frame(number, frame)
        matrix = None if poses is None else poses.matrix(number)
        placed = [r if matrix is None else _carried(r, matrix) for r in regions.regions]
        around_k = np.array([_around(region, judge, frame, known) for region in placed])
        yield MeasuredFrame(number, frame.time_s, frame.held, table, around_k)


def _carried(region: Region, matrix: NDArray[np.float64]) -> Region:
    return replace(region, shape=carried(region.shape, matrix))


def _around(
    region: Region, judge: Judge | None, frame: Frame, profile: CameraProfile | None
) -> float:
    body_px = None if judge is None else judge.body_px(region)
    if judge is None or body_px is None or judge.recovery(region, "max") is None:
        return math.nan
    counts = frame.counts.ravel()[ring(region.shape, body_px, frame.shape)]
    return around(conversion(frame.scale, judge.setting(region), profile)(counts))


def measuring_notes(
    footage: Footage,
    regions: RegionSet,
    scene: Scene | None = None,
    profile: CameraProfile | None = None,
) -> list[str]:
    """Return what a reader of the numbers should know: what was assumed, what is apparent."""
    scene = footage.info.scene if scene is None else scene
    if footage.info.scale.relative:
        return ["brightness in counts: this source tells no temperatures"]
    apparent = [
        r.name for r in regions.regions if r.emissivity is None and scene.emissivity is None
    ]
    assumed = [
        r.name
        for r in regions.regions
        if r.name not in apparent and r.reflected_k is None and scene.reflected_k is None
    ]
    notes = []
    known = recorded_profile(footage) if profile is None else profile
    if known is not None:
        notes.append(f"camera {known.name or 'unnamed'}: {known.words()}")
    if apparent:
        notes.append(f"apparent temperature, no emissivity is stated: {', '.join(apparent)}")
    if assumed:
        reflected_c = celsius_from_kelvin(ASSUMED_REFLECTED_K)
        notes.append(
            f"reflected temperature not stated, {reflected_c:g} °C assumed: {', '.join(assumed)}"
        )
    return notes
