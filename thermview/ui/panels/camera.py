"""The camera's state at the top right: live or not, rate, lost frames, recording time."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QWidget

from thermview.session.losses import Losses
from thermview.session.states import SessionState
from thermview.ui.desk import Desk
from thermview.ui.widgets import button, label, row, set_tone

RATE_OVER_S = 3.0
DOTS = {
    SessionState.IDLE: ("○", ""),
    SessionState.RUNNING: ("●", "good"),
    SessionState.STALLED: ("◐", "warning"),
    SessionState.RECONNECTING: ("◌", "warning"),
    SessionState.ENDED: ("■", ""),
    SessionState.FAILED: ("▲", "error"),
}


LEAST_WORDS_PX = 80  # what is said does not widen the window


def clock_text(seconds: float) -> str:
    """Return a length of time as ``04:12`` or ``1:04:12``."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes:02d}:{rest:02d}"


class CameraState(QWidget):
    """One line that says how the frames come."""

    def __init__(self, desk: Desk, *, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self.setObjectName("cameraState")
        self._desk, self._clock = desk, clock
        self._counts: deque[tuple[float, int]] = deque()
        self.dot = label("", "cameraDot")
        self.words = label("", "cameraWords")
        self.words.setMinimumWidth(LEAST_WORDS_PX)
        self.rate = label("", "cameraRate")
        self.lost = label("", "cameraLost")
        self.record = button(
            "record", "recordButton", desk.record_toggle, symbol="record", tip="start recording"
        )
        layout = row(self.dot, self.words, self.rate, self.lost, self.record)
        self.setLayout(layout)
        desk.state_changed.connect(self.refresh)
        desk.session_changed.connect(self._another)
        self._timer = QTimer(self)
        self._timer.setInterval(500)
        self._timer.timeout.connect(self.refresh)
        self._timer.start()
        self.refresh()

    def _another(self) -> None:
        self._counts.clear()
        session, opened = self._desk.session, self._desk.opened
        if session is not None and opened is not None:
            info = session.info
            lines = [info.name, opened.address, f"{info.width_px} × {info.height_px} pixels"]
            if opened.options.profile:
                lines.append(f"stream layout: {opened.options.profile}")
            lines += [words for words in (info.camera, *info.notes) if words]
            self.words.setToolTip("\n".join(lines))
        self.refresh()

    def refresh(self) -> None:
        """Say the state anew."""
        session = self._desk.session
        live = session is not None and session.is_live
        dot, tone = DOTS[self._desk.state]
        self.dot.setText(dot if live else "")
        set_tone(self.dot, tone)
        self.rate.setVisible(live)
        self.lost.setVisible(live)
        self.record.setVisible(live)
        if session is None:
            self.words.setText("nothing open")
        elif not live:
            count, total = session.progress()
            measured = f" · measuring {100 * count // max(total, 1)} %" if count < total else ""
            self.words.setText(f"recording · {len(session.footage)} frames{measured}")
        else:
            self._say_live()

    def _say_live(self) -> None:
        session = self._desk.session
        assert session is not None
        losses = session.losses
        words = "live" if session.state is SessionState.RUNNING else session.state.value
        self.words.setText(("simulated " if session.info.simulated else "") + words)
        self.rate.setText(f"{self._rate(losses.received):.1f}/s")
        self.lost.setText(_losses_in_words(losses))
        set_tone(self.lost, "warning" if losses.lost or losses.damaged else "")
        self.lost.setToolTip(
            f"received {losses.received} frames\n"
            f"not delivered by the source: {losses.source_lost}\n"
            f"left out because this computer was too slow: {losses.queue_dropped}\n"
            f"missing in the file: {losses.writer_dropped}\n"
            f"damaged: {losses.damaged} · delivered twice: {losses.repeated}\n"
            f"later than usual, none lost: {losses.late}"
        )
        recording = session.recording
        if recording is None:
            self.record.setText("record")
            self.record.setToolTip("start recording")
            set_tone(self.record, "")
        else:
            self.record.setText(f"REC {clock_text(recording.seconds)}")
            self.record.setToolTip(f"stop recording into {recording.path}")
            set_tone(self.record, "rec")

    def _rate(self, received: int) -> float:
        """Return frames per second over the last seconds."""
        now_s = self._clock()
        self._counts.append((now_s, received))
        while len(self._counts) > 2 and now_s - self._counts[0][0] > RATE_OVER_S:
            self._counts.popleft()
        since_s, before = self._counts[0]
        return (received - before) / (now_s - since_s) if now_s > since_s else 0.0


def _losses_in_words(losses: Losses) -> str:
    words = [f"lost {losses.lost}"]
    words += [f"damaged {losses.damaged}"] if losses.damaged else []
    words += [f"late {losses.late}"] if losses.late else []
    return " · ".join(words)
