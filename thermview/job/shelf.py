"""The shelf of known-good boards: recordings by board model, kept in the user's data folder.

An entry is an ordinary recording (with the board's placement list and landmarks in it, or in files
beside it) and a line in the index. One entry travels as one file: a ZIP archive of the same.
"""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from thermview.errors import InputError, OutputError
from thermview.paths import made, save_text, user_data, writing
from thermview.recording.reader import open_recording

INDEX = "index.json"
_RECORDING, _PARTS, _MARKS, _ENTRY = "recording.h5", "parts.csv", "landmarks.json", "entry.json"
_SIZE_LIMIT = 32 * 2**30  # bytes in one archive: a bomb, not a recording


@dataclass(frozen=True, slots=True)
class Entry:
    """A known-good board on the shelf.

    Attributes
    ----------
    id : str
        Unique on the shelf; the recording's file is `ID.h5`.
    model : str
        The board's model, in the user's words.
    title : str
        Which board this is, such as its serial number.
    added : str
        When it was put there, ISO 8601 with offset.
    start_time : str
        When it was filmed.
    camera : str
    seconds : float
        Length.
    power_on_s : float or None
        When the power came on; None: to be found from the frames.
    ambient_c, supply_v, supply_a : float or None
        Conditions: the room, and what the board was fed with.
    note : str
        What else matters: "display on", "no load".
    """

    id: str
    model: str
    title: str = ""
    added: str = ""
    start_time: str = ""
    camera: str = ""
    seconds: float = 0.0
    power_on_s: float | None = None
    ambient_c: float | None = None
    supply_v: float | None = None
    supply_a: float | None = None
    note: str = ""


class Shelf:
    """Known-good recordings in a folder.

    Parameters
    ----------
    folder : Path, optional
        Default: `shelf` in the user's data.
    now : callable
        Gives the time that entries are dated with.
    """

    def __init__(
        self, folder: Path | None = None, now: Callable[[], datetime] | None = None
    ) -> None:
        self.folder = folder or user_data() / "shelf"
        self._now = now or (lambda: datetime.now().astimezone())

    def entries(self, model: str | None = None) -> list[Entry]:
        """Return the entries whose recordings stand there, of one model or all.

        Raises
        ------
        InputError
            The index cannot be read.
        """
        return [
            entry
            for entry in self._index()
            if (model is None or entry.model == model) and self.recording(entry).is_file()
        ]

    def models(self) -> list[str]:
        """Return the models that the shelf has, in order of name."""
        return sorted({entry.model for entry in self.entries()})

    def recording(self, entry: Entry) -> Path:
        """Return the path of an entry's recording."""
        return self.folder / f"{entry.id}.h5"

    def add(self, recording: Path, model: str, **conditions: Any) -> Entry:
        """Copy a recording, with the board's files beside it, onto the shelf.

        Parameters
        ----------
        recording : Path
        model : str
        conditions :
            Fields of `Entry` that the user states: title, note, ambient_c, supply_v, …

        Raises
        ------
        InputError
            It is no recording, or the model has no name.
        OutputError
            It cannot be copied.
        """
        if not model.strip():
            raise InputError("the board's model has no name; give one, such as its part number")
        with open_recording(recording) as footage:
            info, times_s = footage.info, footage.times_s
            entry = Entry(
                id=self._free_id(model),
                model=model.strip(),
                title=info.title or recording.stem,
                added=self._now().isoformat(timespec="seconds"),
                start_time=info.start_time.isoformat(),
                camera=info.camera,
                seconds=round(float(times_s[-1] - times_s[0]), 3) if len(times_s) else 0.0,
                ambient_c=None if info.scene.air_k is None else info.scene.air_k - 273.15,
            )
        entry = replace(entry, **conditions)
        target = self.recording(entry)
        made(self.folder)
        try:
            for suffix in (".h5", ".parts.csv", ".landmarks.json"):
                source = recording if suffix == ".h5" else recording.with_suffix(suffix)
                if source.is_file():
                    with writing(target.with_suffix(suffix)) as path:
                        shutil.copyfile(source, path)
            self._write([*self._index(), entry])
        except (OSError, OutputError) as error:
            self._clear(entry)
            raise OutputError(f"{recording.name} cannot be put on the shelf: {error}") from error
        return entry

    def change(self, entry: Entry) -> Entry:
        """Replace what the index says of an entry (its id stays); return it."""
        self._write([entry if old.id == entry.id else old for old in self._index()])
        return entry

    def remove(self, entry: Entry) -> None:
        """Take an entry and its files off the shelf."""
        self._write([old for old in self._index() if old.id != entry.id])
        self._clear(entry)

    def export(self, entry: Entry, path: Path, *, force: bool = False) -> None:
        """Write an entry as one file, a ZIP archive.

        Raises
        ------
        OutputError
            The file exists and `force` is not set, or cannot be written.
        """
        recording = self.recording(entry)
        with (
            writing(path, force=force) as partial,
            zipfile.ZipFile(partial, "w", zipfile.ZIP_STORED) as archive,
        ):
            archive.writestr(_ENTRY, json.dumps(asdict(entry), indent=1, ensure_ascii=False))
            archive.write(recording, _RECORDING)  # packed already
            for suffix, name in ((".parts.csv", _PARTS), (".landmarks.json", _MARKS)):
                if (beside := recording.with_suffix(suffix)).is_file():
                    archive.write(beside, name)

    def take_in(self, path: Path) -> Entry:
        """Put an exported entry on this shelf, under an id of its own.

        Raises
        ------
        InputError
            The file is no such archive, or its recording cannot be read.
        """
        folder = made(self.folder) / ".incoming"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        try:
            stated = _unpack(path, folder)
            known = {k: v for k, v in stated.items() if k not in ("id", "model", "added")}
            return self.add(folder / _RECORDING, str(stated["model"]), **known)
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    def _index(self) -> list[Entry]:
        path = self.folder / INDEX
        if not path.is_file():
            return []
        try:
            document = json.loads(path.read_text(encoding="utf-8"))
            return [_entry(item) for item in document["entries"]]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise InputError(
                f"the shelf's index {path} cannot be read ({error}); its recordings still can"
            ) from None

    def _write(self, entries: list[Entry]) -> None:
        document = {"version": 1, "entries": [asdict(entry) for entry in entries]}
        text = json.dumps(document, indent=1, ensure_ascii=False)
        save_text(self.folder / INDEX, text)

    def _free_id(self, model: str) -> str:
        stem = re.sub(r"[^a-z0-9]+", "-", model.lower()).strip("-")[:40] or "board"
        number = 1
        while (self.folder / f"{stem}-{number}.h5").exists():
            number += 1
        return f"{stem}-{number}"

    def _clear(self, entry: Entry) -> None:
        for suffix in (".h5", ".parts.csv", ".landmarks.json"):
            self.recording(entry).with_suffix(suffix).unlink(missing_ok=True)


def _entry(item: dict[str, Any]) -> Entry:
    """Return an entry; fields that a later version added are passed over."""
    known = {field.name for field in fields(Entry)}
    entry = Entry(**{key: value for key, value in item.items() if key in known})
    if not re.fullmatch(r"[a-z0-9-]+", str(entry.id)):  # it becomes a file's name
        raise ValueError(f"{entry.id!r} is no id")
    return entry


def _unpack(path: Path, folder: Path) -> dict[str, Any]:
    """Unpack the known members of an archive, under names of our own; return what it states."""
    names = {_RECORDING: _RECORDING, _PARTS: "recording.parts.csv"}
    names[_MARKS] = "recording.landmarks.json"
    try:
        with zipfile.ZipFile(path) as archive:
            stated = json.loads(archive.read(_ENTRY))
            if sum(info.file_size for info in archive.infolist()) > _SIZE_LIMIT:
                raise InputError(f"{path.name} is too large for a shelf's entry")
            for member in set(names) & set(archive.namelist()):
                with archive.open(member) as source, (folder / names[member]).open("wb") as out:
                    shutil.copyfileobj(source, out)
        _entry({"id": "x", **stated, "added": ""})
        if not (folder / _RECORDING).is_file():
            raise KeyError(_RECORDING)
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}") from None
    except (zipfile.BadZipFile, ValueError, KeyError, TypeError, RuntimeError) as error:
        raise InputError(f"{path.name} is no entry of a shelf: {error}") from None
    return {key: stated[key] for key in stated if key in {field.name for field in fields(Entry)}}
