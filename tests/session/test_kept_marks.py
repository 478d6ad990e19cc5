"""Marks set on a finished recording, remembered beside it."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from thermview.errors import InputError
from thermview.frames import MarkKind
from thermview.paths import sample_recordings
from thermview.session.kept_marks import keep_marks, recall_marks
from thermview.session.session import Session
from thermview.sources import open_footage

RECORDING = str(sample_recordings() / "good.h5")


def test_what_was_added_and_removed_is_recalled(tmp_path: Path) -> None:
    file = tmp_path / "one.marks.json"
    with closing(Session.replay(open_footage(RECORDING))) as session:
        keep_marks(file, session)
        assert not file.exists()  # nothing to remember
        (own,) = (mark for mark in session.marks if mark.kind is MarkKind.POWER_ON)
        session.remove_mark(own)
        session.add_mark(MarkKind.POWER_ON, 12.5)
        session.add_mark(MarkKind.PLAIN, 14.0, "größer")
        session.add_mark(MarkKind.ZERO, 1.0)  # set anew at every opening
        kept = [mark for mark in session.marks if mark.kind is not MarkKind.ZERO]
        keep_marks(file, session)
    with closing(Session.replay(open_footage(RECORDING))) as again:
        recall_marks(file, again)
        assert list(again.marks) == kept
        for mark in kept:
            again.remove_mark(mark)
        again.add_mark(own.kind, own.time_s, own.text)
        keep_marks(file, again)
        assert not file.exists()  # the recording's own again


@pytest.mark.parametrize("text", ["", "[]", '{"marks": [{"time_s": "nan", "kind": "mark"}]}',
                                  '{"marks": [{"time_s": 1, "kind": "tea"}]}'])  # fmt: skip
def test_a_damaged_file_is_said_and_changes_nothing(tmp_path: Path, text: str) -> None:
    file = tmp_path / "one.marks.json"
    file.write_text(text, encoding="utf-8")
    with closing(Session.replay(open_footage(RECORDING))) as session:
        before = session.marks
        with pytest.raises(InputError):
            recall_marks(file, session)
        assert session.marks == before
