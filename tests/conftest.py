"""What all tests share: no leaked threads, the example recordings, a home of their own."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _no_leaked_threads() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + 30.0  # a thread that ends does so by then
    while leaked := [t for t in threading.enumerate() if t not in before and t.is_alive()]:
        if time.monotonic() > deadline:
            pytest.fail(f"threads outlive the test: {[t.name for t in leaked]}")
        time.sleep(0.01)


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("THERMVIEW_HOME", str(tmp_path_factory.mktemp("home")))


@pytest.fixture(scope="session")
def samples() -> Path:
    """Return the folder of recordings that another program made; skip where it is absent."""
    beside = Path(__file__).resolve().parents[2] / "shared" / "samples"
    folder = Path(os.environ.get("THERMVIEW_SAMPLES", beside))
    if not folder.is_dir():
        pytest.skip("no folder of another program's recordings (THERMVIEW_SAMPLES)")
    return folder
