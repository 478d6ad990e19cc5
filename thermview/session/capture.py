"""The thread that reads a live source into a bounded queue."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from thermview.errors import SourceEndedError, SourceLostError, ThermviewError
from thermview.frames import Frame, FrameSource, SupplyFeed, SupplySample
from thermview.session.admission import Admission
from thermview.session.losses import LossCounter
from thermview.session.states import SessionState

READ_TIMEOUT_S = 0.1


@dataclass(frozen=True, slots=True)
class Finish:
    """The source will deliver no more: the state this leads to, the words for the user.

    `lost` where the device is gone and may come back.
    """

    state: SessionState
    words: str = ""
    lost: bool = False


@dataclass(frozen=True, slots=True)
class Resumed:
    """The source was opened anew: the next frame comes after a gap."""


@dataclass(frozen=True, slots=True)
class Warned:
    """The source noticed something that the user should know."""

    words: str


Delivery = Frame | tuple[SupplySample, ...] | Warned | Finish | Resumed


@runtime_checkable
class Warner(Protocol):
    """A source that notices what the user should know of its stream."""

    def take_warnings(self) -> list[str]:
        """Return the words since the last call."""
        ...


class Capture:
    """Reads one source until it ends, fails or is closed.

    A camera's frames are dropped (and counted) when the queue is full; a source that can wait
    is made to wait.
    """

    def __init__(
        self,
        source: FrameSource,
        admission: Admission,
        losses: LossCounter,
        out: queue.Queue[Delivery | None],
        clock: Callable[[], float],
    ) -> None:
        self._source = source
        self._supply = source if isinstance(source, SupplyFeed) else None
        self._warner = source if isinstance(source, Warner) else None
        self._admission = admission
        self._losses = losses
        self._out = out
        self._clock = clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="thermview capture", daemon=True)
        self.last_arrival_s = clock()

    def start(self) -> None:
        """Begin to read."""
        self.last_arrival_s = self._clock()
        self._thread.start()

    def close(self) -> None:
        """Stop reading and let go of the source; waits for the thread."""
        self._stop.set()
        with suppress(Exception):  # a device that is gone may refuse; nothing is lost by that
            self._source.close()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                self._read_once()
        except SourceEndedError as end:
            self._finish(Finish(SessionState.ENDED, str(end)))
        except SourceLostError as error:
            self._finish(Finish(SessionState.FAILED, str(error), lost=True))
        except ThermviewError as error:
            self._finish(Finish(SessionState.FAILED, str(error)))
        except Exception as error:  # a driver's own: the user must hear of it, whatever it is
            words = f"{self._source.info.name} failed: {type(error).__name__}: {error}"
            self._finish(Finish(SessionState.FAILED, words))

    def _read_once(self) -> None:
        frame = self._source.read(READ_TIMEOUT_S)
        if frame is not None:
            arrival_s = self.last_arrival_s = self._clock()
            admitted = self._admission.take(frame, arrival_s)
            if admitted is not None:
                self._deliver(admitted)
        if self._supply is not None:
            self._deliver_supply(self._supply.take_supply())
        if self._warner is not None:
            for words in self._warner.take_warnings():
                self._put(Warned(words))

    def _deliver(self, frame: Frame) -> None:
        if not self._source.info.live:
            self._put(frame)
            return
        try:
            self._out.put_nowait(frame)
        except queue.Full:
            self._losses.add(queue_dropped=1)
            self._admission.gap()

    def _deliver_supply(self, samples: list[SupplySample]) -> None:
        shift_s = self._admission.shift_s
        if samples:
            self._put(
                tuple(SupplySample(s.time_s + shift_s, s.voltage_v, s.current_a) for s in samples)
            )

    def _finish(self, finish: Finish) -> None:
        if not self._stop.is_set():
            self._put(finish)

    def _put(self, item: Delivery) -> None:
        """Wait for room, but not beyond being closed."""
        while not self._stop.is_set():
            try:
                self._out.put(item, timeout=READ_TIMEOUT_S)
            except queue.Full:
                continue
            return
        if isinstance(item, Frame):
            self._losses.add(queue_dropped=1)
