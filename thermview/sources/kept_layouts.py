"""The layout that a user settled on for one camera, kept by the camera's serial."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from thermview.errors import UsageError
from thermview.paths import made, user_data, writing
from thermview.sources.layouts import Layout, layout_file, read_layout


def keep_layout(serial: str, name: str) -> Path:
    """Keep a layout (a name, or a .toml file) for the camera with this serial.

    The kept file is the user's to edit: scale, lenses, accuracy of this very camera.

    Returns
    -------
    path
        Of the kept file.

    Raises
    ------
    UsageError
        The layout is unknown, or the camera has no serial.
    InputError
        The file is no layout.
    OutputError
        The user's folder refuses it.
    """
    file = layout_file(name)
    read_layout(file)  # refuse a mistake now, not when the camera is opened next
    path = _path_for(serial)
    made(path.parent)
    with writing(path, force=True) as partial:
        shutil.copyfile(file, partial)
    return path


def forget_layout(serial: str) -> None:
    """Let the camera's layout be guessed again."""
    _path_for(serial).unlink(missing_ok=True)


def is_layout_kept(serial: str) -> bool:
    """Tell whether a layout is kept for a serial, be it with mistakes."""
    return bool(serial) and _path_for(serial).is_file()


def kept_layout(serial: str) -> Layout | None:
    """Return the layout kept for a serial, or None.

    Raises
    ------
    InputError
        The kept file has a mistake in it.
    """
    return read_layout(_path_for(serial)) if is_layout_kept(serial) else None


def _path_for(serial: str) -> Path:
    if not serial:
        raise UsageError("this camera has no serial to keep a layout by; give --layout each time")
    safe = re.sub(r"[^A-Za-z0-9_-]", lambda m: f"%{ord(m[0]):02x}", serial)
    return user_data() / "layouts" / f"{safe}.toml"
