"""The state of the step "compare": what with, how, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from PySide6.QtCore import QObject, QTimer, Signal

from thermview.analysis.pair.equals import FEWEST
from thermview.analysis.pair.places import Match
from thermview.errors import CancelledError, ThermviewError
from thermview.frames import Footage
from thermview.session.finding import Cycle, power_cycle, power_ups
from thermview.session.states import SILENT
from thermview.session.stretch import Stretch
from thermview.ui.compare.films import Pictures
from thermview.ui.compare.live import NO_PICTURES, live_state
from thermview.ui.compare.question import ALONE, Answer, By, Question, Reference
from thermview.ui.compare.work import answer, picture_of
from thermview.ui.tasks import Task

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

LOOK_MS = 1000  # so often a live board is looked at for something new to compare
BEFORE_S = 4.0

Result = TypeVar("Result")


class CompareRoom(QObject):
    """Holds reference, matching points and answer; computes in the background.

    Attributes
    ----------
    reference : Reference or None
    good_picture : ndarray of float32, shape (row, column), or None
        The good recording's last picture, K, to click on.
    good_known : bool
        Its parts are known.
    matching : list of Match
        Clicked so far.
    by : By
    after : Cycle or None
        Which power-up of this recording is compared; None: the newest.
    answer : Answer or None
    halves : bool
        One half of this board's picture is compared with the other instead.
    attended : bool
        The step is open; only then a live board is compared again and again.
    trouble : str
        Why there is no answer, in words.
    """

    changed = Signal()  # reference, matching points, what is compared
    answered = Signal()  # another answer, or none any more
    state_changed = Signal()  # busy, live words

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.desk = desk
        self.reference: Reference | None = None
        self.good_picture: Pictures | None = None
        self.good_known = False
        self.matching: list[Match] = []
        self.by = By.PLACE
        self.after: Cycle | None = None
        self.answer: Answer | None = None
        self.trouble = ""
        self.live_words = ""
        self.watching = False
        self.halves = False
        self.attended = True
        self._task: Task | None = None
        self._aside: Task | None = None
        self._compared: tuple[float, float] | None = None  # power-on, until, of the last live one
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self.look)
        desk.session_changed.connect(self._another_session)
        desk.board_changed.connect(self._another_board)

    # ---- what is compared ------------------------------------------------------------------

    @property
    def busy(self) -> bool:
        """Tell whether a comparison that the user asked for is going on."""
        return self._task is not None

    @property
    def is_live(self) -> bool:
        """Tell whether this board is filmed now."""
        return self.desk.session is not None and self.desk.session.is_live

    @property
    def alone(self) -> bool:
        """Tell whether equals on this board are compared among themselves."""
        return self.reference is None and self.by in ALONE

    @property
    def chosen(self) -> bool:
        """Tell whether it is said what this board is compared with."""
        return self.alone or self.reference is not None

    @property
    def ready(self) -> bool:
        """Tell whether the comparison can begin, or its matching points can be set."""
        return self.alone or self.good_picture is not None

    def choices(self) -> list[By]:
        """Return what can be compared here."""
        if self.alone:
            return self.equals_choices()
        choices = [By.PART] if self.good_known or self.desk.board is not None else []
        if self.desk.document.current.regions:
            choices.append(By.REGION)
        return [*choices, By.PLACE]

    @property
    def needs_matching(self) -> bool:
        """Tell whether only matching points, or an unmoved camera, bring the pictures together."""
        if self.alone or (self.reference is not None and self.reference.path is None):
            return False  # one and the same picture
        return self.by is not By.PART or not (self.good_known and self.desk.board is not None)

    def equals_choices(self) -> list[By]:
        """Return what can be compared without a known-good board."""
        parts = [By.EQUAL_PARTS] if self.desk.board is not None else []
        drawn = len(self.desk.document.current.regions) >= FEWEST
        return [*parts, *([By.EQUAL_REGIONS] if drawn else [])]

    def power_ups(self) -> list[Cycle]:
        """Return every time this recording's power came on."""
        session = self.desk.session
        return [] if session is None else power_ups(session.marks, session.supply)

    def span_of(self, cycle: Cycle) -> tuple[float, float]:
        """Return the stretch of this recording that belongs to a power-up, s."""
        assert self.desk.session is not None
        last_s = float(self.desk.session.footage.times_s[-1])
        ends = [one.off_s for one in self.power_ups() if one.on_s == cycle.on_s and one.off_s]
        return cycle.on_s - BEFORE_S, min(ends[0] if ends else last_s, last_s)

    def choose_power_up(self, before: Cycle, after: Cycle) -> None:
        """Compare two power-ups of this recording."""
        name = f"power-up at {before.on_s:.1f} s"
        self.choose(Reference(None, name, on_s=before.on_s, span_s=self.span_of(before)))
        self.after = after

    def choose_equals(self) -> None:
        """Compare this board's equal parts, or the regions drawn on such, among themselves."""
        choices = self.equals_choices()
        if not choices:
            self.desk.say(
                "info",
                "draw a region on each of three or more equal parts first (or load a placement "
                "list), then compare them",
            )
            return
        self.let_go()
        if not self.is_live:
            self.desk.player.pause()
        self.by = choices[0]
        self.changed.emit()
        self.compare()

    def choose(self, reference: Reference) -> None:
        """Compare with this recording; it is compared at once where nothing must be clicked."""
        self._drop()
        self.after = None
        if not self.is_live:
            self.desk.player.pause()  # what is compared stands still, and has the machine
        self.reference, self.good_picture, self.good_known = reference, None, False
        self.matching.clear()
        self.changed.emit()
        session, board = self.desk.session, self.desk.board
        if session is None:
            self.let_go()
            return
        words, whole = f"opening {reference.name}", session.footage
        if not self._run(
            words, lambda _: picture_of(reference, whole, board), self._reference_read
        ):
            self.let_go()  # another long job is going on, and the status line says so

    def _reference_read(self, read: tuple[Pictures, bool]) -> None:
        self.good_picture, self.good_known = read
        self.by = self.choices()[0]
        if self.needs_matching:
            self.desk.to_end()  # as warm as the known-good picture, so that the two look alike
        self.changed.emit()
        if not self.needs_matching:
            self.compare()

    def show_halves(self, on: bool) -> None:
        """Compare one half of this picture with the other, or this board with another."""
        self.halves = on
        self.changed.emit()

    def let_go(self) -> None:
        """Choose another known-good recording."""
        self._drop()
        self.reference = self.good_picture = self.after = None
        self.good_known = False
        self.matching.clear()
        self.by = By.PLACE
        self.changed.emit()

    def set_by(self, by: By) -> None:
        """Choose what is compared."""
        if by is not self.by:
            self.by = by
            self._drop()
            self.changed.emit()

    def set_matching(self, matching: list[Match]) -> None:
        """Take over the places clicked in both pictures; none: the camera did not move."""
        self.matching = list(matching)
        self._drop()
        self.changed.emit()

    # ---- comparing -------------------------------------------------------------------------

    def compare(self) -> None:
        """Compare in the background; the status line shows how far it is and can cancel it."""
        question = self._question()
        if question is None or self.busy:
            return
        self.trouble = ""
        if self.is_live:
            self._watch(True)
            return
        self._run(
            _words_of(question),
            lambda task: answer(question, lambda w, f: _report(task, w, f)),
            self._take,
        )

    def cancel(self) -> None:
        """Give up what is being computed."""
        if self._task is not None:
            self._task.cancel()

    def _question(self) -> Question | None:
        session, reference = self.desk.session, self.reference
        if session is None or not self.chosen:
            return None
        cycle = self.after or power_cycle(session.marks, session.supply)
        whole: Footage = session.footage
        footage = whole
        if cycle is not None and (session.is_live or len(self.power_ups()) > 1):
            footage = Stretch(whole, *self.span_of(cycle))
        return Question(
            reference,
            whole,
            footage,
            self.desk.board,
            None if cycle is None else cycle.on_s,
            self.by,
            tuple(self.matching),
            self.desk.document.current,
        )

    def _run(
        self, words: str, work: Callable[[Task], Result], done: Callable[[Result], None]
    ) -> bool:
        def finish(result: Result) -> None:
            self._task = None
            done(result)
            self.state_changed.emit()

        task = self.desk.run_task(words, work, finish)
        if task is not None:
            self._task = task
            task.failed.connect(self._failed)
            self.state_changed.emit()
        return task is not None

    def _failed(self, error: ThermviewError) -> None:
        self._task = None
        self.trouble = "" if isinstance(error, CancelledError) else str(error)
        self.state_changed.emit()

    def _take(self, found: Answer) -> None:
        first = self.answer is None
        self.answer, self.trouble = found, ""
        if first and not self.is_live:  # where the difference is largest, as a rule
            self.desk.seek_time(found.found.on_s[1] + found.found.until_s)
        self.answered.emit()
        self.state_changed.emit()

    def _drop(self) -> None:
        self._watch(False)
        self._compared = None
        self.trouble = ""
        if self.answer is not None:
            self.answer = None
            self.answered.emit()

    def _another_session(self) -> None:
        self.cancel()
        if self.alone or (self.reference is not None and self.reference.path is None):
            self.let_go()  # it was this recording's own
            return
        self._drop()
        self.after = None
        self.matching.clear()
        self.by = self.choices()[0]
        self.changed.emit()

    def _another_board(self) -> None:
        if self.alone and self.by not in self.choices():
            self.let_go()
            return
        self._drop()
        if self.by not in self.choices() or self.by is By.PLACE:
            self.by = self.choices()[0]
        self.changed.emit()

    # ---- live ------------------------------------------------------------------------------

    def _watch(self, on: bool) -> None:
        self.watching = on
        self.live_words = ""
        if on:
            self._timer.start()
            self.look()
        else:
            self._timer.stop()
        self.state_changed.emit()

    def look(self) -> None:
        """Compare a board that is warming up now, whenever there is enough that is new."""
        session = self.desk.session
        idle = not (self.watching and self.attended) or self._aside is not None
        if session is None or idle:
            return
        cycle = power_cycle(session.marks, session.supply)
        until_s = None if self.answer is None else self.answer.found.until_s
        words, wanted = live_state(cycle, session.footage.times_s, self._compared, until_s)
        if self.desk.state in SILENT:
            words = NO_PICTURES
        if words != self.live_words:
            self.live_words = words
            self.state_changed.emit()
        question = self._question()
        if not wanted or question is None or cycle is None:
            return
        self._compared = (cycle.on_s, float(session.footage.times_s[-1]))
        self._compare_aside(question)

    def _compare_aside(self, question: Question) -> None:
        task = Task(
            _words_of(question),
            lambda task: answer(question, lambda w, f: _report(task, w, f)),
            behind=True,
            owner=self,
        )
        self._aside = task
        task.done.connect(self._take_live)
        task.failed.connect(self._live_failed)
        task.start()

    def _take_live(self, found: Answer) -> None:
        self._aside = None
        if self.watching:
            self._take(found)

    def _live_failed(self, error: ThermviewError) -> None:
        self._aside = None
        if self.watching and not isinstance(error, CancelledError):
            self.trouble = str(error)
            self.state_changed.emit()

    def shut(self) -> None:
        """Wait for what runs in the background, at the window's end."""
        self._timer.stop()
        if self._aside is not None:
            self._aside.break_off()


def _words_of(question: Question) -> str:
    if question.reference is None:
        return f"comparing {question.by.value}"
    return f"comparing with {question.reference.short_name}"


def _report(task: Task, words: str, fraction: float) -> None:
    """Tell how far it is; give up when the user wants it."""
    if task.cancelled:
        raise CancelledError("comparing: cancelled")
    task.report(words, fraction)
