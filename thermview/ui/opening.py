"""Open an address: the session, with what lies beside a recording. Runs outside Qt's thread."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermview.board import BoardView, Part, fit_homography, load_landmarks, load_placement
from thermview.errors import ThermviewError
from thermview.paths import user_data
from thermview.regions import RegionSet, load_regions, save_regions
from thermview.session import Session
from thermview.sources import OpenOptions, is_live, open_footage, open_source


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
    opened.regions = _regions_of(opened)
    return opened


def _board_of(opened: Opened, path: Path) -> Board | None:
    """Return the board stored in the recording, else the one in files beside it."""
    parts_file = path.with_suffix(".parts.csv")
    landmarks_file = path.with_suffix(".landmarks.json")
    if not (parts_file.is_file() and landmarks_file.is_file()):
        return None
    try:
        parts = tuple(load_placement(parts_file))
        return Board(parts, fit_homography(load_landmarks(landmarks_file)))
    except ThermviewError as error:
        opened.remarks.append(f"the board beside the recording is not used: {error}")
        return None


def remembered_regions_file(address: str) -> Path:
    """Return where the regions drawn on this input or recording are remembered."""
    path = Path(address)
    key = str(path.resolve()) if path.exists() else address
    folder = user_data() / "regions"
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:20]}.json"


def remember_regions(address: str, regions: RegionSet) -> None:
    """Store the regions for the next opening of `address`."""
    file = remembered_regions_file(address)
    file.parent.mkdir(parents=True, exist_ok=True)
    save_regions(file, regions)


def _regions_of(opened: Opened) -> RegionSet:
    """Return the remembered regions, else those in the file beside the recording."""
    candidates = [remembered_regions_file(opened.address)]
    if opened.path is not None:
        candidates.append(opened.path.with_suffix(".regions.json"))
    for file in candidates:
        if file.is_file():
            try:
                return load_regions(file)
            except ThermviewError as error:
                opened.remarks.append(f"remembered regions are not used: {error}")
    return RegionSet()


def quiet_seconds(times_s: NDArray[np.float64], power_on_s: float | None) -> float | None:
    """Return the end of the quiet start of a recording, s: before power, else its first second."""
    if len(times_s) < 2:
        return None
    start = float(times_s[0])
    if power_on_s is not None and power_on_s - start > 0.2:
        return power_on_s
    return min(start + 1.0, float(times_s[-1]))
