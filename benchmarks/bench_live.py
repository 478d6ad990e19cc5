"""CPU seconds per second of live footage, 256 x 192 at 25 per second, as one thing after the other
is switched on; and the resident memory while it lasts.

python benchmarks/bench_live.py [SECONDS]

Goal: under one core with everything on. Other work on the machine makes the figures larger.
"""

from __future__ import annotations

import statistics
import sys
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import psutil  # type: ignore[import-untyped]
from bench_pipeline import twenty_regions

from thermview.frames import Frame, SourceInfo, SupplySample
from thermview.session import Session
from thermview.session.boards import Board
from thermview.session.finding import Window, find, window_of
from thermview.session.pulsing import PulseTest
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


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    shown = film(random_story(0, "shaky"), 0)
    assert shown.counts.shape[1:] == (192, 256)
    print(f"{'on':48} CPU s/s  MB in the middle, at the end   lost frames")
    everything = ("curves", "stabilising", "lock-in", "findings")
    for count in range(len(everything) + 1):
        run(shown, seconds, everything[:count])


if __name__ == "__main__":
    np.seterr(all="ignore")
    main()
