"""The desk: the one place that holds the window's state. Widgets read it and call its methods."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable

from PySide6.QtCore import QObject, Qt, QTimer, Signal

from thermview.errors import ThermviewError
from thermview.frames import Mark, MarkKind
from thermview.paths import sample_recordings
from thermview.regions import Region, RegionDocument, RegionSet, Statistic
from thermview.session.boards import Board
from thermview.session.player import NoFilm, Player
from thermview.session.recorder import RecordingStatus
from thermview.session.states import EventKind, SessionEvent, SessionState
from thermview.session.triggers import TriggerRule, renamed_rules
from thermview.sources import OpenOptions
from thermview.ui.board.keeper import BoardKeeper
from thermview.ui.colour_slots import ColourSlots
from thermview.ui.display import Display
from thermview.ui.finding import Findings
from thermview.ui.following import Following
from thermview.ui.keeping import Keeping
from thermview.ui.layers import Layers
from thermview.ui.news import News
from thermview.ui.opening import Opened, open_address, opened_words, remember
from thermview.ui.optics import Optics
from thermview.ui.playing import Playing
from thermview.ui.settings import Settings
from thermview.ui.tasks import Task
from thermview.ui.theme import tokens

TICK_MS = 8  # a look with nothing new costs some 5 µs; a new frame waits half of this
SHOW_S = 0.03  # the picture changes at most so often
REMEMBER_MS = 1500  # after the last edit: a power cut then costs no work


class Desk(Playing):
    """Session, player, regions, display and selection of the one window.

    All calls are made on Qt's thread and none of them waits for a file or a camera.
    """

    session_changed = Signal()
    frame_shown = Signal(object)  # Frame
    curves_grew = Signal()
    curves_changed = Signal()
    regions_changed = Signal()
    board_changed = Signal()  # parts or their places: `board` is another, or none
    selection_changed = Signal()
    marks_changed = Signal()
    playhead_moved = Signal(int)
    scale_changed = Signal()
    flown_to = Signal(float, float)  # the picture centres on x, y, px
    event_taken = Signal(object)  # a SessionEvent, after the desk has dealt with it

    def __init__(
        self,
        settings: Settings | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.settings = settings if settings is not None else Settings()
        self.document = RegionDocument()
        self.document.on_change.append(self._regions_edited)
        self.display = Display()
        self.display.on_change.append(self.scale_changed.emit)
        self.selected: frozenset[str] = frozenset()
        self.selected_mark: Mark | None = None
        self.statistic: Statistic = "max"
        self.triggers: tuple[TriggerRule, ...] = ()
        self.board: Board | None = None
        self.opened: Opened | None = None
        self._clock = clock
        self._colours = ColourSlots()
        self._names: dict[str, str] = {}
        self._shown_s = -math.inf
        self.news = News(self)
        self.keeping = Keeping(self)
        self.optics = Optics(self)
        self.boards = BoardKeeper(self)
        self.findings = Findings(self)
        self.layers = Layers(self)
        self.following = Following(self)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(TICK_MS)
        self._timer.timeout.connect(self._look)
        self._timer.start()
        self._remember_soon = QTimer(self)
        self._remember_soon.setSingleShot(True)
        self._remember_soon.setInterval(REMEMBER_MS)
        self._remember_soon.timeout.connect(self.remember)

    # ---- opening and closing -------------------------------------------------------------

    def open(self, address: str, options: OpenOptions | None = None) -> Task | None:
        """Open a file, a camera or a simulated board in the background."""
        chosen = options if options is not None else OpenOptions()
        return self.run_task(
            f"opening {address}",
            lambda task: open_address(address, chosen, task.report),
            self._adopt,
            discard=lambda opened: opened.session.close(),
        )

    def close_session(self) -> None:
        """Let go of what is open; what was recorded stays, and the regions are remembered."""
        if self.session is None:
            return
        self.remember()
        self.findings.end()
        self.following.end()
        session, self.session = self.session, None
        self.player = Player(NoFilm())
        self.opened = self.board = self.shown = None
        self.shown_number = -1
        self.news.begin()
        self.run_aside(f"closing {session.info.name}", session.close)
        self._names.clear()
        self.triggers = ()
        self.document.reset(RegionSet())
        self.session_changed.emit()
        self.state_changed.emit()

    def shut(self) -> None:
        """Close everything at the end of the program; waits until it is closed."""
        self._timer.stop()
        self.close_session()
        self.findings.finish()
        self.following.finish()
        self.finish_tasks()

    def remember(self) -> None:
        """Store the regions, triggers and marks of what is open for the next time."""
        self._remember_soon.stop()
        if self.opened is not None:
            opened = self.opened
            self.attempt(lambda: remember(opened, self.document.current, self.triggers))

    def set_board(self, board: Board | None) -> None:
        """Show these parts at these places, and keep them with what is recorded from now on."""
        self.board = board
        if board is not None:
            self.display.set_mm_per_px(board.view.mm_per_px)
            if self.session is not None and board.texts is not None:
                self.session.set_board(*board.texts)
        self.board_changed.emit()

    def _adopt(self, opened: Opened) -> None:
        self.close_session()
        self.opened, self.session, self.board = opened, opened.session, opened.board
        self.player = Player(opened.session.footage, follow=opened.session.is_live)
        self._colours = ColourSlots()
        self.display.start(opened.session.info.scale, opened.session.scene)
        if opened.board is not None:
            self.display.set_mm_per_px(opened.board.view.mm_per_px)
        self._names.clear()
        self.document.reset(opened.regions)
        self.set_triggers(opened.triggers)
        self.keeping.begin()
        self.optics.begin()
        self.boards.begin()
        self.findings.begin()
        self.following.begin()
        opened.session.start()
        if opened.path is not None:
            self.settings.add_recent(opened.path)
        self.session_changed.emit()
        self.state_changed.emit()
        self.marks_changed.emit()
        self.say("info", opened_words(opened.session))
        for remark in opened.remarks:
            self.say("warning", remark)
        if opened.path is not None and opened.path.resolve().parent == sample_recordings():
            self.player.play()  # the worked example shows itself
        self.tick()

    # ---- the clock -----------------------------------------------------------------------

    def _look(self) -> None:
        """Look at the session, often; but let the picture stand for a while."""
        shown = self.shown_number
        self.tick(show=self._clock() - self._shown_s >= SHOW_S)
        if self.shown_number != shown:
            self._shown_s = self._clock()

    def tick(self, *, show: bool = True) -> None:
        """Look at the session once: show the newest frame, tell what has changed."""
        if self.session is None:
            return
        now_s = self._clock()
        self.news.tell_display(self.session)
        if show:
            self._show(self.player.tick(now_s))
        if self.session.is_live and self.session.baseline is None:
            self.news.zero_at_power(self.session, now_s)
        for event in self.session.take_events():
            self._take_event(event)
        self.news.tell_changes(self.session, now_s)

    def _take_event(self, event: SessionEvent) -> None:
        if event.text and event.kind is not EventKind.STATE:
            self.say("warning" if event.kind is EventKind.WARNING else "info", event.text)
        if isinstance(event.data, RecordingStatus):
            self.keeping.take_note(event.data)
        self.event_taken.emit(event)

    def _show(self, number: int) -> None:
        assert self.session is not None
        if number < 0 or number == self.shown_number:
            return
        try:
            frame = self.session.pictures.frame(number)
        except IndexError:  # the history let go of it between the two calls
            return
        except ThermviewError as error:
            self.shown_number = number  # said once, not thirty times a second
            self.say("error", str(error))
            return
        self.shown, self.shown_number = frame, number
        self.frame_shown.emit(frame)
        self.playhead_moved.emit(number)

    def show_again(self) -> None:
        """Show the frame anew: it is looked at in another way."""
        number, self.shown_number = self.shown_number, -1
        self._show(number)

    # ---- marks, zero, recording ----------------------------------------------------------

    def mark(self, kind: MarkKind = MarkKind.PLAIN, text: str = "") -> None:
        """Mark the shown moment."""
        if self.session is None or self.shown is None:
            self.say("info", "nothing is open to mark")
            return
        self.session.add_mark(kind, self.now_s, text)
        if kind is MarkKind.POWER_ON and self.session.baseline is None:
            self.news.power_told()
        self.news.tell_changes(self.session, self._clock())
        self._remember_soon.start()
        self.say("info", f"marked: {text or kind.value} at {self.now_s:.2f} s")

    def remove_mark(self, mark: Mark) -> None:
        """Take a mark away."""
        if self.session is not None:
            self.session.remove_mark(mark)
            self.news.tell_changes(self.session, self._clock())
            self._remember_soon.start()

    def zero_now(self) -> None:
        """Take the second up to the shown moment as the zero of rises."""
        if self.session is None or self.shown is None:
            self.say("info", "nothing is open to take a zero of")
            return
        session, now_s = self.session, self.now_s
        if session.is_live:  # its pictures are in memory
            self._zeroed(now_s, self.attempt(lambda: session.zero_now(now_s)))
        else:
            self.run_task(
                "taking the zero",
                lambda _: session.zero_now(now_s),
                lambda warning: self._zeroed(now_s, warning),
            )

    def _zeroed(self, now_s: float, warning: str | None) -> None:
        if warning:
            self.say("warning", warning)
        else:
            self.say("info", f"rises count from {now_s:.2f} s on")
        self.tick()

    def stop(self) -> None:
        """Stop what runs: recording and playing."""
        if self.session is not None and self.session.recording is not None:
            self.record_toggle()
        self.player.pause()
        self.state_changed.emit()

    def record_toggle(self) -> None:
        """Start recording into a file named by the time, or stop."""
        self.keeping.toggle()

    def reconnect(self) -> None:
        """Ask the source to come back."""
        if self.session is not None:
            self.attempt(self.session.reconnect)
            self.news.tell_changes(self.session, self._clock())

    @property
    def state(self) -> SessionState:
        """Return the session's state; idle without one."""
        return self.session.state if self.session is not None else SessionState.IDLE

    # ---- regions and selection -----------------------------------------------------------

    def select(self, ids: Iterable[str], *, fly: bool = False) -> None:
        """Select regions everywhere; with `fly` the picture centres on the first."""
        chosen = frozenset(ids)
        changed = chosen != self.selected or self.selected_mark is not None
        self.selected, self.selected_mark = chosen, None
        if changed:
            self.selection_changed.emit()
        if fly and chosen:
            first = next((r for r in self.document.current.regions if r.id in chosen), None)
            if first is not None:
                x0, y0, x1, y1 = first.shape.bounds()
                self.flown_to.emit((x0 + x1) / 2, (y0 + y1) / 2)

    def select_mark(self, mark: Mark) -> None:
        """Select a mark and go to its moment."""
        self.selected, self.selected_mark = frozenset(), mark
        self.selection_changed.emit()
        self.seek_time(mark.time_s)

    def selected_regions(self) -> list[Region]:
        """Return the selected regions in the document's order."""
        return [r for r in self.document.current.regions if r.id in self.selected]

    def colour_slot(self, curve_id: str) -> int:
        """Return a region's or difference's colour number; it stays while others come and go."""
        return self._colours.slot(curve_id)

    def colour(self, curve_id: str) -> str:
        """Return the colour ``#rrggbb`` of a region or difference, on picture, strip and list."""
        return tokens().region_colour(self.colour_slot(curve_id))

    def set_statistic(self, statistic: Statistic) -> None:
        """Choose what the strip draws of each region: ``min``, ``mean`` or ``max``."""
        self.statistic = statistic
        self.curves_changed.emit()

    def undo(self) -> None:
        """Take the last change of the regions, the scene or what is meant to be warm back."""
        if self.boards.undo():
            return
        if self.findings.meant_warm.can_undo:
            self.findings.meant_warm.undo()
        elif not self.optics.undo():
            self.document.undo()

    def redo(self) -> None:
        """Do it again."""
        if self.boards.redo():
            return
        if self.findings.meant_warm.can_redo:
            self.findings.meant_warm.redo()
        elif not self.optics.redo():
            self.document.redo()

    def set_triggers(self, rules: tuple[TriggerRule, ...]) -> None:
        """Watch for these from now on; a recording is watched anew from its start."""
        self.triggers = rules
        if self.session is not None:
            self.session.set_triggers(rules)
            self._remember_soon.start()

    def _follow_names(self, current: RegionSet) -> None:
        """Let the triggers go on watching a region that has another name now."""
        names = {region.id: region.name for region in current.regions}
        rules = renamed_rules(self.triggers, self._names, names)
        self._names = names
        if rules != self.triggers:
            self.set_triggers(rules)

    def _regions_edited(self) -> None:
        current: RegionSet = self.document.current
        alive = {r.id for r in current.regions} | {d.id for d in current.differences}
        self._colours.keep(alive)
        self.findings.meant_warm.forget_undo()
        if self.session is not None:
            self.session.set_regions(current)
            self._follow_names(current)
            self._remember_soon.start()
        self.regions_changed.emit()
        if not self.selected <= alive:
            self.select(self.selected & alive)
