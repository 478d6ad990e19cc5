"""Work that is no longer wanted ends at its next step."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from thermview.analysis.heat.locate import locate
from thermview.analysis.wanted import asking, in_parallel, still_wanted
from thermview.board import fit_homography, load_landmarks, load_placement
from thermview.errors import CancelledError
from thermview.frames import FootageOver
from thermview.recording.reader import open_recording


class Unlogged(FootageOver):
    """Footage without the supply's log."""

    @property
    def supply(self) -> None:
        return None


class Listener:
    """Wants the work for so many calls."""

    def __init__(self, calls: int) -> None:
        self.left = calls
        self.told: list[int] = []
        self._lock = threading.Lock()

    def __call__(self, done: int = 0, total: int = 100) -> None:
        with self._lock:
            self.told.append(done)
            self.left -= 1
        if self.left < 0:
            raise CancelledError("no longer wanted")


def test_a_search_ends_wherever_it_is(samples: Path) -> None:
    """Without the supply's log, so that every stage is passed, the one in two threads too."""
    name = samples / "ramp-faint"
    parts = load_placement(f"{name}.parts.csv")
    view = fit_homography(load_landmarks(f"{name}.landmarks.json"))
    footage = Unlogged(open_recording(f"{name}.h5"))
    try:
        whole = Listener(10**6)
        locate(footage, parts, view, progress=whole)
        count = len(whole.told)
        assert whole.told == sorted(whole.told)
        assert whole.told[0] == 0
        assert whole.told[-1] == 100
        for share in (0.0, 0.2, 0.4, 0.6, 0.8, 0.99):
            some = Listener(int(share * count))
            with pytest.raises(CancelledError):
                locate(footage, parts, view, progress=some)
            assert len(some.told) <= share * count + 4  # each of two threads may ask once more
    finally:
        footage.close()


def test_listeners_within_each_other_are_both_asked() -> None:
    inner, outer = Listener(5), Listener(2)
    with asking(outer), asking(inner):
        still_wanted()
        still_wanted()
        with pytest.raises(CancelledError):
            still_wanted()
    assert len(outer.told) == len(inner.told) == 3
    still_wanted()  # outside of the blocks nobody is asked
    assert len(outer.told) == 3


def test_what_one_thread_raises_ends_the_others() -> None:
    steps, failed = [0], threading.Event()

    def work(item: int) -> int:
        if item == 0:
            failed.set()
            raise ValueError("broken")
        failed.wait()
        for _ in range(10**9):
            steps[0] += 1
            still_wanted()
        return item

    for items in ([0, 1, 2, 3], [1, 0, 2, 3]):  # also where an earlier one ends by it
        failed.clear()
        with pytest.raises(ValueError, match="broken"):
            in_parallel(work, items)
    assert in_parallel(lambda item: item**2, [1, 2, 3]) == [1, 4, 9]
