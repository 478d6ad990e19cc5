"""What the window remembers between runs: one JSON file in the user's folder."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

from thermview.errors import OutputError
from thermview.paths import save_text, user_data

RECENT_LIMIT = 8


class Settings:
    """A small store of JSON values by name; a damaged file counts as empty."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path if path is not None else user_data() / "window.json"
        self._values: dict[str, Any] = {}
        with contextlib.suppress(OSError, ValueError):
            loaded = json.loads(self.path.read_text(encoding="utf-8"))
            if isinstance(loaded, dict):
                self._values = loaded

    def get(self, name: str, default: Any = None) -> Any:
        """Return what is stored under `name`, else `default`."""
        value = self._values.get(name, default)
        # a file edited by hand may hold anything: a value of another kind is no value
        if default is not None and not isinstance(value, type(default)):
            return default
        return value

    def set(self, name: str, value: Any) -> None:
        """Store a JSON value and write the file. A full or read-only disk loses only comfort."""
        if self._values.get(name) == value:
            return
        self._values[name] = value
        with contextlib.suppress(OutputError):
            save_text(self.path, json.dumps(self._values, indent=1))

    def recent(self) -> list[str]:
        """Return the recordings opened last, newest first, those that still exist."""
        return [p for p in self.get("recent", []) if isinstance(p, str) and Path(p).exists()]

    def add_recent(self, path: Path) -> None:
        """Put a recording at the head of the list."""
        text = str(path.resolve())
        rest = [p for p in self.recent() if p != text]
        self.set("recent", [text, *rest][:RECENT_LIMIT])
