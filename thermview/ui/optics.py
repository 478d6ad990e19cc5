"""What the desk knows of camera and surfaces, and what its numbers are worth by that."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QObject, Signal

from thermview.errors import ThermviewError
from thermview.frames import Frame, Scale, Scene
from thermview.radiometry import CameraProfile
from thermview.radiometry.averaging import GatedAverage
from thermview.radiometry.bad_pixels import Mask
from thermview.radiometry.noise import TRUST_FACTOR, NoiseReport
from thermview.radiometry.shiny import ShinyMap
from thermview.radiometry.uncertainty import LIMIT_K
from thermview.session.judging import bodies_of
from thermview.session.kept_readings import BASELINE_FRAMES
from thermview.session.measure import repair_for
from thermview.session.profiles import camera_name, keep_profile, kept_profile
from thermview.session.session import Session
from thermview.session.shiny_places import find_shiny, shiny_of, unpowered
from thermview.session.still import measure_still
from thermview.session.worth import Judge

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

AVERAGED_FRAMES = 16
USUAL_NOISE_K = 0.05
FINE = Scale(1 / 128, 233.15)
"""Of averaged pictures: −40 … 472 °C, rounding adds 2 mK; a look-up paints them."""


@dataclass(frozen=True, slots=True)
class _Step:
    """A change of scene or camera, made when the regions had so many steps to undo."""

    depth: int
    back: Callable[[], None]
    again: Callable[[], None]


class Optics(QObject):
    """Profile, noise, shiny places, averaging, the limit of what is readable; their undo.

    `changed` follows every change of what numbers are worth or how the picture is prepared.
    """

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.averaging = False
        self.shiny_shown = True
        self._measured: Session | None = None
        self._judge: Judge | None = None
        self._judge_key: Any = None
        self._steps: list[_Step] = []
        self._undone: list[_Step] = []
        self._looked = False
        self._average: GatedAverage | None = None
        self._pictured: tuple[Frame, Frame] | None = None
        self._last_number = -1
        self.changed.connect(self._forget_picture)

    @property
    def _session(self) -> Session | None:
        return self._desk.session

    def begin(self) -> None:
        """Take over a session that is about to start; a live camera's kept profile is applied."""
        self._steps.clear()
        self._undone.clear()
        self._looked = False
        self._average, self._last_number = None, -1
        session = self._session
        if session is not None and session.is_live:
            profile = self._desk.attempt(lambda: kept_profile(session.info))
            if profile is not None:
                session.set_profile(profile, repair=self.repair)
        elif session is not None and session.profile is not None:
            session.set_profile(session.profile, repair=self.repair)
        self.changed.emit()

    # -- what numbers are worth ------------------------------------------------------------------
    @property
    def limit_k(self) -> float:
        """Return the standard uncertainty, K, above which nothing is shown."""
        return float(self._desk.settings.get("readable_within_k", LIMIT_K))

    def set_limit(self, limit_k: float) -> None:
        """Choose the standard uncertainty, K, above which nothing is shown."""
        self._desk.settings.set("readable_within_k", float(limit_k))
        self.changed.emit()

    def judge(self) -> Judge:
        """Return what decides how much the numbers on screen are worth."""
        session, display, board = self._session, self._desk.display, self._desk.board
        assert session is not None
        key = (
            session.scene,
            id(session.shiny),
            session.camera,
            id(session.noise),
            display.mm_per_px,
            self.limit_k,
            id(board),
        )
        if self._judge is None or key != self._judge_key:
            self._judge_key = key
            noise = session.noise
            self._judge = Judge(
                scene=session.scene,
                scale=session.info.scale,
                profile=session.camera,
                netd_k=session.info.netd_k if noise is None else noise.netd_k,
                netd_freedom=math.inf if noise is None else noise.freedom,
                limit_k=self.limit_k,
                shiny=session.shiny,
                mm_per_px=display.mm_per_px,
                bodies_mm=bodies_of(board),
            )
        return self._judge

    # -- the camera ------------------------------------------------------------------------------
    @property
    def profile(self) -> CameraProfile:
        """Return what is known of the camera; an empty profile where nothing is."""
        session = self._session
        if session is None or session.profile is None:
            return CameraProfile("" if session is None else camera_name(session.info))
        return session.profile

    def change_profile(self, **changes: Any) -> None:
        """Apply a changed profile at once, and keep it for this camera's next time.

        Undo takes it back, there too.
        """
        before, after = self.profile, replace(self.profile, **changes)
        if self._session is None or before == after:
            return
        self._take_step(lambda: self._use_profile(before), lambda: self._use_profile(after))

    def _use_profile(self, profile: CameraProfile) -> None:
        session = self._session
        if session is None:
            return
        session.set_profile(profile, repair=self.repair)
        self._desk.attempt(lambda: keep_profile(session.info, profile))
        self.changed.emit()
        self._desk.tick()

    @property
    def repair(self) -> bool:
        """Tell whether bad pixels are filled from their neighbours."""
        return bool(self._desk.settings.get("fill bad pixels", True))

    def set_repair(self, on: bool) -> None:
        """Fill bad pixels in picture and readings, or leave them; recordings keep them raw."""
        self._desk.settings.set("fill bad pixels", on)
        session = self._session
        if session is not None and session.profile is not None:
            session.set_profile(session.profile, repair=on)
        self.changed.emit()

    # -- noise -----------------------------------------------------------------------------------
    @property
    def noise(self) -> NoiseReport | None:
        """Return the camera's measured noise."""
        return self._session.noise if self._session is not None else None

    def zero_taken(self) -> None:
        """Measure the noise over the frames before the zero: they are still, or as good as it."""
        session = self._session
        if session is None or session.baseline is None or session.info.scale.relative:
            return
        until_s = session.baseline[1]
        self._measure_aside(session, lambda: measure_still(session.footage, until_s), quiet=True)
        self._look_for_shiny(session)

    @property
    def noise_busy(self) -> bool:
        """Tell whether the noise is being measured."""
        return self._measured is not None and self._measured is self._session

    def measure_noise(self, then: Callable[[NoiseReport, Mask], object] | None = None) -> None:
        """Measure the noise over the frames up to the shown moment; the camera must be still."""
        session = self._session
        if session is None or session.info.scale.relative:
            self._desk.say("info", "noise is measured in kelvin; open a source of temperatures")
            return
        now_s = self._desk.now_s
        self._measure_aside(
            session,
            lambda: measure_still(session.footage, now_s),
            quiet=False,
            then=then,
        )

    def _measure_aside(
        self,
        session: Session,
        work: Callable[[], tuple[NoiseReport, Mask]],
        *,
        quiet: bool,
        then: Callable[[NoiseReport, Mask], object] | None = None,
    ) -> None:
        if self._measured is session:  # of another one that is no longer open, nobody wants it
            return
        self._measured = session
        found: list[tuple[NoiseReport, Mask]] = []

        def measure() -> None:
            try:
                found.append(work())
            except ThermviewError:
                if not quiet:
                    raise

        def take() -> None:
            if self._measured is session:
                self._measured = None
            if found and self._session is session:
                session.noise = found[0][0]
                if then is not None:
                    then(*found[0])
            self.changed.emit()

        self._desk.run_aside("measuring the camera's noise", measure, take)

    def smallest_rise_k(self) -> float:
        """Return the smallest rise of one pixel that can be trusted now, K; NaN: not known."""
        frames = AVERAGED_FRAMES if self.averaging else 1
        if self.noise is not None:
            return self.noise.smallest_rise_k(frames=frames, baseline_frames=BASELINE_FRAMES)
        session = self._session
        if session is None or session.info.netd_k is None:
            return math.nan
        return TRUST_FACTOR * session.info.netd_k * math.sqrt(1.0 / frames + 1.0 / BASELINE_FRAMES)

    # -- shiny places ----------------------------------------------------------------------------
    @property
    def shiny(self) -> ShinyMap | None:
        """Return which pixels mirror too much, once somebody has looked."""
        return self._session.shiny if self._session is not None else None

    @property
    def unpowered_s(self) -> tuple[float, float]:
        """Return (start, end), s, of the frames before the power; without a sign of it, to now."""
        session = self._session
        if session is None or not len(session.footage):
            return 0.0, 0.0
        start_s = float(session.footage.times_s[session.footage.first])
        return unpowered(session.footage, session.marks) or (start_s, self._desk.now_s)

    def _look_for_shiny(self, session: Session) -> None:
        """Look once, unasked, whether something that passed before the power was mirrored."""
        if session.shiny is not None or self._looked:
            return
        self._looked = True
        found: list[ShinyMap | None] = []

        def take() -> None:
            shiny = found[0] if found else None
            told_meanwhile = self._session is not session or session.shiny is not None
            if shiny is not None and shiny.known and not told_meanwhile:
                session.set_shiny(shiny, remember=False)
                self.changed.emit()

        marks = session.marks
        self._desk.run_aside(
            "looking for shiny places",
            lambda: found.append(shiny_of(session.footage, marks=marks)),
            take,
        )

    def find_shiny(self, contact_k: float | None = None) -> None:
        """Look for places that mirror, in the frames before the power."""
        session = self._session
        if session is None or self._desk.shown is None:
            self._desk.say("info", "open a recording or an input first")
            return
        interval = self.unpowered_s
        accuracy_k = self.judge().accuracy_k(contact_k or math.nan) or 0.5
        self._desk.run_task(
            "looking for shiny places",
            lambda _: find_shiny(
                session.footage,
                interval,
                scene=session.scene,
                camera=session.camera,
                contact_k=contact_k,
                u_camera_k=accuracy_k,
            ),
            lambda found: self._take_shiny(session, found),
        )

    def _take_shiny(self, session: Session, found: ShinyMap) -> None:
        self._desk.attempt(lambda: session.set_shiny(found, remember=found.known))
        self.shiny_shown = True
        share = float(found.mask.mean())
        words = f"{share:.1%} of the picture is shiny" if found.known else "shiny places"
        self._desk.say("info" if found.known else "warning", f"{words}: {found.how}")
        self.changed.emit()

    def forget_shiny(self) -> None:
        """Believe all places again."""
        if self._session is not None:
            session = self._session
            self._desk.attempt(lambda: session.set_shiny(None))
            self.changed.emit()

    def show_shiny(self, on: bool) -> None:
        """Hatch the shiny places on the picture, or not; readings heed them in any case."""
        self.shiny_shown = on
        self.changed.emit()

    # -- the scene, and undo ---------------------------------------------------------------------
    def set_scene(self, scene: Scene) -> None:
        """State what is known of the scene; undo takes it back."""
        session = self._session
        if session is None or scene == session.scene:
            return
        before = session.scene
        self._take_step(lambda: self._use_scene(before), lambda: self._use_scene(scene))

    def _take_step(self, back: Callable[[], None], again: Callable[[], None]) -> None:
        self._steps.append(_Step(self._desk.document.depth, back, again))
        self._undone.clear()
        self._desk.findings.meant_warm.forget_undo()
        again()

    def undo(self) -> bool:
        """Take the last change back if it was the scene's or camera's; tell whether it was."""
        if not (self._steps and self._steps[-1].depth == self._desk.document.depth):
            return False
        step = self._steps.pop()
        self._undone.append(step)
        step.back()
        return True

    def redo(self) -> bool:
        """Do the next change again if it was the scene's or camera's; tell whether it was."""
        depth = self._desk.document.depth
        self._undone = [step for step in self._undone if step.depth >= depth]
        if not (self._undone and self._undone[-1].depth == depth):
            return False
        step = self._undone.pop()
        self._steps.append(step)
        step.again()
        return True

    def _use_scene(self, scene: Scene) -> None:
        session = self._session
        if session is not None:
            session.set_scene(scene)
            self._desk.tick()
            self.changed.emit()

    # -- the picture -----------------------------------------------------------------------------
    def set_averaging(self, on: bool) -> None:
        """Average the picture over time, or not; the regions' readings stay those of one frame."""
        self.averaging = on
        self._average = None
        self.changed.emit()

    def _forget_picture(self) -> None:
        self._pictured = None

    def pictured(self) -> Frame | None:
        """Return the shown frame as it is painted: bad pixels filled, averaged where wished."""
        shown = self._desk.shown
        if shown is None or self._session is None:
            return shown
        if self._pictured is None or self._pictured[0] is not shown:
            self._pictured = (shown, self._prepared(shown, self._session))
        return self._pictured[1]

    def _prepared(self, frame: Frame, session: Session) -> Frame:
        repair = repair_for(session.camera, frame.shape)
        if repair is not None and session.poses is None:  # else done before it was held still
            frame = replace(frame, counts=repair.repair(frame.counts))
        if self.averaging and not frame.scale.relative and not frame.held:
            return self._averaged(frame, session)
        return frame

    def _averaged(self, frame: Frame, session: Session) -> Frame:
        number = self._desk.shown_number
        step = number - self._last_number
        self._last_number = number
        far = max(8.0, session.info.rate_hz or 8.0)
        if self._average is None or not 0 <= step <= far:
            noise_k = self.judge().noise_k() or USUAL_NOISE_K
            self._average = GatedAverage(noise_k, AVERAGED_FRAMES)
        mean_k = self._average.take(frame.kelvin())
        if not np.isfinite(mean_k).all():
            return replace(frame, counts=mean_k.astype(np.float32), scale=Scale(1.0))
        fine = np.clip((mean_k - FINE.offset_k) / FINE.k_per_count, 0, 65_535)
        return replace(frame, counts=np.rint(fine).astype(np.uint16), scale=FINE)
