"""What comes with a stream of frames: the source's description, scene, supply log and marks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from thermview.frames.frame import Scale


@dataclass(frozen=True, slots=True)
class Scene:
    """What is known of the scene in front of the camera; None is not stated.

    Temperatures are K, transmissions of a window and of the air 0 to 1, the band's limits µm.
    """

    emissivity: float | None = None
    reflected_k: float | None = None
    air_k: float | None = None
    window_transmission: float | None = None
    band_um: tuple[float, float] = (8.0, 14.0)
    reflected_u_k: float | None = None
    """Standard uncertainty of `reflected_k`, where it was measured."""
    response: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    """The camera's relative spectral response at wavelengths, µm; in place of `band_um`."""
    air_transmission: float | None = None


class MarkKind(Enum):
    """Why a moment is marked."""

    PLAIN = "mark"
    TRIGGER = "trigger"
    POWER_ON = "power on"
    POWER_OFF = "power off"
    FAULT_APPEARS = "fault appears"
    FAULT_GONE = "fault gone"
    ZERO = "zero"
    GAP = "gap"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Mark:
    """A marked moment: seconds since the source's start, its kind, the user's or rule's words."""

    time_s: float
    kind: MarkKind = MarkKind.PLAIN
    text: str = ""


@dataclass(frozen=True, slots=True)
class SupplySample:
    """One reading of the supply at its terminals: s, V, A."""

    time_s: float
    voltage_v: float
    current_a: float


@dataclass(frozen=True, slots=True, eq=False)
class SupplyLog:
    """The supply's readings at its terminals, float64 arrays of one length; times increase."""

    time_s: NDArray[np.float64]
    voltage_v: NDArray[np.float64]
    current_a: NDArray[np.float64]

    @classmethod
    def of(cls, samples: Iterable[SupplySample]) -> SupplyLog:
        """Gather samples into a log."""
        rows = [(s.time_s, s.voltage_v, s.current_a) for s in samples]
        table = np.array(rows, dtype=np.float64).reshape(-1, 3)
        return cls(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy())

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """What a source says of itself.

    Attributes
    ----------
    name : str
        For people: a file's name, a camera's name, "simulated board".
    address : str
        The text that opens it again, on the command line and in the window.
    width_px, height_px : int
        Size of every frame.
    scale : Scale
        What counts mean.
    live : bool
        Frames come at their own time and cannot be asked for again.
    rate_hz : float or None
        Nominal frames per second.
    start_time : datetime
        Zero of the frames' times, with its offset from UTC.
    camera : str
        Description of the camera, may be empty.
    netd_k : float or None
        Noise-equivalent temperature difference stated for the camera, K.
    scene : Scene
        What is known of the scene.
    title : str
        The recording's title, may be empty.
    notes : tuple of str
        What the user should know of this source ("brightness only, no temperatures").
    simulated : bool
        The pictures are computed, not filmed.
    """

    name: str
    address: str
    width_px: int
    height_px: int
    scale: Scale
    live: bool
    start_time: datetime
    rate_hz: float | None = None
    camera: str = ""
    netd_k: float | None = None
    scene: Scene = field(default_factory=Scene)
    title: str = ""
    notes: tuple[str, ...] = ()
    simulated: bool = False
