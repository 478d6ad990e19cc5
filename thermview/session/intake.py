"""Where live frames arrive: history, curves, recording and mailbox, in one order."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

from thermview.errors import UsageError
from thermview.frames import Frame, Mark, MarkKind, Scene, SupplySample
from thermview.recording import RecordedFootage, Writer, open_recording
from thermview.session.history import History
from thermview.session.ledger import Ledger
from thermview.session.mailbox import Mailbox
from thermview.session.pipeline import MeasureStep, Pipeline, Step
from thermview.session.recorder import Recorder, RecordingStatus, RecordingSummary
from thermview.session.states import EventKind
from thermview.session.supplybook import SupplyBook


class Intake:
    """Takes what the live feed delivers, on the pipeline's thread."""

    def __init__(self, ledger: Ledger, history_bytes: int) -> None:
        self._ledger = ledger
        self._supply = SupplyBook()
        self.history = History(ledger, history_bytes, self._supply.log)
        self.mailbox: Mailbox[Frame] = Mailbox()
        self._steps: tuple[Step, ...] = (MeasureStep(ledger.curves),)
        self._pipeline = Pipeline(self._steps)
        self._recorder: Recorder | None = None
        self._finished: _Finished | None = None
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
        self._pipeline.take(number, frame)
        self.mailbox.put(frame)

    def take_supply(self, samples: tuple[SupplySample, ...]) -> None:
        """Take readings of the supply."""
        self._supply.add(samples)
        if (recorder := self._recorder) is not None:
            recorder.note(samples)

    def _added(self, mark: Mark) -> Mark:
        self._ledger.marks.add(mark)
        return mark

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

    def start_recording(
        self, path: Path, scene: Scene, pre_trigger_s: float, *, force: bool
    ) -> None:
        """Begin a file with the frames in memory from the last `pre_trigger_s` (see `Session`)."""
        if self._recorder is not None:
            raise UsageError(f"a recording runs already, into {self._recorder.status().path}")
        info = replace(self._ledger.info, scene=scene)
        writer = Writer(path, info, force=force)
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
        with self._lock:
            recorder, self._recorder = self._recorder, None
        if recorder is None:
            return None
        summary = recorder.stop()
        if not summary.trouble and summary.frames:
            finished = _Finished(recorder, open_recording(summary.path))
            self.history.attach(finished)
            self._keep_finished(finished)
        words = f"recorded {summary.frames} frames, {summary.seconds:.1f} s, into {summary.path}"
        self._ledger.tell(EventKind.RECORDING, words, summary)
        return summary

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
