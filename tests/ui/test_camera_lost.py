"""The camera is unplugged while findings are looked for and boards compared, and comes back."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace

import pytest
from pytestqt.qtbot import QtBot
from window_kit import open_and_wait, session_of

from thermview.errors import DeviceError, SourceLostError
from thermview.frames import Footage, Frame, FrameSource, MarkKind
from thermview.paths import sample_recordings
from thermview.session import admission
from thermview.session.boards import CarriesBoard
from thermview.session.states import SessionState
from thermview.sources import open_footage
from thermview.ui import opening
from thermview.ui.compare.question import Reference
from thermview.ui.window import MainWindow

GOOD, COLD = (sample_recordings() / f"{name}.h5" for name in ("good", "cold-drivers"))
UNSEEN = 12
"""Frames that nobody takes while the camera is unplugged."""
ON_FRAME = 26
"""The first at which the recorded board is powered."""


class Bench:
    """A board that warms as it was recorded, whether or not a camera looks at it."""

    def __init__(self, film: Footage) -> None:
        self.film = film
        self.due, self.next = threading.Semaphore(0), 0
        self.plugged = threading.Event()
        self.plugged.set()

    def give(self, frames: int) -> None:
        for _ in range(frames):
            self.due.release()

    def unplug(self, frames_unseen: int) -> None:
        self.plugged.clear()
        self.due.release()
        self.next += frames_unseen


class BenchCamera:
    """One opening of the camera over it."""

    def __init__(self, bench: Bench) -> None:
        if not bench.plugged.is_set():
            raise DeviceError("the camera is not plugged in")
        assert isinstance(bench.film, CarriesBoard)
        self.placement_csv = bench.film.placement_csv
        self.landmarks_json = bench.film.landmarks_json
        self.info = replace(bench.film.info, live=True, address="camera:9")
        self._bench = bench

    def read(self, timeout_s: float) -> Frame | None:
        bench = self._bench
        if not bench.due.acquire(timeout=min(timeout_s, 0.05)):
            return None
        if not bench.plugged.is_set():
            raise SourceLostError("the camera was unplugged")
        frame, bench.next = bench.film.frame(bench.next), bench.next + 1
        return frame

    def close(self) -> None:
        """Nothing is held."""


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    with closing(open_footage(str(COLD))) as film:
        made = Bench(film)

        def opened(*_: object) -> FrameSource:
            return BenchCamera(made)

        def reopener(*_: object) -> Callable[[], FrameSource]:
            return opened

        # the board's clock is the film's, however slow this machine is
        monkeypatch.setattr(admission, "_SAME_AXIS_S", math.inf)
        monkeypatch.setattr(opening, "open_source", opened)
        monkeypatch.setattr(opening, "reopener", reopener)
        yield made


@pytest.mark.slow
def test_comparing_and_finding_outlive_the_loss_of_the_camera(
    qtbot: QtBot, main_window: MainWindow, bench: Bench
) -> None:
    desk = main_window.desk
    bench.give(ON_FRAME)
    open_and_wait(qtbot, main_window, "camera:9")
    session = session_of(main_window)
    qtbot.waitUntil(lambda: len(session.footage) == ON_FRAME and desk.shown_number == ON_FRAME - 1)
    desk.mark(MarkKind.POWER_ON)
    main_window.steps.choose("compare")
    page = main_window.compare.page
    page.room.choose(Reference(GOOD, "good"))
    bench.give(75)
    qtbot.waitUntil(lambda: page.room.answer is not None)
    qtbot.waitUntil(lambda: desk.findings.located is not None)
    first, found = page.room.answer, desk.findings.located
    assert first is not None
    seen = len(session.footage)

    bench.unplug(frames_unseen=UNSEEN)
    qtbot.waitUntil(lambda: desk.state is SessionState.RECONNECTING)
    qtbot.waitUntil(main_window.banner.isVisible)
    assert "unplugged" in main_window.banner.words.text()
    qtbot.wait(1500)  # the timers of both look at what there is
    assert page.room.answer is not None  # what was found stays
    assert desk.findings.located is not None
    assert not page.room.trouble
    assert not desk.findings.trouble
    assert len(session.footage) == seen
    assert "no new pictures" in page.room.live_words

    bench.plugged.set()
    bench.give(10)
    qtbot.waitUntil(lambda: desk.state is SessionState.RUNNING)
    qtbot.waitUntil(lambda: not main_window.banner.isVisible())
    bench.give(len(bench.film) - seen - UNSEEN - 10)
    qtbot.waitUntil(
        lambda: (
            page.room.answer is not None
            and page.room.answer.found.until_s > first.found.until_s + 3.0
        ),
    )
    assert page.room.answer is not None
    colder = [o.name for o in page.room.answer.found.subjects if o.verdict == "colder"]
    assert colder == ["U6"]
    qtbot.waitUntil(lambda: desk.findings.located is not found)
    assert MarkKind.GAP in {mark.kind for mark in session.marks}
