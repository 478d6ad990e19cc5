"""Full rate, full size: every frame is in the file while others scrub and draw."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np
import pytest
from session_fakes import SCALE, info_of, until

from thermview.errors import InputError, SourceEndedError
from thermview.frames import Frame
from thermview.recording.reader import open_recording
from thermview.regions import Rectangle, Region, RegionSet
from thermview.session.player import Player
from thermview.session.session import Session

SHAPE, RATE_HZ = (512, 640), 60.0


class Camera:
    """Computed pictures that carry their number, at the true rate of a sensor."""

    def __init__(self, frames: int, *, live: bool = True) -> None:
        self.info = info_of(SHAPE, live=live, rate_hz=RATE_HZ)
        rng = np.random.default_rng(5)
        self._noise = rng.integers(29990, 30010, (8, *SHAPE), dtype=np.uint16)
        self._frames = frames
        self._number = 0
        self._start_s = time.monotonic()

    def read(self, timeout_s: float) -> Frame:
        if self._number == self._frames:
            raise SourceEndedError("done")
        number = self._number
        wait_s = self._start_s + number / RATE_HZ - time.monotonic()
        if wait_s > 0:
            time.sleep(wait_s)
        counts = self._noise[number % 8].copy()
        counts[0, 0] = number
        self._number += 1
        return Frame(counts, number / RATE_HZ, number, SCALE)

    def close(self) -> None:
        pass


def test_every_frame_reaches_the_file_while_another_scrubs(tmp_path: Path) -> None:
    frames = 240
    session = Session.live(Camera(frames), history_bytes=40 * 2 * SHAPE[0] * SHAPE[1])
    session.start_recording(tmp_path / "a.h5")
    stop = threading.Event()
    shown: list[int] = []

    def scrub() -> None:
        player, rng = Player(session.footage), np.random.default_rng(0)
        while not stop.is_set():
            if len(session.footage) > 2:
                player.seek(int(rng.integers(session.footage.first, len(session.footage))))
                try:
                    counts = session.footage.frame(player.tick(0.0)).counts
                except InputError:
                    continue  # on its way to the file, no longer in memory
                shown.append(int(counts[0, 0]) - player.number)
            stop.wait(0.005)

    hand = threading.Thread(target=scrub)
    hand.start()
    session.start()
    for step in range(20):
        session.set_regions(RegionSet((Region("r", Rectangle(10 + step, 10, 60, 40), id="R"),)))
        stop.wait(0.1)
    assert session.wait(30)
    stop.set()
    hand.join()
    summary = session.stop_recording()
    assert summary is not None
    assert (summary.frames, summary.dropped) == (frames, 0)
    assert session.losses.lost == 0
    assert len(shown) > 100
    assert set(shown) == {0}, "each number shows its own picture"
    session.close()
    with open_recording(tmp_path / "a.h5") as film:
        numbers = [int(film.frame(i).counts[0, 0]) for i in range(len(film))]
    assert numbers == list(range(frames))


@pytest.mark.slow
def test_memory_stays_flat_with_a_small_ring() -> None:
    import psutil  # type: ignore[import-untyped]

    class Quick(Camera):
        def read(self, timeout_s: float) -> Frame:
            self._start_s = 0.0
            return super().read(timeout_s)

    session = Session.live(Quick(12000, live=False), history_bytes=20 * 2 * SHAPE[0] * SHAPE[1])
    session.start()
    process = psutil.Process()
    until(lambda: len(session.footage) > 1500, 60)
    before = process.memory_info().rss
    assert session.wait(120)
    assert session.losses.lost == 0
    grown = process.memory_info().rss - before
    assert grown < 30e6, f"{grown / 1e6:.0f} MB more"
    session.close()
