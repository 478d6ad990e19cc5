"""Which parts of a board model are meant to be warm: remembered in the user's folder."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from thermview.errors import OutputError
from thermview.paths import save_text, user_data
from thermview.session.boards import Board


def model_key(board: Board) -> str:
    """Return what boards of one model have in common: which parts, and where, to 0.1 mm."""
    rows = sorted(
        f"{p.designator} {p.package} {p.side} {p.x_mm:.1f} {p.y_mm:.1f}" for p in board.parts
    )
    return hashlib.sha256("\n".join(rows).encode()).hexdigest()[:20]


def file_of(board: Board) -> Path:
    """Return the file that remembers a model."""
    return user_data() / "boards" / f"{model_key(board)}.json"


def recall(board: Board) -> frozenset[str]:
    """Return the designators of the parts that are meant to be warm; empty where none is known."""
    try:
        stored = json.loads(file_of(board).read_text(encoding="utf-8"))
        names = stored["meant_warm"]
    except (OSError, ValueError, KeyError, TypeError):  # never stored, or edited by hand
        return frozenset()
    known = {part.designator for part in board.parts}
    return (
        frozenset(name for name in names if name in known)
        if isinstance(names, list)
        else frozenset()
    )


def remember(board: Board, names: frozenset[str], title: str = "") -> None:
    """Store which parts are meant to be warm; `title` tells people which model it is.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    file = file_of(board)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{file.parent} cannot be made: {error.strerror or error}") from error
    words = {"model": title, "meant_warm": sorted(names)}
    save_text(file, json.dumps(words, indent=1, ensure_ascii=False))
