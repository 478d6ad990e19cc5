"""What a scenario left behind, read without the program: recording, driver's log, camera's log."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import h5py
import hdf5plugin  # noqa: F401 (the recording's filter)
import numpy as np
from numpy.typing import NDArray
from pictures import known

_ROW = re.compile(
    r"v4l2_dqbuf: .*bytesused = (\d+), flags = ([^,]*), .*timestamp = (\d+),.* sequence = (\d+)"
)
DAMAGED, REPEATED, GAP_BEFORE = 1, 2, 4  # the contract's numbers


@dataclass(frozen=True)
class DriverRow:
    """A picture as the kernel's driver handed it out."""

    sequence: int
    time_s: float
    bytes_used: int
    error: bool


@dataclass(frozen=True)
class Evidence:
    """A scenario's facts and recording."""

    name: str
    facts: dict[str, Any]
    path: Path

    @classmethod
    def of(cls, folder: Path, name: str) -> Evidence:
        return cls(name, json.loads((folder / f"{name}.json").read_text()), folder / f"{name}.h5")

    @cached_property
    def rows(self) -> list[DriverRow]:
        """Return the driver's rows of the pictures in the recording, oldest first.

        The program leaves out what comes before it is ready: the first recorded picture tells by
        its number, which in a camera's first stream is the driver's too.
        """
        sequence = [row.sequence for row in self.handed_out]
        first = sequence.index(int(self.numbers[0]))
        return self.handed_out[first : first + len(self.times_s)]

    @cached_property
    def received(self) -> list[DriverRow]:
        """Return the rows of those that the program counted: some come after a recording's end."""
        first = self.handed_out.index(self.rows[0])
        return self.handed_out[first : first + self.losses["received"]]

    @cached_property
    def handed_out(self) -> list[DriverRow]:
        """Return the rows of all pictures that the driver handed out."""
        return [
            DriverRow(int(sequence), int(time_ns) / 1e9, int(used), "ERROR" in flags)
            for used, flags, time_ns, sequence in _ROW.findall(self.facts["driver"])
        ]

    @property
    def losses(self) -> dict[str, int]:
        """Return the program's own counts."""
        losses: dict[str, int] = self.facts["answer"]["losses"]
        return losses

    def modes(self, mode: str) -> list[list[int]]:
        """Return the numbers of the pictures sent in each run of a mode."""
        runs: list[list[int]] = []
        last = ""
        for number, sent_as, _ in self.facts["sent"]:
            if sent_as == mode:
                if last != mode:
                    runs.append([])
                runs[-1].append(number)
            last = sent_as
        return runs

    def _read(self, name: str) -> NDArray[Any]:
        with h5py.File(self.path) as file:
            values: NDArray[Any] = file[name][()]
            return values

    @cached_property
    def counts(self) -> NDArray[np.uint16]:
        return self._read("entry/thermal/counts")

    @cached_property
    def times_s(self) -> NDArray[np.float64]:
        return self._read("entry/thermal/time")

    @cached_property
    def flags(self) -> NDArray[np.uint8]:
        return self._read("entry/instrument/camera/flags")

    @cached_property
    def shutter(self) -> NDArray[np.bool_]:
        return self._read("entry/instrument/camera/shutter").astype(bool)

    @cached_property
    def gap_marks_s(self) -> list[float]:
        """Return the times of the recording's gap marks."""
        try:
            kinds, times = self._read("entry/marks/kind"), self._read("entry/marks/time")
        except KeyError:
            return []
        return [float(t) for t, kind in zip(times, kinds, strict=True) if kind == b"gap"]

    @cached_property
    def numbers(self) -> NDArray[np.uint16]:
        """Return the camera's number of every picture, from its first pixel."""
        return self.counts[:, 0, 0]


# -- claims; each raises AssertionError where it does not hold -------------------------


def is_bit_exact(evidence: Evidence, where: NDArray[np.bool_] | None = None) -> None:
    """Every recorded picture is the one that was sent under its number, to the last bit."""
    places = np.arange(len(evidence.counts)) if where is None else np.flatnonzero(where)
    assert len(places)
    height, width = evidence.counts.shape[1:]
    for place in places:
        picture = evidence.counts[place]
        wrong = picture ^ known(int(picture[0, 0]), width, height)
        bits = int(np.bitwise_count(wrong).sum())
        assert bits == 0, f"{evidence.name}: picture {place} has {bits} wrong bits"


def has_all(evidence: Evidence, least: int) -> None:
    """At least so many pictures, none lost, by the camera's, driver's and program's counts."""
    assert len(evidence.counts) >= least
    assert (np.diff(evidence.numbers.astype(int)) % 65536 == 1).all()
    assert (np.diff([row.sequence for row in evidence.rows]) == 1).all()
    losses = {name: n for name, n in evidence.losses.items() if name not in ("received", "late")}
    assert not any(losses.values()), losses
    assert not evidence.flags.any()


def has_the_drivers_times(evidence: Evidence, within_s: float = 0.002) -> None:
    """Recorded times are the driver's, counted from the first picture that it handed out."""
    stamps_s = np.array([row.time_s for row in evidence.rows])
    apart_s = np.abs(evidence.times_s - (stamps_s - evidence.handed_out[0].time_s))
    assert apart_s.max() <= within_s, f"{evidence.name}: {apart_s.max() * 1000:.3f} ms apart"


def has_all_that_came(evidence: Evidence) -> None:
    """The recording holds what the driver handed out, but for the last moment before its stop."""
    after_s = 2.5
    assert len(evidence.rows) == len(evidence.times_s)
    assert len(evidence.handed_out) - len(evidence.rows) <= after_s * 25
    assert evidence.losses["queue_dropped"] == evidence.losses["writer_dropped"] == 0


def marks_damage_and_nothing_else(evidence: Evidence) -> None:
    """Flagged as damaged, and counted so, is what the driver flagged or handed out short."""
    whole = max(row.bytes_used for row in evidence.rows)
    bad = [row.error or row.bytes_used < whole for row in evidence.received]
    assert ((evidence.flags & DAMAGED) != 0).tolist() == bad[: len(evidence.rows)]
    assert evidence.losses["damaged"] == sum(bad)
