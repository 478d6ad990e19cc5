"""Open an address: the session, with what lies beside a recording. Runs outside Qt's thread."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from thermview.board import (
    BoardView,
    Part,
    fit_homography,
    load_landmarks,
    load_placement,
    parse_landmarks,
    parse_placement,
)
from thermview.errors import ThermviewError
from thermview.frames import MarkKind
from thermview.paths import user_data
from thermview.recording import RecordedFootage
from thermview.recording.generic import picture_datasets
from thermview.recording.hdf5 import open_for_reading, reading
from thermview.recording.reader import is_recording
from thermview.regions import RegionSet, load_regions, save_regions
from thermview.session import Session
from thermview.session.export import write_whole
from thermview.session.triggers import TriggerRule, parse_trigger
from thermview.sources import OpenOptions, is_live, open_footage, open_source

HDF5_SUFFIXES = frozenset({".h5", ".hdf5", ".hdf", ".he5", ".nxs", ".nx5"})
FIRST_S = 1.0  # without any sign of power the first second counts as quiet
LEAST_QUIET_S = 0.2
MOST_QUIET_S = 3.0  # more frames than these hardly lower the zero's noise
SUPPLY_ON = 0.05  # of the supply's highest voltage


@dataclass(frozen=True, slots=True)
class Board:
    """The board in the picture: its parts and the way from its mm to the picture's pixels."""

    parts: tuple[Part, ...]
    view: BoardView


@dataclass(slots=True)
class Opened:
    """What opening an address gave."""

    address: str
    options: OpenOptions
    session: Session
    path: Path | None = None
    board: Board | None = None
    regions: RegionSet = field(default_factory=RegionSet)
    triggers: tuple[TriggerRule, ...] = ()
    remarks: list[str] = field(default_factory=list)


def open_address(
    address: str, options: OpenOptions, report: Callable[[str, float], None]
) -> Opened:
    """Open a recording, a stack or a live input; the session is not started yet.

    Raises
    ------
    ThermviewError
        It cannot be opened. Trouble with what lies beside it is only a remark.
    """
    report(f"opening {address}", -1.0)
    if is_live(address):
        source = open_source(address, options)
        session = Session.live(source, reopen=lambda: open_source(address, options))
        opened = Opened(address, options, session)
    else:
        path = Path(address)
        session = Session.replay(open_footage(address, options))
        opened = Opened(address, options, session, path)
        opened.board = _board_of(opened, path)
        report("taking the zero", -1.0)
        zero_quiet_start(session)
    opened.regions = _regions_of(opened)
    opened.triggers = _triggers_of(opened)
    return opened


def _board_of(opened: Opened, path: Path) -> Board | None:
    """Return the board stored in the recording, else the one in files beside it."""
    footage = opened.session.footage
    try:
        if isinstance(footage, RecordedFootage) and footage.placement_csv:
            return Board(
                parse_placement(footage.placement_csv),
                fit_homography(parse_landmarks(footage.landmarks_json or "")),
            )
    except ThermviewError as error:
        opened.remarks.append(f"the board stored in the recording is not used: {error}")
    parts_file = path.with_suffix(".parts.csv")
    landmarks_file = path.with_suffix(".landmarks.json")
    if not (parts_file.is_file() and landmarks_file.is_file()):
        return None
    try:
        view = fit_homography(load_landmarks(landmarks_file))
        return Board(load_placement(parts_file), view)
    except ThermviewError as error:
        opened.remarks.append(f"the board beside the recording is not used: {error}")
        return None


def memory_of(address: str) -> Path:
    """Return the file that remembers what was drawn on this input or recording."""
    path = Path(address)
    key = str(path.resolve()) if path.exists() else address
    folder = user_data() / "regions"
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:20]}.json"


def remember(address: str, regions: RegionSet, triggers: tuple[TriggerRule, ...]) -> None:
    """Store regions and triggers for the next opening of `address`.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    file = memory_of(address)
    file.parent.mkdir(parents=True, exist_ok=True)
    save_regions(file, regions)
    lines = "".join(f"{rule}\n" for rule in triggers)
    write_whole(file.with_suffix(".triggers"), lambda p: _write(p, lines), force=True)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def _triggers_of(opened: Opened) -> tuple[TriggerRule, ...]:
    file = memory_of(opened.address).with_suffix(".triggers")
    try:
        lines = file.read_text(encoding="utf-8").splitlines() if file.is_file() else []
        return tuple(parse_trigger(line) for line in lines)
    except (OSError, UnicodeDecodeError, ThermviewError) as error:
        opened.remarks.append(f"the remembered triggers are not used: {error}")
        return ()


def _regions_of(opened: Opened) -> RegionSet:
    """Return the remembered regions, else those in the file beside the recording."""
    candidates = [memory_of(opened.address)]
    if opened.path is not None:
        candidates.append(opened.path.with_suffix(".regions.json"))
    for file in candidates:
        if file.is_file():
            try:
                return load_regions(file)
            except ThermviewError as error:
                opened.remarks.append(f"remembered regions are not used: {error}")
    return RegionSet()


def datasets_of(path: Path) -> list[str] | None:
    """Return the datasets to choose from in an HDF5 file that is no recording, else None.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    if path.suffix.lower() not in HDF5_SUFFIXES or not path.is_file():
        return None
    with open_for_reading(path) as file, reading(path, "the file"):
        return None if is_recording(file) else picture_datasets(file)


def zero_quiet_start(session: Session) -> None:
    """Take a recording's time before power, else its first second, as the zero of rises."""
    times_s = session.footage.times_s
    if len(times_s) < 2 or session.baseline is not None:
        return
    start_s = float(times_s[0])
    power_on_s = power_on(session)
    if power_on_s is None or power_on_s - start_s < LEAST_QUIET_S:
        end_s = min(start_s + FIRST_S, float(times_s[-1]))
    else:
        end_s = float(times_s[max(0, int(np.searchsorted(times_s, power_on_s)) - 1)])
    session.zero_now(end_s, min(end_s - start_s, MOST_QUIET_S))


def power_on(session: Session) -> float | None:
    """Return when the power came on, s: the first such mark, else the supply log's first rise."""
    marked = [m.time_s for m in session.marks if m.kind is MarkKind.POWER_ON]
    if marked:
        return min(marked)
    supply = session.supply
    if supply is None or len(supply) == 0:
        return None
    on = supply.voltage_v > SUPPLY_ON * float(np.nanmax(supply.voltage_v))
    if on.all() or not on.any():
        return None
    return float(supply.time_s[int(np.argmax(on))])
