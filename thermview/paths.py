"""Where the program's own files and the user's are, from a checkout and from an installed wheel."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs

from thermview.errors import InputError, OutputError

_PACKAGE = Path(__file__).resolve().parent
_SHARE = _PACKAGE / "_share"  # what the wheel carries; a checkout has it beside the package


def _shared(name: str) -> Path:
    inside = _SHARE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def resource(*parts: str) -> Path:
    """Return the path of a file or folder in `resources/`.

    Raises
    ------
    InputError
        Nothing stands there: the installation is not whole.
    """
    path = _shared("resources").joinpath(*parts)
    if not path.exists():
        raise InputError(
            f"the program's own file {'/'.join(parts)} is missing from {_shared('resources')}; "
            "install thermview again"
        )
    return path


def sample_recordings() -> Path:
    """Return the folder of the worked example's recordings (it may not exist yet)."""
    return _shared("sample_recordings")


def user_data() -> Path:
    """Return the folder for the user's own profiles, recordings and shelf; made when missing.

    `THERMVIEW_HOME` moves it, for tests and for portable installations.

    Raises
    ------
    OutputError
        It cannot be made.
    """
    home = os.environ.get("THERMVIEW_HOME")
    return made(Path(home) if home else platformdirs.user_data_path("thermview", appauthor=False))


def made(folder: Path) -> Path:
    """Return a folder for the user's own files, made when missing.

    Raises
    ------
    OutputError
        It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder for your own files, {folder}, cannot be made "
            f"({error.strerror or error}); name another in THERMVIEW_HOME"
        ) from error
    return folder


@contextmanager
def writing(path: Path, *, force: bool = False) -> Iterator[Path]:
    """Give a path beside `path` to write to; it takes its place when the block ends well.

    After an error nothing is left behind and what stood at `path` still stands there.

    Raises
    ------
    OutputError
        `path` exists and `force` is not set, or its folder takes no file.
    """
    if path.exists() and not force:
        raise OutputError(f"{path} exists already; choose another name or give --force")
    if path.is_dir():
        raise OutputError(f"{path} is a folder; give the name of a file")
    partial = path.with_name(f".{path.stem}.{os.getpid()}{path.suffix}")
    try:
        partial.touch()
        yield partial
        partial.replace(path)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
    finally:
        partial.unlink(missing_ok=True)


def save_text(path: Path, text: str, *, force: bool = True) -> None:
    """Write a text file in UTF-8, whole or not at all; see `writing` for the errors."""
    with writing(path, force=force) as partial:
        partial.write_text(text, encoding="utf-8")
