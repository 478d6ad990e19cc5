"""Keeping live pictures: recording, what is in memory only, and where files go."""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING

from thermview.errors import ThermviewError
from thermview.paths import made, user_data
from thermview.session.recorder import RecordingStatus
from thermview.session.session import Session
from thermview.ui.tasks import Task

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

UNSAVED_FRAMES = 25  # fewer, such as those of a glance at a camera, are not asked about


class Keeping:
    """The desk's recorder."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._saved_frames = 0

    def begin(self) -> None:
        """Take over a session that is about to start."""
        self._saved_frames = 0
        self._tell_place()

    @property
    def pre_trigger_s(self) -> float:
        """Return how many seconds before it a trigger's recording keeps."""
        return float(self._desk.settings.get("pre_trigger_s", 5.0))

    def set_pre_trigger(self, seconds: float) -> None:
        """Choose how many seconds before it a trigger's recording keeps."""
        self._desk.settings.set("pre_trigger_s", float(seconds))
        self._tell_place()

    def _tell_place(self) -> None:
        if self._desk.session is not None:
            self._desk.session.set_recording_place(self.next_path, self.pre_trigger_s)

    def next_path(self) -> Path:
        """Return a free name for a new recording, in the user's folder; on any thread.

        Raises
        ------
        OutputError
            There can be no such folder.
        """
        folder = made(user_data() / "recordings")
        stem = time.strftime("%Y-%m-%d %H-%M-%S")
        path, number = folder / f"{stem}.h5", 2
        while path.exists():
            path, number = folder / f"{stem} {number}.h5", number + 1
        return path

    def toggle(self, path: Path | None = None, before_s: float = 0.0) -> None:
        """Start recording (into a file named by the time), or stop."""
        session = self._desk.session
        if session is None or not session.is_live:
            self._desk.say("info", "only a camera or a simulated board can be recorded")
        elif session.recording is None:
            self._start(session, path, before_s)
        else:
            self._desk.run_task(
                "finishing the recording",
                lambda _: session.stop_recording(),
                lambda _: self._desk.tick(),
            )

    def _start(self, session: Session, path: Path | None, before_s: float) -> None:
        try:
            session.start_recording(path or self.next_path(), before_s)
        except ThermviewError as error:
            self._desk.say("error", str(error))
        else:
            self._desk.tick()

    def save_history(self, path: Path) -> None:
        """Write the live pictures that are still in memory into a file."""
        session = self._desk.session
        if session is None or not session.is_live or session.recording is not None:
            words = "only live pictures that are not being recorded can be kept so"
            self._desk.say("info", words)
            return

        def work(_: Task) -> None:
            session.start_recording(path, math.inf)
            session.stop_recording()

        words = f"keeping the live pictures in {path.name}"
        self._desk.run_task(words, work, lambda _: self._desk.tick())

    def take_note(self, status: RecordingStatus) -> None:
        """Take note of a file that was begun or, when none is being written, finished."""
        session = self._desk.session
        if session is None or session.recording is not None:
            return
        if status.dropped or status.trouble:
            missed = f"{status.dropped} frames are missing in it. {status.trouble}".strip()
            self._desk.say("warning", f"{status.path.name}: {missed}")
        self._desk.settings.add_recent(status.path)
        self._saved_frames = len(session.footage)

    def unsaved(self) -> bool:
        """Tell whether live pictures would be lost by closing: none of them is in a file."""
        session = self._desk.session
        if session is None or not session.is_live or session.recording is not None:
            return False
        return len(session.footage) - self._saved_frames > UNSAVED_FRAMES
