"""The findings: asked for beside the picture, again while a live session grows.

Everything heavy runs in one thread of its own; what it may look at is bounded (see
`session.finding`), and it rests in between at least as long as it took.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QTimer, Signal

from thermview.analysis.heat.locate import Located, Place, Suspect
from thermview.analysis.leads import MOST_OHM
from thermview.analysis.period import period_of
from thermview.regions import pixel_mask
from thermview.session.boards import Board
from thermview.session.finding import PULSED_S, Lack, Window, find, window_of, with_expected
from thermview.session.meant_warm import Warm, WarmPlace, seen_at
from thermview.session.session import Session
from thermview.session.shiny_findings import noting_shiny
from thermview.session.stretch import Stretch
from thermview.ui.meant_warm import MeantWarm
from thermview.ui.pulse import Pulse
from thermview.ui.tasks import Task

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

MATT_PATCH = "matt patch"
"""The name of the region on it."""
LOOK_MS = 500
AGAIN_S = 3.0
MORE_SHARE = 0.2
REST = 3.0
"""Between two looks at a live session so many times the last one's length, at least."""


@dataclass(frozen=True, slots=True)
class _Asked:
    window: Window
    at_s: float


class Findings(QObject):
    """The desk's findings.

    Attributes
    ----------
    lack : Lack or None
        Why there is no answer.
    chosen : str
        Designator of the finding that is looked at; empty for none.
    chosen_place : WarmPlace or None
        Where that is on no listed part.
    done : float
        How far the present look is, 0 to 1; NaN while there is none.
    until_s : float
        The answer is of what was seen up to here, s; NaN before the first.
    """

    changed = Signal()
    chosen_changed = Signal()
    progressed = Signal()

    def __init__(self, desk: Desk, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(desk)
        self._desk = desk
        self._clock = clock
        self.lack: Lack | None = Lack.NOT_ENOUGH
        self.trouble = ""
        self.chosen = ""
        self.done = math.nan
        self.until_s = math.nan
        self.chosen_place: WarmPlace | None = None
        self.meant_warm = MeantWarm(desk, self)
        self.period_s: float | None = None
        self._located: Located | None = None
        self._shown: Located | None = None
        self._task: Task | None = None
        self._old: list[Task] = []
        self._asked: _Asked | None = None
        self._took_s = 0.0
        self.pulse = Pulse(desk)
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self.look)

    # ---- the answer ----------------------------------------------------------------------

    @property
    def located(self) -> Located | None:
        """Return the answer, what is meant to be warm at its foot; None while there is none."""
        return self._shown

    @property
    def suspect(self) -> Suspect | None:
        """Return the finding that is looked at."""
        found = self._shown.suspects if self._shown is not None else ()
        return next((s for s in found if s.part == self.chosen), None)

    def choose(self, part: str, *, fly: bool = True) -> None:
        """Look at a finding: the picture flies there, the strip shows its curve."""
        self.chosen, self.chosen_place = part, None
        suspect = self.suspect
        self.chosen_changed.emit()
        regions = self._desk.document.current.regions
        self._desk.select([r.id for r in regions if r.name == part])
        if suspect is not None and fly:
            self._desk.flown_to.emit(suspect.x_px, suspect.y_px)

    def choose_place(self, place: Place) -> None:
        """Look at heat on no listed part: the picture flies there."""
        self.chosen, self.chosen_place = "", WarmPlace.of(place)
        self.chosen_changed.emit()
        self._desk.select([])
        self._desk.flown_to.emit(place.x_px, place.y_px)

    @property
    def place(self) -> Place | None:
        """Return the place that is looked at."""
        return None if self.chosen_place is None else self.place_of(self.chosen_place)

    # ---- asking --------------------------------------------------------------------------

    def begin(self) -> None:
        """Take over the session that was just opened."""
        self.end()
        board = self._desk.board
        self.meant_warm.begin(board)
        self._timer.start()
        self.changed.emit()

    def end(self) -> None:
        """Forget the session."""
        self._timer.stop()
        self._give_up()
        self.pulse.end()
        self._asked, self._located, self._shown = None, None, None
        self.lack, self.trouble, self.period_s = Lack.NOT_ENOUGH, "", None
        self.meant_warm.begin(None)
        if self.chosen or self.chosen_place is not None:
            self.chosen, self.chosen_place = "", None
            self.chosen_changed.emit()
        self.changed.emit()

    def finish(self) -> None:
        """Wait for the threads at the end of the program."""
        self.end()
        self.pulse.finish()
        for task in self._old:
            task.break_off()

    def look(self) -> None:
        """Ask, where there is something new to be asked."""
        session = self._desk.session
        if session is None:
            return
        done, total = session.progress()
        if not session.is_live and done < total:
            return  # the recording is being measured: one thing after the other
        window = window_of(session.footage, session.marks, period_s=self.period_s)
        if isinstance(window, Window):
            self.pulse.look(session, window)
        if isinstance(window, Lack):
            if self._asked is not None or window is not self.lack:
                self._give_up()
                self._asked, self._located, self._shown = None, None, None
                self.lack = window
                self.changed.emit()
        elif self._task is None and self._is_new(window):
            self._ask(session, self._desk.board, window)

    def again(self) -> None:
        """Ask again, whatever was asked before."""
        self._give_up()
        self._asked = None
        self.look()

    def cancel(self) -> None:
        """Give the present look up; it is not begun again by itself."""
        if self._task is not None:
            self._give_up()
            self.changed.emit()

    def set_period(self, period_s: float | None) -> None:
        """State the period of a pulsed supply, s; None leaves it to the supply's log."""
        self.period_s = period_s
        self.again()

    @property
    def lead_ohm(self) -> float:
        """Return the resistance of the bench's leads, Ω; 0 where it was never stated."""
        stored = self._desk.settings.get("lead_ohm", 0.0)
        known = isinstance(stored, int | float) and 0 <= stored <= MOST_OHM
        return float(stored) if known else 0.0

    def set_supply(self, period_s: float | None, lead_ohm: float) -> None:
        """State a pulsed supply's period, s, and the leads' resistance, Ω.

        The leads are the bench's, whatever board they feed: they are remembered for all.
        """
        if (period_s, lead_ohm) != (self.period_s, self.lead_ohm):
            self._desk.settings.set("lead_ohm", lead_ohm)
            self.set_period(period_s)

    def find_period(self, then: Callable[[float], object]) -> Task | None:
        """Look in the pictures for a pulsed supply's period; `then` gets it."""
        session = self._desk.session
        if session is None:
            return None
        times_s, footage = session.footage.times_s, session.footage
        start_s = max(float(times_s[footage.first]), float(times_s[-1]) - PULSED_S)
        stretch = Stretch(footage, start_s, float(times_s[-1]))

        def work(task: Task) -> float:
            told = task.telling("looking for the period", "looking for the period: cancelled")
            return period_of(stretch, told)

        return self._desk.run_task("looking for the period", work, then)

    def _is_new(self, window: Window) -> bool:
        asked = self._asked
        if asked is None or asked.window.question != window.question:
            return True
        grown_s = window.end_s - asked.window.end_s
        rested_s = self._clock() - asked.at_s
        live = self._desk.session is not None and self._desk.session.is_live
        since_s = window.end_s - (window.power_on_s or window.start_s)
        enough_s = max(AGAIN_S, MORE_SHARE * since_s)  # a little more of much tells nothing new
        return live and grown_s >= enough_s and rested_s >= (1 + REST) * self._took_s

    def _ask(self, session: Session, board: Board | None, window: Window) -> None:
        self._asked, poses = _Asked(window, self._clock()), session.poses
        lead_ohm, patch = self.lead_ohm, self._matt_patch(session)

        def work(task: Task) -> Located:
            told = task.telling("", "no longer wanted")
            found = find(
                session.footage,
                board,
                window,
                told,
                poses=poses,
                lead_ohm=lead_ohm,
                matt_patch=patch,
            )
            return noting_shiny(found, board, session.shiny)

        task = Task("looking for what warms", work, behind=True, owner=self)
        task.progressed.connect(lambda _, share: self._tell(task, share))
        task.done.connect(lambda located: self._take(task, located))
        task.failed.connect(lambda error: self._fail(task, error))
        self._task, self.done = task, 0.0
        task.start()
        self.changed.emit()

    def _tell(self, task: Task, share: float) -> None:
        if task is self._task and share - self.done > 0.02:
            self.done = share
            self.progressed.emit()

    def _give_up(self) -> None:
        if self._task is not None:
            self._task.cancel()
            self._old.append(self._task)
            self._task, self.done = None, math.nan

    def _ended(self, task: Task) -> bool:
        """Let go of a task; tell whether its result is still wanted."""
        if task is not self._task:
            self._old.remove(task)
            return False
        self._task, self.done = None, math.nan
        assert self._asked is not None
        self._took_s = self._clock() - self._asked.at_s
        return True

    def _take(self, task: Task, located: Located) -> None:
        if self._ended(task):
            self.lack, self.trouble = None, ""
            self._located = located
            assert self._asked is not None
            self.until_s = self._asked.window.end_s
            self.arrange()

    def _fail(self, task: Task, error: Exception) -> None:
        if self._ended(task):
            self.trouble = str(error)
            self.changed.emit()

    def arrange(self) -> None:
        """Show the answer with what is meant to be warm at its foot."""
        located = self._located
        self._shown = None if located is None else with_expected(located, self.meant_warm.said)
        self.changed.emit()
        self.chosen_changed.emit()

    # ---- a matt patch --------------------------------------------------------------------

    def toggle_matt_patch(self) -> None:
        """Say that the selected region is a matt patch, which the power does not warm, or not.

        What it does is then the camera's drift. The region is named so, and keeps it in its file.
        """
        chosen = self._desk.selected_regions()
        if len(chosen) != 1:
            self._desk.say("info", "select one region on the tape or paint first")
            return
        region, document = chosen[0], self._desk.document
        was = region.name == MATT_PATCH
        words = "what the matt patch does is the camera's drift, and is taken off"

        def rename() -> bool:
            name = document.current.next_name() if was else MATT_PATCH
            document.rename(region.id, name)
            return True

        if self._desk.attempt(rename):
            self._desk.say("info", "the matt patch is a region like others" if was else words)
            self.again()

    def _matt_patch(self, session: Session) -> NDArray[np.bool_] | None:
        """Return where the patch is, shape (row, column)."""
        size = session.info.height_px, session.info.width_px
        for region in self._desk.document.current.regions:
            if region.name == MATT_PATCH:
                return pixel_mask(region.shape, size)
        return None

    # ---- what is looked at -----------------------------------------------------------------

    def place_of(self, what: Warm) -> Place | None:
        """Return the heat on no listed part that is meant; None where there is none."""
        found = self._shown.elsewhere if self._shown is not None else ()
        return next((p for p in found if isinstance(what, WarmPlace) and what.is_at(p)), None)

    def pointed_at(self) -> Warm:
        """Return the chosen finding, else what the selected region lies on; empty for none."""
        if self.chosen_place is not None:
            return self.chosen_place
        regions = self._desk.selected_regions()
        if self.chosen or not regions:
            return self.chosen
        x0, y0, x1, y1 = regions[0].shape.bounds()
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        return seen_at(*middle, self._desk.board, regions[0].name)
