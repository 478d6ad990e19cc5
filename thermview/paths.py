"""Where the program's own files and the user's are, from a checkout and from an installed wheel."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from thermview.errors import InputError

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
    """
    home = os.environ.get("THERMVIEW_HOME")
    folder = Path(home) if home else platformdirs.user_data_path("thermview", appauthor=False)
    folder.mkdir(parents=True, exist_ok=True)
    return folder
