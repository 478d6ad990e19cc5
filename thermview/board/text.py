"""Reading text files: what CAD programs write, and lists of our own."""

from __future__ import annotations

from pathlib import Path

from thermview.errors import InputError


def read_text(path: Path, what: str, most_bytes: int) -> str:
    """Return the text of a file; bytes that are no UTF-8 are replaced, a byte order mark dropped.

    Raises
    ------
    InputError
        The file is missing, may not be read, or is absurdly large; `what` names its kind.
    """
    try:
        if path.stat().st_size > most_bytes:
            raise InputError(f"{path.name} is too large for a {what}")
        return path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise InputError(f"cannot read the {what} {path}: {error.strerror}") from None
