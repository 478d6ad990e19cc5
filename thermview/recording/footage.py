"""A recording held open: its frames by number and all that came with them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import InputError
from thermview.frames import Frame, FrameFlag, Mark, SourceInfo, SupplyLog
from thermview.recording.pictures import Pictures

if TYPE_CHECKING:
    from thermview.radiometry.shiny import ShinyMap


@dataclass(frozen=True, slots=True, eq=False)
class Extras:
    """What may come with the frames; empty or None where the file has none.

    `shutter` and `flags` have one entry per frame or fewer; absent ones are False and 0.
    """

    shutter: NDArray[np.bool_]
    flags: NDArray[np.uint8]
    supply: SupplyLog | None = None
    marks: tuple[Mark, ...] = ()
    placement_csv: str | None = None
    landmarks_json: str | None = None
    profile_json: str | None = None
    shiny: ShinyMap | None = None

    @classmethod
    def none(cls) -> Extras:
        """Return the extras of a file that has none."""
        return cls(np.zeros(0, np.bool_), np.zeros(0, np.uint8))

    def of(self, number: int) -> tuple[bool, FrameFlag]:
        """Return whether the shutter held frame `number`, and its flags."""
        shutter = number < len(self.shutter) and bool(self.shutter[number])
        flags = int(self.flags[number]) if number < len(self.flags) else 0
        return shutter, FrameFlag(flags)


class RecordedFootage:
    """Frames of a file by number (a `Footage`), safe from several threads."""

    def __init__(
        self,
        path: Path,
        file: Any,
        *,
        pictures: Pictures,
        times_s: NDArray[np.float64],
        info: SourceInfo,
        extras: Extras,
    ) -> None:
        self.path = path
        self._file = file
        self._pictures = pictures
        self._info = info
        self._extras = extras
        self._times_s = times_s
        self._times_s.setflags(write=False)

    @property
    def info(self) -> SourceInfo:
        """Return the description of what made the frames."""
        return self._info

    @property
    def title(self) -> str:
        """Return the recording's title, may be empty."""
        return self._info.title

    @property
    def netd_k(self) -> float | None:
        """Return the camera's stated noise, K."""
        return self._info.netd_k

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the time of every frame, s, strictly increasing."""
        return self._times_s

    @property
    def first(self) -> int:
        """Return 0: a file lets go of nothing."""
        return 0

    @property
    def supply(self) -> SupplyLog | None:
        """Return the supply's log, or None."""
        return self._extras.supply

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Return the marks in the file, in order of time."""
        return self._extras.marks

    @property
    def placement_csv(self) -> str | None:
        """Return the text of the board's placement list, or None."""
        return self._extras.placement_csv

    @property
    def landmarks_json(self) -> str | None:
        """Return the text of the board's landmarks, or None."""
        return self._extras.landmarks_json

    @property
    def profile_json(self) -> str | None:
        """Return the text of the camera's profile, or None."""
        return self._extras.profile_json

    @property
    def shiny(self) -> ShinyMap | None:
        """Return which pixels are kept as shiny, or None."""
        return self._extras.shiny

    @property
    def pictures(self) -> Pictures:
        """Return the stored pictures, for checking them one by one."""
        return self._pictures

    def __len__(self) -> int:
        return len(self._times_s)

    def frame(self, number: int) -> Frame:
        """Return frame `number`; one that was never written is flagged as damaged.

        Raises
        ------
        IndexError
            There is no such frame.
        InputError
            The file does not give it.
        """
        if not 0 <= number < len(self._times_s):
            raise IndexError(f"frame {number} is not in 0 … {len(self._times_s) - 1}")
        counts = self._pictures.read(number)
        shutter, flags = self._extras.of(number)
        if not self._pictures.written(number):
            flags |= FrameFlag.DAMAGED
        time_s = float(self._times_s[number])
        return Frame(counts, time_s, number, self._info.scale, shutter, flags)

    def close(self) -> None:
        """Close the file; may be called again."""
        self._pictures.close()
        self._file.close()

    def __enter__(self) -> RecordedFootage:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def check_times(path: Path, times_s: NDArray[np.float64]) -> None:
    """Refuse times that are not finite or do not increase, naming the first such frame.

    Raises
    ------
    InputError
        As said.
    """
    finite = np.isfinite(times_s)
    if not finite.all():
        number = int(np.argmin(finite))
        raise InputError(f"{path}: the time of frame {number} is {times_s[number]}; repair it")
    rising = np.diff(times_s) > 0
    if not rising.all():
        number = int(np.argmin(rising)) + 1
        raise InputError(
            f"{path}: times must increase, but frame {number} is at {times_s[number]:.6g} s "
            f"after {times_s[number - 1]:.6g} s; thermview repair keeps the frames in order"
        )


def rate_of(times_s: NDArray[np.float64]) -> float | None:
    """Return the usual rate of frames, 1/s, from the median step; None for one frame."""
    return float(1.0 / np.median(np.diff(times_s))) if len(times_s) > 1 else None
