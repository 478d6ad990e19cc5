"""Where live frames arrive: history, curves, recording and mailbox, in one order."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

from thermview.errors import ThermviewError, UsageError
from thermview.frames import Frame, Mark, MarkKind, SupplySample
from thermview.radiometry import profile_text
from thermview.radiometry.shiny import ShinyMap
from thermview.recording.footage import RecordedFootage
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer
from thermview.session.acting import Actions, RecordingPlace
from thermview.session.history import History
from thermview.session.ledger import Ledger
from thermview.session.mailbox import Mailbox
from thermview.session.pipeline import MeasureStep, Plan
from thermview.session.recorder import Recorder, RecordingStatus, RecordingSummary, ShinyNote
from thermview.session.states import EventKind
from thermview.session.supplybook import SupplyBook
from thermview.session.watching import TriggerWatch, build_machines


class Intake:
    """Takes what the live feed delivers, on the pipeline's thread."""

    def __init__(self, ledger: Ledger, history_bytes: int) -> None:
        self._ledger = ledger
        self._supply = SupplyBook()
        self.history = History(ledger, history_bytes, self._supply.log)
        self.mailbox: Mailbox[Frame] = Mailbox()
        self.actions = Actions(ledger, self)
        self._plan = Plan(ledger.info, ledger.info.scene)
        self._measure = MeasureStep(ledger.curves)
        self._watch = TriggerWatch({}, self.actions.fired)
        self._recorder: Recorder | None = None
        self.board_texts: tuple[str, str] | None = None
        self._shiny: ShinyMap | None = None
        self.last_recording: RecordingSummary | None = None
        self._finished: _Finished | None = None
        self._finishers: list[threading.Thread] = []
        self._switch = threading.Lock()  # one start or stop of a recording at a time
        self._lock = threading.Lock()  # a frame is either before a recording's start or in it

    # -- the feed's ----------------------------------------------------------------------------

    def take_frame(self, frame: Frame, *, resumed: bool) -> None:
        """Take the next frame; `resumed` where the source was opened anew before it."""
        if resumed:
            self.note_mark(self._added(Mark(frame.time_s, MarkKind.GAP, "reconnected")))
        with self._lock:
            number = self._ledger.curves.append(frame.time_s, held=frame.held)
            self.history.append(frame)
            if self._recorder is not None:
                self._recorder.offer(number, frame)
        if (poses := self._plan.poses) is not None:
            poses.take(number, frame)
        self._measure.take(number, frame)
        self._watch.take(number, frame)
        self.mailbox.put(frame)

    def take_supply(self, samples: tuple[SupplySample, ...]) -> None:
        """Take readings of the supply."""
        self._supply.add(samples)
        if (recorder := self._recorder) is not None:
            recorder.note(samples)

    def take_warning(self, words: str) -> None:
        """Take what the source noticed."""
        self._ledger.tell(EventKind.WARNING, words)

    def _added(self, mark: Mark) -> Mark:
        self._ledger.marks.add(mark)
        return mark

    def set_plan(self, plan: Plan) -> None:
        """Watch for a plan's rules from the next frame on."""
        machines = build_machines(plan, self._ledger.curves, self._watch.machines)
        self._watch = TriggerWatch(machines, self.actions.fired)
        self._plan = plan

    # -- recording -----------------------------------------------------------------------------

    @property
    def recording(self) -> RecordingStatus | None:
        """Return how the recording stands, None while there is none."""
        recorder = self._recorder
        return recorder.status() if recorder is not None else None

    def note_mark(self, mark: Mark) -> None:
        """Write a mark into the recording, where one runs."""
        if (recorder := self._recorder) is not None:
            recorder.note(mark)

    def set_shiny(self, shiny: ShinyMap | None) -> None:
        """Keep which places are shiny with the recording that runs and with later ones."""
        self._shiny = shiny if shiny is not None and shiny.known else None
        if (recorder := self._recorder) is not None:
            recorder.note(ShinyNote(self._shiny))

    def start_recording(self, path: Path, pre_trigger_s: float, *, force: bool) -> None:
        """Begin a file with the frames in memory from the last `pre_trigger_s` (see `Session`)."""
        with self._switch:
            if self._recorder is not None:
                raise UsageError(f"a recording runs already, into {self._recorder.status().path}")
            info = replace(self._ledger.info, scene=self._plan.scene)
            writer = Writer(path, info, force=force)
            if self._plan.profile is not None:
                writer.set_profile(profile_text(self._plan.profile))
            if self.board_texts is not None:
                writer.set_board(*self.board_texts)
            if self._shiny is not None:
                writer.set_shiny(self._shiny)
            with self._lock:
                before = self._frames_before(pre_trigger_s)
                recorder = Recorder(writer, path, self._ledger, before)
                self._recorder = recorder
                self.history.attach(recorder)
            self._keep_finished(None)
            if before:
                self._note_since(recorder, before[0][1].time_s)
            recorder.start()
        self._ledger.tell(EventKind.RECORDING, f"recording into {path}", recorder.status())

    def stop_recording(self) -> RecordingSummary | None:
        """Finish the file; what it holds can still be looked at."""
        recorder = self._detach()
        for finisher in self._finishers:
            finisher.join()
        return self._finish(recorder) if recorder is not None else None

    def record_for_trigger(self, place: RecordingPlace) -> None:
        """Begin, unless a recording runs."""
        if self._recorder is None:
            self.start_recording(place.next_path(), place.pre_trigger_s, force=place.force)

    def stop_for_trigger(self) -> None:
        """Stop on another thread: the frames do not wait for the disk."""
        recorder = self._detach()
        if recorder is not None:
            finisher = threading.Thread(
                target=self._finish, args=(recorder,), name="thermview finishing", daemon=True
            )
            self._finishers.append(finisher)
            finisher.start()

    def _detach(self) -> Recorder | None:
        with self._switch, self._lock:
            recorder, self._recorder = self._recorder, None
        return recorder

    def _finish(self, recorder: Recorder) -> RecordingSummary:
        summary = self.last_recording = recorder.stop(self._ledger.marks.all)
        with self._switch:
            if self._recorder is None and not summary.trouble and summary.frames:
                self._read_back(recorder, summary.path)
        words = f"recorded {summary.frames} frames, {summary.seconds:.1f} s, into {summary.path}"
        self._ledger.tell(EventKind.RECORDING, words, summary)
        return summary

    def _read_back(self, recorder: Recorder, path: Path) -> None:
        try:
            finished = _Finished(recorder, open_recording(path))
        except ThermviewError as error:  # moved away meanwhile: older frames are not at hand then
            self._ledger.tell(EventKind.WARNING, str(error))
            return
        self.history.attach(finished)
        self._keep_finished(finished)

    def close(self) -> None:
        """Finish a recording and let go of the file."""
        self.stop_recording()
        self.history.attach(None)
        self._keep_finished(None)

    def _frames_before(self, seconds: float) -> list[tuple[int, Frame]]:
        if seconds <= 0 or not len(self.history):
            return []
        return self.history.since(float(self.history.times_s[-1]) - seconds)

    def _note_since(self, recorder: Recorder, time_s: float) -> None:
        """Write what came with the frames before the start: supply readings and marks."""
        log = self._supply.log()
        if log is not None:
            rows = zip(log.time_s, log.voltage_v, log.current_a, strict=True)
            recorder.note(tuple(SupplySample(*map(float, r)) for r in rows if r[0] >= time_s))
        for mark in self._ledger.marks.all:
            if mark.time_s >= time_s:
                recorder.note(mark)

    def _keep_finished(self, finished: _Finished | None) -> None:
        old, self._finished = self._finished, finished
        if old is not None:
            old.close()


class _Finished:
    """The last recording of the session, read back; an `Archive`."""

    def __init__(self, recorder: Recorder, footage: RecordedFootage) -> None:
        self._recorder = recorder
        self._footage = footage

    def span(self) -> tuple[int, int]:
        """Return the session's numbers in the file."""
        return self._recorder.span()

    def frame(self, number: int) -> Frame:
        """Return the session's frame from the file."""
        return self._footage.frame(self._recorder.place(number))

    def close(self) -> None:
        """Close the file."""
        self._footage.close()
