"""The board in the picture: brought along by its source, else in files beside the recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, runtime_checkable

from thermview.board import (
    BoardView,
    Landmark,
    Part,
    fit_homography,
    format_landmarks,
    format_placement,
    load_landmarks,
    load_placement,
    parse_landmarks,
    parse_placement,
)


@dataclass(frozen=True, slots=True)
class Board:
    """The parts and the way from the board's mm to the picture's pixels.

    Attributes
    ----------
    parts : tuple of Part
    view : BoardView
    texts : (str, str) or None
        Placement list and landmarks in the contract's forms, to be kept with recordings.
    """

    parts: tuple[Part, ...]
    view: BoardView
    texts: tuple[str, str] | None = field(default=None, repr=False, compare=False)

    @classmethod
    def of(cls, parts: tuple[Part, ...], landmarks: Sequence[Landmark]) -> Board:
        """Return a board of parts and landmarks.

        Raises
        ------
        InputError
            The landmarks give no view.
        """
        texts = (format_placement(parts), format_landmarks(landmarks))
        return cls(parts, fit_homography(landmarks), texts)

    @classmethod
    def of_texts(cls, placement_csv: str, landmarks_json: str) -> Board:
        """Read a board from a placement list and landmarks.

        Raises
        ------
        InputError
            They cannot be used.
        """
        view = fit_homography(parse_landmarks(landmarks_json))
        return cls(parse_placement(placement_csv), view, (placement_csv, landmarks_json))


@runtime_checkable
class CarriesBoard(Protocol):
    """Footage or a source that knows which board it shows."""

    @property
    def placement_csv(self) -> str | None:
        """Return the placement list, None where there is none."""
        ...

    @property
    def landmarks_json(self) -> str | None:
        """Return the landmarks, None where there are none."""
        ...


def board_of(origin: object, path: Path | None = None) -> Board | None:
    """Return the board that footage or a source carries, else the one in files, else None.

    Parameters
    ----------
    origin : object
        The open recording or source.
    path : Path, optional
        A recording's file; `NAME.parts.csv` and `NAME.landmarks.json` are looked for beside it.

    Raises
    ------
    InputError
        What is there cannot be used.
    """
    if isinstance(origin, CarriesBoard) and origin.placement_csv:
        return Board.of_texts(origin.placement_csv, origin.landmarks_json or "")
    if path is None:
        return None
    parts_file = path.with_suffix(".parts.csv")
    landmarks_file = path.with_suffix(".landmarks.json")
    if not (parts_file.is_file() and landmarks_file.is_file()):
        return None
    return Board.of(load_placement(parts_file), load_landmarks(landmarks_file))
