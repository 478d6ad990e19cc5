"""Marks that the user set on a finished recording, remembered beside it for the next time."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from thermview.errors import InputError
from thermview.frames import Mark, MarkKind
from thermview.paths import save_text
from thermview.session.session import Session

MADE_ANEW = frozenset({MarkKind.ZERO, MarkKind.TRIGGER})
"""Kinds that opening the recording sets by itself."""


def keep_marks(file: Path, session: Session) -> None:
    """Store a session's marks in a JSON file; none while they are the recording's own.

    Raises
    ------
    OutputError
        The folder refuses it.
    """
    marks = _kept(session.own_marks)
    if marks == _kept(session.footage.marks):
        file.unlink(missing_ok=True)
        return
    rows = [{"time_s": m.time_s, "kind": m.kind.value, "text": m.text} for m in marks]
    save_text(file, json.dumps({"version": 1, "marks": rows}, ensure_ascii=False) + "\n")


def recall_marks(file: Path, session: Session) -> None:
    """Give a session the stored marks in place of the recording's; no file changes nothing.

    Raises
    ------
    InputError
        The file cannot be used.
    """
    if not file.is_file():
        return
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
        stored = {_mark(row) for row in document["marks"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        raise InputError(f"{file.name} holds no marks that can be read") from None
    own = set(_kept(session.own_marks))
    for mark in own - stored:
        session.remove_mark(mark)
    for mark in stored - own:
        session.add_mark(mark.kind, mark.time_s, mark.text)


def _kept(marks: tuple[Mark, ...]) -> list[Mark]:
    found = (mark for mark in set(marks) if mark.kind not in MADE_ANEW)
    return sorted(found, key=lambda mark: (mark.time_s, mark.kind.value, mark.text))


def _mark(row: dict[str, Any]) -> Mark:
    time_s = float(row["time_s"])
    if not math.isfinite(time_s):
        raise ValueError(row)
    return Mark(time_s, MarkKind(row["kind"]), str(row.get("text", "")))
