"""CPU seconds per second of live footage, 256 x 192 at 25 per second, as one thing after the other
is switched on; and the resident memory while it lasts. Then the whole window, its findings on,
over a board that powers up: alone, and compared with a good board's recording while it warms; with
the longest time in which the event loop did not come round.

python benchmarks/bench_live.py [SECONDS [window]]    (window: only the window)

Goal: under one core with everything on. Other work on the machine makes the figures larger.
"""

from __future__ import annotations

import itertools
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import psutil  # type: ignore[import-untyped]
from bench_pipeline import twenty_regions

from thermview.frames import Frame, SourceInfo, SupplySample
from thermview.session.boards import Board
from thermview.session.finding import Window, find, window_of
from thermview.session.pulsing import PulseTest
from thermview.session.session import Session
from thermview.simulation.trials import Film, film, random_story

RATE_HZ = 25.0
PERIOD_S = 2.0
REST = 3.0  # as the window does: between two looks so many times the last one's length
LEAST_REST_S = 3.0
SECONDS = 40.0


class Hand:
    """A film of a hand-held camera shown to and fro, at the rate of a clock; a pulsed supply."""

    def __init__(self, shown: Film) -> None:
        rows, columns = shown.counts.shape[1:]
        start = datetime(2026, 1, 1, tzinfo=UTC)
        self.info = SourceInfo("hand", "hand", columns, rows, shown.scale, True, start)
        self.info = replace(self.info, rate_hz=RATE_HZ)
        count = len(shown.counts)
        self._order = [*range(count), *range(count - 2, 0, -1)]
        self._film = shown
        self._number, self._told_s = 0, 0.0
        self._begun = time.perf_counter()

    def read(self, timeout_s: float) -> Frame | None:
        due = self._begun + self._number / RATE_HZ
        late = due - time.perf_counter()
        if late > timeout_s:
            return None
        if late > 0:
            time.sleep(late)
        counts = self._film.counts[self._order[self._number % len(self._order)]]
        frame = Frame(counts.copy(), self._number / RATE_HZ, self._number, self._film.scale)
        self._number += 1
        return frame

    def take_supply(self) -> list[SupplySample]:
        now_s, told = self._number / RATE_HZ, []
        while self._told_s < now_s:
            on = self._told_s >= PERIOD_S and (self._told_s % PERIOD_S) < PERIOD_S / 2
            told.append(SupplySample(self._told_s, 1.0 if on else 0.0, 0.05 if on else 0.0))
            self._told_s += 0.05
        return told

    def close(self) -> None: ...


def look(session: Session, board: Board, end: threading.Event, *, pulse: bool, heat: bool) -> None:
    """Do what the window does beside the frames, until told to end."""
    test: PulseTest | None = None
    again_s = 0.0
    while not end.wait(0.5):
        window = window_of(session.footage, session.marks)
        if not isinstance(window, Window):
            continue
        if pulse and window.period_s is not None:
            test = test or PulseTest(window)
            test.advance(session.footage, window.end_s, lambda done, total: None)
        if heat and time.perf_counter() >= again_s:
            begun = time.perf_counter()
            find(session.footage, board, window, poses=session.poses)
            took_s = time.perf_counter() - begun
            again_s = time.perf_counter() + max(REST * took_s, LEAST_REST_S)


def run(shown: Film, seconds: float, on: tuple[str, ...]) -> None:
    board = Board.of(shown.parts, shown.landmarks)
    session = Session.live(Hand(shown), history_bytes=60 * 10**6)
    session.start()
    while not len(session.footage):
        time.sleep(0.02)
    if "curves" in on:
        session.set_regions(twenty_regions((192, 256)))
    if "stabilising" in on:
        session.follow(0)
    end = threading.Event()
    work = {"pulse": "lock-in" in on, "heat": "findings" in on}
    worker = threading.Thread(target=look, args=(session, board, end), kwargs=work)
    worker.start()
    process, resident = psutil.Process(), []
    cpu_s, wall_s = time.process_time(), time.perf_counter()
    while time.perf_counter() - wall_s < seconds:
        time.sleep(1.0)
        resident.append(process.memory_info().rss / 1e6)
    spent = (time.process_time() - cpu_s) / (time.perf_counter() - wall_s)
    lost = session.losses
    end.set()
    worker.join()
    session.close()
    third = max(1, len(resident) // 3)
    early, late = (
        statistics.median(resident[third : 2 * third]),
        statistics.median(resident[-third:]),
    )
    print(f"{' + '.join(on) or 'frames only':48} {spent:5.2f}  {early:6.0f} {late:6.0f}   {lost}")


def filmed(story: str, path: Path, seconds: float) -> None:
    """Record a simulated board, faster than it plays."""
    words = f"record simulated:{story} {path} --seconds {seconds:g} --speed 100".split()
    subprocess.run([sys.executable, "-m", "thermview", *words], check=True, capture_output=True)


def run_window(live: Path, good: Path | None, seconds: float) -> None:
    """Play a recording as a live camera in the window, and compare it where a good one is given."""
    from PySide6.QtCore import QEventLoop, QTimer
    from PySide6.QtWidgets import QApplication

    from thermview.ui.compare.question import Reference
    from thermview.ui.desk import Desk
    from thermview.ui.dress import dress
    from thermview.ui.window import MainWindow

    application = QApplication.instance() or QApplication(["bench"])
    assert isinstance(application, QApplication)
    dress(application, "dark")
    window = MainWindow(Desk())
    window.resize(1280, 800)
    window.show()
    desk, room, answers = window.desk, window.compare.room, list[float]()
    room.answered.connect(lambda: answers.append(time.perf_counter()) if room.answer else None)
    rounds: list[float] = []
    timer = QTimer()
    timer.timeout.connect(lambda: rounds.append(time.perf_counter()))
    desk.open(f"replay:{live}")
    while desk.shown is None:
        application.processEvents()
    window.steps.choose("" if good is None else "compare")
    if good is not None:
        room.choose(Reference(good, "good"))
    timer.start(4)
    cpu_s, begun = time.process_time(), time.perf_counter()
    loop = QEventLoop()
    QTimer.singleShot(int(1000 * seconds), loop.quit)
    loop.exec()
    spent = (time.process_time() - cpu_s) / (time.perf_counter() - begun)
    gaps = np.array([after - before for before, after in itertools.pairwise(rounds)])
    assert desk.session is not None
    on = "window + findings" + ("" if good is None else " + comparison")
    worst, usual = 1e3 * gaps.max(), 1e3 * np.quantile(gaps, 0.99)
    told = f"gap {worst:4.0f} ms, 99 of 100 below {usual:3.0f} ms"
    print(f"{on:48} {spent:5.2f}  {told}, {len(answers)} answers   {desk.session.losses}")
    window.leave()


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    if "window" not in sys.argv:
        shown = film(random_story(0, "shaky"), 0)
        assert shown.counts.shape[1:] == (192, 256)
        print(f"{'on':48} CPU s/s  MB in the middle, at the end   lost frames")
        everything = ("curves", "stabilising", "lock-in", "findings")
        for count in range(len(everything) + 1):
            run(shown, seconds, everything[:count])
    print(f"{'on':48} CPU s/s  event loop")
    os.environ.setdefault("QT_LOGGING_RULES", "*.warning=false")
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["THERMVIEW_HOME"] = folder
        good, cold = (Path(folder) / f"{name}.h5" for name in ("good", "cold"))
        filmed("good", good, seconds)
        filmed("cold-drivers", cold, seconds)
        for beside in (None, good):
            run_window(cold, beside, seconds - 1.0)


if __name__ == "__main__":
    np.seterr(all="ignore")
    main()
