"""The board in the picture: stored in the recording, else in files beside it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from thermview.board import (
    BoardView,
    Part,
    fit_homography,
    load_landmarks,
    load_placement,
    parse_landmarks,
    parse_placement,
)
from thermview.frames import Footage
from thermview.recording import RecordedFootage


@dataclass(frozen=True, slots=True)
class Board:
    """The parts and the way from the board's mm to the picture's pixels."""

    parts: tuple[Part, ...]
    view: BoardView


def board_of(footage: Footage, path: Path) -> Board | None:
    """Return the board stored in a recording, else the one in files beside it, else None.

    Parameters
    ----------
    footage : Footage
        The open recording.
    path : Path
        Its file; `NAME.parts.csv` and `NAME.landmarks.json` are looked for beside it.

    Raises
    ------
    InputError
        What is there cannot be used.
    """
    if isinstance(footage, RecordedFootage) and footage.placement_csv:
        view = fit_homography(parse_landmarks(footage.landmarks_json or ""))
        return Board(parse_placement(footage.placement_csv), view)
    parts_file = path.with_suffix(".parts.csv")
    landmarks_file = path.with_suffix(".landmarks.json")
    if not (parts_file.is_file() and landmarks_file.is_file()):
        return None
    return Board(load_placement(parts_file), fit_homography(load_landmarks(landmarks_file)))
