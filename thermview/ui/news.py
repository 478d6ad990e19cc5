"""What has changed in the session since the desk last looked, told to those who show it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Mark
from thermview.session.session import Session
from thermview.ui.opening import zero_before_power

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

POWER_S = 0.5  # so often the supply's log is looked at
CURVES_S = 0.1  # the curves are redrawn at most so often


@dataclass(slots=True)
class _Seen:
    marks: tuple[Mark, ...] = ()
    revision: int = -1
    extent: Any = None
    state: Any = None
    baseline: tuple[float, float] | None = None
    zero: NDArray[np.float32] | None = None
    curves_s: float = -math.inf
    power_s: float = -math.inf


class News:
    """Compares a session with what was seen of it before."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._seen = _Seen()

    def begin(self) -> None:
        """Forget what was seen: another session follows."""
        self._seen = _Seen()

    def power_told(self) -> None:
        """Look for the power at once: the user has said that it came."""
        self._seen.power_s = -math.inf

    def zero_at_power(self, session: Session, now_s: float) -> None:
        """Take the zero by itself when the supply's log shows that the power has come."""
        if now_s - self._seen.power_s < POWER_S:
            return
        self._seen.power_s = now_s
        warning = zero_before_power(session)
        if session.baseline is not None:
            severity = "warning" if warning else "info"
            self._desk.say(severity, warning or "power is on: zero taken before")

    def tell_display(self, session: Session) -> None:
        """Let the picture's colours know the zero and the scene before the next frame."""
        desk, seen = self._desk, self._seen
        baseline = session.baseline
        image = session.baseline_image()
        if image is not seen.zero:
            seen.zero = image
            desk.display.set_baseline(image)
        if baseline != seen.baseline:
            seen.baseline = baseline
            desk.optics.zero_taken()
        desk.display.set_scene(session.scene)
        desk.display.set_camera(session.camera)

    def tell_changes(self, session: Session, now_s: float) -> None:
        """Tell of marks, curves and states that are not as they were."""
        desk, seen = self._desk, self._seen
        if session.marks != seen.marks:
            seen.marks = session.marks
            desk.marks_changed.emit()
        curves = session.curves
        if curves.revision != seen.revision:
            seen.revision = curves.revision
            desk.curves_changed.emit()
        extent = (len(curves.times_s), session.progress())
        if extent != seen.extent and now_s - seen.curves_s >= CURVES_S:
            seen.extent, seen.curves_s = extent, now_s
            desk.curves_grew.emit()
        state = (
            session.state,
            session.trouble,
            session.losses,
            session.recording,
            desk.player.playing,
        )
        if state != seen.state:
            seen.state = state
            desk.state_changed.emit()
