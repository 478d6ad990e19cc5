import json
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

from thermview.errors import InputError, OutputError
from thermview.job.shelf import INDEX, Shelf
from thermview.recording.reader import open_recording
from thermview.session.boards import board_of

NOW = datetime(2026, 3, 5, 10, 0, tzinfo=UTC)


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "shelf", now=lambda: NOW)


def test_several_boards_of_a_model_with_their_conditions(shelf: Shelf, samples: Path) -> None:
    good = samples / "pair-good.h5"
    first = shelf.add(good, "Valve driver, rev. B", ambient_c=22.5, supply_v=24.0)
    second = shelf.add(good, "Valve driver, rev. B", note="no load")
    assert [first.id, second.id] == ["valve-driver-rev-b-1", "valve-driver-rev-b-2"]
    again = Shelf(shelf.folder)
    assert again.entries("Valve driver, rev. B") == [first, second]
    assert again.models() == ["Valve driver, rev. B"]
    assert first.seconds == pytest.approx(42.56)
    assert (first.ambient_c, second.note) == (22.5, "no load")
    with open_recording(again.recording(first)) as footage:  # an ordinary recording, with its board
        board = board_of(footage, again.recording(first))
    assert board is not None
    assert len(board.parts) == 120


def test_an_entry_travels_as_one_file(shelf: Shelf, samples: Path, tmp_path: Path) -> None:
    entry = shelf.add(samples / "pair-good.h5", "B", title="no. 7", power_on_s=3.4)
    out = tmp_path / "no7.zip"
    shelf.export(entry, out)
    with pytest.raises(OutputError):
        shelf.export(entry, out)
    other = Shelf(tmp_path / "other", now=lambda: NOW)
    came = other.take_in(out)
    assert came == entry
    assert other.recording(came).read_bytes() == (samples / "pair-good.h5").read_bytes()
    assert other.recording(came).with_suffix(".parts.csv").is_file()
    assert [p.name for p in other.folder.iterdir() if p.name.startswith(".")] == []


def test_change_and_remove(shelf: Shelf, samples: Path) -> None:
    from dataclasses import replace

    entry = shelf.add(samples / "pair-good.h5", "B")
    shelf.change(replace(entry, title="the one with the blue dot"))
    assert shelf.entries()[0].title == "the one with the blue dot"
    shelf.remove(entry)
    assert shelf.entries() == []
    assert [p.name for p in shelf.folder.iterdir()] == [INDEX]


def test_what_is_no_recording_leaves_nothing(shelf: Shelf, tmp_path: Path) -> None:
    (tmp_path / "bad.h5").write_bytes(b"no recording")
    with pytest.raises(InputError):
        shelf.add(tmp_path / "bad.h5", "B")
    with pytest.raises(InputError, match="no name"):
        shelf.add(tmp_path / "bad.h5", " ")
    assert not shelf.folder.exists()


@pytest.mark.parametrize("content", ["", "text", "zip", "escape"])
def test_what_is_no_entry_is_told_in_one_line(shelf: Shelf, tmp_path: Path, content: str) -> None:
    path = tmp_path / "x.zip"
    path.write_text(content)
    if content in ("zip", "escape"):
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("entry.json", json.dumps({"id": "../../evil", "model": "B"}))
            archive.writestr("../outside.h5", b"")
    with pytest.raises(InputError) as error:
        shelf.take_in(path)
    assert "\n" not in str(error.value)
    assert not (shelf.folder.parent / "outside.h5").exists()
    assert list(shelf.folder.iterdir()) == []


def test_a_damaged_index_is_told(shelf: Shelf) -> None:
    shelf.folder.mkdir()
    (shelf.folder / INDEX).write_text("{")
    with pytest.raises(InputError, match="recordings still can"):
        shelf.entries()


def test_a_shelf_without_a_folder_is_empty_and_takes_nothing(tmp_path: Path, samples: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    shelf = Shelf(tmp_path / "file" / "shelf")
    assert shelf.entries() == []
    with pytest.raises(OutputError, match="cannot be made"):
        shelf.add(samples / "pair-good.h5", "B")
    with pytest.raises(OutputError, match="cannot be made"):
        shelf.take_in(tmp_path)
