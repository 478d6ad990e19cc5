"""The session: one live source or one recording, measured, marked, recorded, watched."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import scipy.ndimage  # both for all that runs in threads: two must not load one package
import scipy.special  # noqa: F401
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import (
    Footage,
    Frame,
    FrameSource,
    Mark,
    MarkKind,
    Scene,
    SourceInfo,
    SupplyLog,
)
from thermview.radiometry import CameraProfile
from thermview.radiometry.noise import NoiseReport
from thermview.radiometry.shiny import ShinyMap
from thermview.regions import RegionSet
from thermview.session.acting import RecordingPlace
from thermview.session.baseline import mean_image, unrest
from thermview.session.curves import CurveStore
from thermview.session.following import Poses, StillFootage
from thermview.session.intake import Intake
from thermview.session.ledger import Ledger
from thermview.session.live import LiveFeed
from thermview.session.losses import Losses
from thermview.session.markbook import MarkBook
from thermview.session.measure import repair_for
from thermview.session.pipeline import Plan
from thermview.session.profiles import recorded_profile
from thermview.session.recorder import RecordingStatus, RecordingSummary
from thermview.session.replaying import ReplayTriggers
from thermview.session.scan import Scan
from thermview.session.shiny_places import kept_shiny, remember_shiny
from thermview.session.states import EventKind, SessionEvent, SessionState
from thermview.session.triggers import Quantity, TriggerRule

HISTORY_BYTES = 400 * 10**6
"""Pictures of a live session kept in memory."""


class Session:
    """One live source or one recording: what the window and the commands hold. No Qt.

    Made by `live` or `replay`, then `start`. Methods may be called from any thread; `close` at
    any time, and again.

    Attributes
    ----------
    info : SourceInfo
        The source's description.
    footage : Footage
        Frames by number: the recording, or what the live session still holds.
    curves : CurveStore
        The regions' curves, a row for every frame of the footage.
    noise : NoiseReport or None
        Of the camera, once it was measured.
    """

    noise: NoiseReport | None = None

    def __init__(self, ledger: Ledger, footage: Footage) -> None:
        self._ledger = ledger
        self.info: SourceInfo = ledger.info
        self.footage = footage
        self.curves: CurveStore = ledger.curves
        self._shiny: ShinyMap | None = None
        self._plan = Plan(ledger.info, self.info.scene, profile=recorded_profile(footage))
        self._baseline: tuple[float, float] | None = None
        self._baseline_image: NDArray[np.float32] | None = None
        self._feed: LiveFeed | None = None
        self._intake: Intake | None = None
        self._pictures: Footage = footage
        self._baseline_of: Footage = footage
        self._scan = Scan(footage, ledger.curves)
        self._told = SessionState.IDLE
        self._started = self._closed = False
        self._lock = threading.RLock()

    @classmethod
    def live(
        cls,
        source: FrameSource,
        *,
        reopen: Callable[[], FrameSource] | None = None,
        clock: Callable[[], float] = time.monotonic,
        history_bytes: int = HISTORY_BYTES,
        stall_s: float = 1.0,
        retry_s: float | None = None,
    ) -> Session:
        """Make a session of a source that delivers frames.

        Parameters
        ----------
        source : FrameSource
            Open; the session closes it.
        reopen : callable, optional
            Opens the source anew, for `reconnect`.
        clock : callable
            Seconds; notices that the source is silent.
        history_bytes : int
            Memory for the newest pictures, which can be looked at again.
        stall_s : float
            Silence after which the source has stalled.
        retry_s : float, optional
            How often to look whether a device that was lost is back; it then goes on by itself,
            behind a gap. Without it only `reconnect` does that.
        """
        ledger = Ledger(source.info)
        intake = Intake(ledger, history_bytes)
        session = cls(ledger, intake.history)
        session._intake = intake
        session._feed = LiveFeed(
            source,
            intake,
            ledger.losses,
            reopen=reopen,
            clock=clock,
            stall_s=stall_s,
            retry_s=retry_s,
        )
        return session

    @classmethod
    def replay(cls, footage: Footage) -> Session:
        """Make a session of a recording; the session closes it."""
        ledger = Ledger(footage.info, CurveStore(footage.times_s), MarkBook(footage.marks))
        session = cls(ledger, footage)
        triggers = ReplayTriggers(ledger, lambda: session._plan)
        session._scan = Scan(footage, ledger.curves, triggers)
        kept = kept_shiny(footage)
        session._shiny = kept if kept is not None and kept.known else None
        return session

    # -- running -------------------------------------------------------------------------------

    @property
    def is_live(self) -> bool:
        """Tell whether frames arrive by themselves."""
        return self._feed is not None

    @property
    def state(self) -> SessionState:
        """Return how the frames are coming; a recording is running while it is open."""
        if self._feed is not None:
            return self._feed.state
        return SessionState.RUNNING if self._started else SessionState.IDLE

    @property
    def trouble(self) -> str:
        """Return words for the user about the state, empty while all is well."""
        return self._feed.trouble if self._feed is not None else ""

    @property
    def losses(self) -> Losses:
        """Return the counts of frames received and lost."""
        return self._ledger.losses.now()

    def start(self) -> None:
        """Begin to take frames, and to measure in the background."""
        self._started = True
        self._scan.start()
        self._scan.request()
        if self._feed is not None:
            self._feed.start()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until a live source has ended or failed, or a recording is measured throughout."""
        if self._feed is not None:
            return self._feed.wait(timeout_s)
        return self._scan.wait(timeout_s)

    def reconnect(self) -> None:
        """Open a live source anew; curves, history and recording go on behind a gap."""
        if self._feed is None:
            raise UsageError(f"{self.info.name} is a recording; there is nothing to reconnect")
        self._feed.reconnect()

    def close(self) -> None:
        """Stop everything, finish a recording, let go of the source or file."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
        if self._feed is not None:
            self._feed.close()
        if self._intake is not None:
            self._intake.close()
        self._scan.close()
        self.footage.close()

    # -- frames --------------------------------------------------------------------------------

    def latest(self) -> Frame | None:
        """Return the newest live frame, None before the first and for a recording."""
        return self._intake.mailbox.latest() if self._intake is not None else None

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's log, None where there is none."""
        return self.footage.supply

    def take_events(self) -> list[SessionEvent]:
        """Return what happened since the last call, oldest first."""
        state = self.state
        if state is not self._told:
            self._told = state
            self._ledger.tell(EventKind.STATE, self.trouble, state)
        return self._ledger.events.take()

    # -- what is measured ----------------------------------------------------------------------

    @property
    def regions(self) -> RegionSet:
        """Return the regions that are measured."""
        return self._plan.regions

    @property
    def scene(self) -> Scene:
        """Return the scene that temperatures are computed with."""
        return self._plan.scene

    @property
    def triggers(self) -> tuple[TriggerRule, ...]:
        """Return the rules that are watched for."""
        return self._plan.rules

    def set_regions(self, regions: RegionSet) -> None:
        """Measure these regions from now on, and past frames anew in the background."""
        with self._lock:
            self._set_plan(replace(self._plan, regions=regions))

    def set_scene(self, scene: Scene) -> None:
        """Compute temperatures for this scene, past frames' anew in the background."""
        with self._lock:
            self._set_plan(replace(self._plan, scene=scene))

    @property
    def profile(self) -> CameraProfile | None:
        """Return what is known of the camera, kept in its recordings."""
        return self._plan.profile

    @property
    def camera(self) -> CameraProfile | None:
        """Return the profile as it is applied: without bad pixels where they are left as found."""
        return self._plan.camera

    def set_profile(self, profile: CameraProfile | None, *, repair: bool = True) -> None:
        """Take what the camera is known to do out of all temperatures, past frames' anew.

        With `repair` False its bad pixels are left as they are. Counts stay raw in any case.
        """
        with self._lock:
            self._set_plan(replace(self._plan, profile=profile, repair=repair))

    @property
    def poses(self) -> Poses | None:
        """Return where the board is in each frame, where it is followed."""
        return self._plan.poses

    @property
    def pictures(self) -> Footage:
        """Return the frames to look at: the footage, held still where the board is followed."""
        return self._pictures

    def follow(self, anchor: int | None) -> None:
        """Let regions and parts, as they lie in frame `anchor`, follow the board; None ends it.

        Raises
        ------
        InputError, IndexError
            The frame cannot be had.
        """
        poses = None if anchor is None else Poses(self.footage, anchor)
        with self._lock:
            self._scan.poses = poses
            self._pictures = self.footage
            if poses is not None:
                shape = (self.info.height_px, self.info.width_px)
                repair = repair_for(self.camera, shape)
                self._pictures = StillFootage(self.footage, poses, repair)
            self._set_plan(replace(self._plan, poses=poses))

    def set_triggers(self, rules: Iterable[TriggerRule]) -> None:
        """Watch for these rules: a live source from now on, a recording from its first frame."""
        with self._lock:
            self._set_plan(replace(self._plan, rules=tuple(rules)))

    def set_recording_place(
        self, next_path: Callable[[], Path], pre_trigger_s: float = 0.0, force: bool = False
    ) -> None:
        """Say where a trigger's recording goes, and how many seconds before it are kept."""
        if self._intake is not None:
            self._intake.actions.place = RecordingPlace(next_path, pre_trigger_s, force)

    @property
    def shiny(self) -> ShinyMap | None:
        """Return which pixels mirror too much to be read, where that is known."""
        return self._shiny

    def set_shiny(self, shiny: ShinyMap | None, *, remember: bool = True) -> None:
        """Say which pixels are shiny, or that none are known to be.

        A recording that runs keeps it, and so do later ones; of a finished one it is remembered
        beside it, without `remember` not at all.

        Raises
        ------
        OutputError
            The user's folder refuses it; the session knows it all the same.
        """
        self._shiny = shiny
        if self._intake is not None:
            self._intake.set_shiny(shiny)
        elif remember:
            remember_shiny(self.footage, shiny)

    def _set_plan(self, plan: Plan) -> None:
        self._plan = plan
        self.curves.set_columns(plan.keys(), plan.regions.differences)
        if self._intake is not None:
            self._intake.set_plan(plan)
        if self._started and not self._closed:
            self._scan.request()

    def progress(self) -> tuple[int, int]:
        """Return (done, total) frames of the background measuring; equal when it rests."""
        return self._scan.progress

    def wait_measured(self, timeout_s: float | None = None) -> bool:
        """Wait until the background measuring rests; False when that took too long."""
        return self._scan.wait(timeout_s)

    # -- marks ---------------------------------------------------------------------------------

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return all marks, oldest first."""
        return self._ledger.marks.all

    @property
    def own_marks(self) -> tuple[Mark, ...]:
        """Return the user's and the source's marks, in no order; the triggers' are not among."""
        return self._ledger.marks.own

    def add_mark(self, kind: MarkKind, time_s: float, text: str = "") -> Mark:
        """Mark a moment; a recording being written gets the mark too."""
        mark = Mark(time_s, kind, text)
        self._ledger.marks.add(mark)
        if self._intake is not None:
            self._intake.note_mark(mark)
        return mark

    def remove_mark(self, mark: Mark) -> None:
        """Take a mark away; a recording that runs will be finished without it."""
        self._ledger.marks.remove(mark)

    # -- zero ----------------------------------------------------------------------------------

    @property
    def baseline(self) -> tuple[float, float] | None:
        """Return the interval (start, end), s, whose mean is the zero of all rises."""
        return self._baseline

    def zero_now(self, time_s: float, seconds: float = 1.0) -> str | None:
        """Take the `seconds` up to a moment as the zero of all rises.

        Returns
        -------
        str or None
            A warning where the board still warms or cools.
        """
        interval = (time_s - seconds, time_s)
        image = mean_image(self._pictures, *interval)
        with self._lock:
            self._baseline, self._baseline_image = interval, image
            self._baseline_of = self._pictures
            self.curves.set_baseline(interval)
            if not self.is_live and any(r.quantity is Quantity.RISE for r in self._plan.rules):
                self._scan.request()
        self.add_mark(MarkKind.ZERO, time_s)
        return unrest(self.footage, self.curves, self._plan.regions, time_s)

    def baseline_image(self) -> NDArray[np.float32] | None:
        """Return the mean apparent temperature over the baseline, K, shape (row, column).

        Where the board is followed, in the axes of `pictures`, as soon as its poses are known.
        """
        interval, pictures = self._baseline, self._pictures
        if interval is not None and pictures is not self._baseline_of:
            low, high = np.searchsorted(self.footage.times_s, interval)
            if self.poses is None or all(self.poses.known(n) for n in range(low, high)):
                self._baseline_image = mean_image(pictures, *interval)
                self._baseline_of = pictures
        return self._baseline_image

    # -- recording -----------------------------------------------------------------------------

    @property
    def recording(self) -> RecordingStatus | None:
        """Return how the recording stands, None while there is none."""
        return self._intake.recording if self._intake is not None else None

    def start_recording(self, path: Path, pre_trigger_s: float = 0.0, force: bool = False) -> None:
        """Write the frames from now on, and those of the last `pre_trigger_s` still in memory.

        Raises
        ------
        UsageError
            A recording runs already, or the session is not live.
        OutputError
            The file exists (without `force`) or cannot be made.
        """
        if self._intake is None:
            raise UsageError(f"{self.info.name} is a recording already")
        self._intake.start_recording(Path(path), pre_trigger_s, force=force)

    def stop_recording(self) -> RecordingSummary | None:
        """Finish the file; None where no recording runs. A trigger's own stop is waited for."""
        return self._intake.stop_recording() if self._intake is not None else None

    def set_board(self, placement_csv: str, landmarks_json: str) -> None:
        """Keep a board's placement list and landmarks with every recording begun from now on."""
        if self._intake is not None:
            self._intake.board_texts = (placement_csv, landmarks_json)

    @property
    def last_recording(self) -> RecordingSummary | None:
        """Return what the last finished recording of this session amounts to."""
        return self._intake.last_recording if self._intake is not None else None
