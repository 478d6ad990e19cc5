"""What is remembered of a recording's board: its placement list and matching points. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from thermview.board import (
    Landmark,
    Part,
    format_landmarks,
    format_placement,
    load_landmarks,
    load_placement,
)
from thermview.paths import made, save_text


def keep(stem: Path, parts: Sequence[Part], landmarks: Sequence[Landmark]) -> None:
    """Store parts and points in ``STEM.parts.csv`` and ``STEM.landmarks.json``; none, no file.

    Raises
    ------
    OutputError
        The folder refuses it.
    """
    made(stem.parent)
    _write(stem.with_suffix(".parts.csv"), format_placement(parts) if parts else "")
    marks = format_landmarks(landmarks) + "\n" if landmarks else ""
    _write(stem.with_suffix(".landmarks.json"), marks)


def _write(path: Path, text: str) -> None:
    if not text:
        path.unlink(missing_ok=True)
    elif not (path.is_file() and path.read_text(encoding="utf-8") == text):
        save_text(path, text)


def kept(stem: Path) -> tuple[tuple[Part, ...], tuple[Landmark, ...]]:
    """Return the parts and points stored beside `stem`, empty where there are none.

    Raises
    ------
    InputError
        A file is there and cannot be used.
    """
    parts_file, marks_file = stem.with_suffix(".parts.csv"), stem.with_suffix(".landmarks.json")
    parts = load_placement(parts_file) if parts_file.is_file() else ()
    return parts, load_landmarks(marks_file) if marks_file.is_file() else ()
