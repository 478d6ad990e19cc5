"""The simulated board as a live source of frames, with its supply."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np

from thermview.board import format_landmarks, format_placement
from thermview.errors import SourceEndedError, UsageError
from thermview.frames import Frame, SourceInfo, SupplySample
from thermview.simulation.scene import story as story_named
from thermview.simulation.story import Run, Story

_LATE_S = 0.25
"""A machine this late is too slow: the simulated clock then waits for it, and nothing piles up."""


def open_simulated(
    name: str = "short", *, seed: int | None = None, speed: float | None = None
) -> SimulatedSource:
    """Open a story of the worked example as a live source; it starts anew without end.

    Raises
    ------
    UsageError
        There is no such story, or the speed is not above 0.
    """
    return SimulatedSource(story_named(name), seed=seed or 0, speed=speed or 1.0, again=True)


def simulated_info(
    story: Story, *, address: str | None = None, live: bool = True, start: datetime | None = None
) -> SourceInfo:
    """Return the description of a story's pictures."""
    model = story.camera
    return SourceInfo(
        name=f"simulated board: {story.name}",
        address=f"simulated:{story.name}" if address is None else address,
        width_px=model.width_px,
        height_px=model.height_px,
        scale=model.scale,
        live=live,
        start_time=start or datetime.now(UTC).astimezone(),
        rate_hz=model.rate_hz,
        camera=f"simulated camera, {model.width_px} × {model.height_px}, 8–14 µm",
        netd_k=model.netd_k,
        scene=story.scene,
        title=story.title,
        notes=("simulated: every picture is computed",),
        simulated=True,
    )


class SimulatedSource:
    """A `FrameSource` and `SupplyFeed` that computes its frames when they are due.

    Frames carry their simulated times. Where the machine cannot keep up they come late, never
    in a burst afterwards.

    Parameters
    ----------
    story : Story
    seed : int
        Of noise, pattern and drift.
    speed : float
        Against real time; `inf` does not wait.
    again : bool
        The story's programme starts anew after its length, without end.
    clock, sleep : callable
        Seconds, and a wait of so many seconds; `sleep` may return early when `close` is called.

    Attributes
    ----------
    placement_csv, landmarks_json : str
        The board's, in the contract's forms.
    """

    def __init__(
        self,
        story: Story,
        *,
        seed: int = 0,
        speed: float = 1.0,
        again: bool = False,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] | None = None,
    ) -> None:
        if not speed > 0 or np.isnan(speed):
            raise UsageError(f"the speed is {speed}; it must be above 0")
        self._run = Run(story, seed, again=again)
        self._speed = speed
        self._clock = clock
        self._closed = threading.Event()
        self._sleep = sleep or self._closed.wait
        self._zero: float | None = None  # the clock's reading at simulated time 0
        self._supply: deque[SupplySample] = deque()
        self._info = simulated_info(story)
        self.placement_csv = format_placement(story.circuit.parts)
        self.landmarks_json = format_landmarks(story.landmarks())

    @property
    def info(self) -> SourceInfo:
        """Return the description of the simulated camera and scene."""
        return self._info

    def read(self, timeout_s: float) -> Frame | None:
        """Return the next frame when it is due, or None when that is later than `timeout_s`.

        Raises
        ------
        SourceEndedError
            The story is over, or the source was closed.
        """
        if self._closed.is_set():
            raise SourceEndedError("the source is closed")
        if self._run.ended:
            raise SourceEndedError(f"{self._info.name} is over")
        wait_s = self._due_in()
        if wait_s > 0:
            self._sleep(min(wait_s, timeout_s))
            if self._closed.is_set() or wait_s > timeout_s:
                return None
        frame = self._run.frame()
        self._supply.extend(self._run.supply())
        return frame

    def _due_in(self) -> float:
        """Return how long until the next frame is due, s; negative when it is late."""
        now = self._clock()
        since = self._run.next_time_s / self._speed
        if self._zero is None:
            self._zero = now - since
        wait_s = self._zero + since - now
        if wait_s < -_LATE_S:
            self._zero = now - since
        return wait_s

    def take_supply(self) -> list[SupplySample]:
        """Return the supply's readings up to the last frame, since the last call."""
        samples = []
        while self._supply:
            samples.append(self._supply.popleft())
        return samples

    def close(self) -> None:
        """End it; a waiting `read` returns."""
        self._closed.set()
