"""What a source of frames, a finished or growing film, and a taker of frames must offer."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from thermview.frames.frame import Frame
from thermview.frames.info import Mark, SourceInfo, SupplyLog, SupplySample


class FrameSource(Protocol):
    """A stream of frames, read by one thread.

    `read` waits `timeout_s` at most and returns None when nothing came in that time. It raises
    `SourceEndedError` after the last frame of a source that ends and `SourceLostError` when a
    device is gone. `close` may be called from another thread, more than once, and makes a
    waiting `read` return or raise soon.
    """

    @property
    def info(self) -> SourceInfo:
        """Return what the source says of itself; constant while it is open."""
        ...

    def read(self, timeout_s: float) -> Frame | None:
        """Return the next frame, or None when none came within `timeout_s` seconds."""
        ...

    def close(self) -> None:
        """Let go of the device or file."""
        ...


@runtime_checkable
class SupplyFeed(Protocol):
    """A live source that also reads a supply."""

    def take_supply(self) -> list[SupplySample]:
        """Return the samples taken since the last call, oldest first."""
        ...


@runtime_checkable
class Footage(Protocol):
    """Frames that can be asked for by number: a recording, or what a live session still holds.

    Frames are numbered 0 … len - 1 without holes in this order; a growing film may have let go of
    the oldest: `first` is the oldest that can still be had. Safe to call from several threads.
    """

    @property
    def info(self) -> SourceInfo:
        """Return the description of the source of the frames."""
        ...

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the time of every frame, s, strictly increasing, shape (len,)."""
        ...

    @property
    def first(self) -> int:
        """Return the number of the oldest frame that can still be had."""
        ...

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's log, or None where there is none."""
        ...

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the marks that came with the frames."""
        ...

    def __len__(self) -> int: ...

    def frame(self, number: int) -> Frame:
        """Return frame `number`.

        Raises
        ------
        IndexError
            Not in `first` … len - 1.
        InputError
            The frame cannot be read from its file.
        """
        ...

    def close(self) -> None:
        """Let go of the file."""
        ...


class Sink(Protocol):
    """A taker of frames, in order, on the pipeline's thread."""

    def take(self, frame: Frame) -> None:
        """Take one frame."""
        ...

    def close(self) -> None:
        """Finish; called once, also after an error."""
        ...
