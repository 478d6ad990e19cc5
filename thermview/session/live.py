"""A live source with its threads: capture, the pipeline's, and the one that opens it anew."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from thermview.errors import DeviceError, ThermviewError, UsageError
from thermview.frames import Frame, FrameSource, SourceInfo, SupplySample
from thermview.session.admission import Admission
from thermview.session.capture import Capture, Delivery, Finish, Resumed, Warned
from thermview.session.losses import LossCounter
from thermview.session.states import SessionState

QUEUE_FRAMES = 64
"""Frames between capture and pipeline: a second at 60 per second."""

FRAMES_MISSED = 3
"""A slow source has not stalled before it missed so many frames."""


_NOTHING_TO_REOPEN = (SessionState.IDLE, SessionState.RECONNECTING)


class Taker(Protocol):
    """What the feed delivers to, on the pipeline's thread."""

    def take_frame(self, frame: Frame, *, resumed: bool) -> None: ...  # noqa: D102
    def take_supply(self, samples: tuple[SupplySample, ...]) -> None: ...  # noqa: D102
    def take_warning(self, words: str) -> None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class _Phase:
    state: SessionState
    words: str = ""


class LiveFeed:
    """Brings a source's frames to the taker, and says how that goes.

    A source that is lost is opened anew by itself as soon as it is back, where `retry_s` says how
    often to look; else by `reconnect`.
    """

    def __init__(
        self,
        source: FrameSource,
        taker: Taker,
        losses: LossCounter,
        *,
        reopen: Callable[[], FrameSource] | None,
        clock: Callable[[], float],
        stall_s: float,
        retry_s: float | None = None,
    ) -> None:
        self.info = source.info
        self._taker = taker
        self._losses = losses
        self._reopen = reopen
        self._clock = clock
        self._retry_s = retry_s
        self._stall_s = max(stall_s, FRAMES_MISSED / (self.info.rate_hz or FRAMES_MISSED))
        self._admission = Admission(losses)
        self._queue: queue.Queue[Delivery | None] = queue.Queue(QUEUE_FRAMES)
        self._capture = self._capture_of(source)
        self._phase = _Phase(SessionState.IDLE)
        self._resumed = False
        self._closed = threading.Event()
        self._settled = threading.Event()
        self._lock = threading.Lock()
        self._pump = threading.Thread(target=self._run, name="thermview pipeline", daemon=True)
        self._opener: threading.Thread | None = None

    @property
    def state(self) -> SessionState:
        """Return the state; a source that is silent for too long has stalled."""
        phase = self._phase
        if phase.state is SessionState.RUNNING and self._silence_s() > self._stall_s:
            return SessionState.STALLED
        return phase.state

    @property
    def trouble(self) -> str:
        """Return words for the user, empty while all is well."""
        state = self.state
        offer = "; reconnect to go on" if self._reopen is not None else ""
        if state is SessionState.STALLED:
            silence_s = self._silence_s()
            return f"no frame from {self.info.name} for {silence_s:.0f} s; check its cable{offer}"
        words = self._phase.words
        return f"{words}{offer}" if state is SessionState.FAILED else words

    def start(self) -> None:
        """Begin."""
        self._phase = _Phase(SessionState.RUNNING)
        self._pump.start()
        self._capture.start()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the source ended or failed and its last frame is through."""
        return self._settled.wait(timeout_s)

    def reconnect(self) -> None:
        """Open the source anew, on a thread of its own; what came so far stays.

        Raises
        ------
        UsageError
            Nothing is known that could open it.
        """
        if self._reopen is None:
            raise UsageError(f"{self.info.name} cannot be opened anew from here; open it again")
        with self._lock:
            if self._closed.is_set() or self._phase.state in _NOTHING_TO_REOPEN:
                return
            self._begin_to_reopen("")

    def _begin_to_reopen(self, words: str) -> None:
        self._phase = _Phase(SessionState.RECONNECTING, words)
        self._settled.clear()
        if self._opener is not None:
            self._opener.join()
        self._opener = threading.Thread(
            target=self._open_anew, name="thermview reconnect", daemon=True
        )
        self._opener.start()

    def close(self) -> None:
        """Stop all threads and let go of the source; may be called again."""
        with self._lock:
            first = not self._closed.is_set()
            self._closed.set()
            opener = self._opener
        if opener is not None:
            opener.join()
        self._capture.close()
        if self._pump.ident is not None:
            if first:
                self._queue.put(None)  # behind the last frame: what was received goes through
            self._pump.join()

    def _silence_s(self) -> float:
        return self._clock() - self._capture.last_arrival_s

    def _capture_of(self, source: FrameSource) -> Capture:
        return Capture(source, self._admission, self._losses, self._queue, self._clock)

    def _open_anew(self) -> None:
        self._capture.close()
        try:
            source = self._source_anew()
            words = _misfit(self.info, source.info)
        except ThermviewError as error:
            self._settle(SessionState.FAILED, str(error))
            return
        except Exception as error:  # a driver's own: say it rather than die on a thread
            self._settle(SessionState.FAILED, f"{type(error).__name__}: {error}")
            return
        if words or self._closed.is_set():
            source.close()
            self._settle(SessionState.FAILED, words)
            return
        self._admission.reopened()
        self._capture = self._capture_of(source)
        self._queue.put(Resumed())
        self._capture.start()

    def _source_anew(self) -> FrameSource:
        """Open the source; wait for a device that is not back, where that was asked for."""
        assert self._reopen is not None
        while True:
            try:
                return self._reopen()
            except DeviceError:
                if self._retry_s is None or self._closed.wait(self._retry_s):
                    raise

    def _settle(self, state: SessionState, words: str) -> None:
        self._phase = _Phase(state, words)
        self._settled.set()

    def _run(self) -> None:
        while (item := self._queue.get()) is not None:
            try:
                self._handle(item)
            except Exception as error:  # the queue must go on being emptied, and the user be told
                self._settle(SessionState.FAILED, f"{type(error).__name__}: {error}")

    def _handle(self, item: Delivery) -> None:
        match item:
            case Frame():
                self._taker.take_frame(item, resumed=self._resumed)
                self._resumed = False
            case Finish():
                self._finished(item)
            case Warned(words):
                self._taker.take_warning(words)
            case Resumed():
                self._resumed = True
                self._settled.clear()
                self._phase = _Phase(SessionState.RUNNING)
            case _:
                self._taker.take_supply(item)

    def _finished(self, finish: Finish) -> None:
        with self._lock:
            if self._phase.state is SessionState.RECONNECTING:
                return
            comes_back = finish.lost and self._reopen is not None and self._retry_s is not None
            if comes_back and not self._closed.is_set():
                self._begin_to_reopen(f"{finish.words}; it will go on by itself")
            else:
                self._settle(finish.state, finish.words)


def _misfit(old: SourceInfo, new: SourceInfo) -> str:
    """Return why a source opened anew cannot go on where the old one stopped, else nothing."""
    if (old.width_px, old.height_px, old.scale) == (new.width_px, new.height_px, new.scale):
        return ""
    return (
        f"{new.name} now sends {new.width_px} x {new.height_px} pictures on another scale or of "
        f"another size than before ({old.width_px} x {old.height_px}); open it as a new session"
    )
