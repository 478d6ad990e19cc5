"""The user's own folder, also where there can be none."""

from __future__ import annotations

from pathlib import Path

import pytest

from thermview.errors import OutputError
from thermview.paths import user_data


def test_the_users_folder_is_made_where_it_was_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("THERMVIEW_HOME", str(tmp_path / "mine" / "too"))
    assert user_data() == tmp_path / "mine" / "too"
    assert user_data().is_dir()


def test_a_folder_that_cannot_be_made_is_told_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("THERMVIEW_HOME", str(tmp_path / "file" / "mine"))
    with pytest.raises(OutputError, match=r"cannot be made .*THERMVIEW_HOME"):
        user_data()
