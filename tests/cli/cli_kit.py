"""Running the program in the test's own process."""

from __future__ import annotations

import sys

import pytest

from thermview.cli.main import main


def command(monkeypatch: pytest.MonkeyPatch, *arguments: object) -> int:
    """Run the program with arguments; return its exit code."""
    monkeypatch.setattr(sys, "argv", ["thermview", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        main()
    code = left.value.code
    return code if isinstance(code, int) else 0
