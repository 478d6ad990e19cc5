"""A real desk on invented frames in memory, with its clock stopped: nothing runs by itself."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame, Mark, Scale, Scene, SourceInfo, SupplyLog
from thermview.radiometry import CameraProfile
from thermview.radiometry.noise import NoiseReport
from thermview.radiometry.shiny import ShinyMap
from thermview.regions import RegionSet
from thermview.session.curves import CurveStore
from thermview.session.losses import Losses
from thermview.session.session import Session
from thermview.session.states import SessionState
from thermview.ui.desk import Desk
from thermview.ui.settings import Settings

CENTIKELVIN = Scale(0.01)


class FakeFootage:
    """Frames in a list."""

    def __init__(self, info: SourceInfo, frames: list[Frame]) -> None:
        self.info, self.frames = info, frames
        self.times_s = np.array([f.time_s for f in frames])
        self.first = 0
        self.supply: SupplyLog | None = None
        self.marks: tuple[Mark, ...] = ()

    def __len__(self) -> int:
        return len(self.frames)

    def frame(self, number: int) -> Frame:
        return self.frames[number]

    def close(self) -> None:
        pass


class FakeSession:
    """What the widgets ask of a session; measures nothing and runs no thread."""

    profile: CameraProfile | None = None
    poses = None
    camera: CameraProfile | None = None
    shiny: ShinyMap | None = None
    noise: NoiseReport | None = None

    def __init__(self, footage: FakeFootage) -> None:
        self.info, self.footage = footage.info, footage
        self.pictures = footage
        self.scene = footage.info.scene
        self.curves = CurveStore(footage.times_s)
        self.is_live = footage.info.live
        self.state = SessionState.RUNNING
        self.trouble = ""
        self.losses = Losses()
        self.marks: tuple[Mark, ...] = ()
        self.supply: SupplyLog | None = None
        self.recording = None
        self.baseline: tuple[float, float] | None = None
        self.baseline_k: NDArray[np.float32] | None = None
        self.regions = RegionSet()

    def set_regions(self, regions: RegionSet) -> None:
        self.regions = regions

    def progress(self) -> tuple[int, int]:
        return (0, 0)

    def take_events(self) -> list[Any]:
        return []

    def baseline_image(self) -> NDArray[np.float32] | None:
        return self.baseline_k

    def close(self) -> None:
        pass


def make_desk(
    pictures: Sequence[NDArray[Any]],
    *,
    scale: Scale = CENTIKELVIN,
    scene: Scene | None = None,
    **info: Any,
) -> Desk:
    """Return a desk that shows the first of `pictures` (row, column), 25 per second."""
    frames = [Frame(counts, i / 25, i, scale) for i, counts in enumerate(pictures)]
    rows, columns = frames[0].shape
    about = SourceInfo(
        **{
            "name": "invented",
            "address": "invented",
            "width_px": columns,
            "height_px": rows,
            "scale": scale,
            "live": False,
            "start_time": datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC),
            "scene": scene or Scene(),
            **info,
        }
    )
    desk = Desk(Settings())
    desk._timer.stop()
    desk.session = cast(Session, FakeSession(FakeFootage(about, frames)))
    desk.display.start(scale, about.scene)
    show(desk, 0)
    return desk


def show(desk: Desk, number: int, frame: Frame | None = None) -> None:
    """Show frame `number`, or another in its place."""
    assert desk.session is not None
    desk.shown = frame or desk.session.footage.frame(number)
    desk.shown_number = number
    desk.frame_shown.emit(desk.shown)
