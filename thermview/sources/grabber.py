"""What a camera is read through: pictures as delivered, with what the driver says of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Stream:
    """What was agreed with the camera: format code, size of its pictures, rate (None: unknown)."""

    code: str
    width_px: int
    height_px: int
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Grab:
    """One picture as delivered.

    Attributes
    ----------
    picture : ndarray
        uint16 (row, column) for 16-bit formats; uint8 (row, column, 2) for packed ones of two
        bytes a pixel; else 8-bit, (row, column) or (row, column, 3) in blue, green, red.
    stamp_s : float or None
        The driver's time of capture, s, of any zero unless `exact`.
    sequence : int or None
        The driver's number of the picture, lost ones counted.
    damaged : bool
        The driver flagged it, or bytes are missing (zeros stand there).
    exact : bool
        `stamp_s` is on the machine's monotonic clock.
    """

    picture: NDArray[Any]
    stamp_s: float | None = None
    sequence: int | None = None
    damaged: bool = False
    exact: bool = False


class Grabber(Protocol):
    """An open stream of a camera. `grab` and `close` are called by one thread at a time."""

    @property
    def stream(self) -> Stream:
        """Return what was agreed with the camera."""
        ...

    def grab(self, timeout_s: float) -> Grab | None:
        """Return the next picture, or None when none came.

        Raises
        ------
        SourceLostError
            The camera is gone.
        """
        ...

    def close(self) -> None:
        """Let go of the camera; may be called again."""
        ...
