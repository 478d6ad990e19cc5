"""What does not reach the file is counted; what does is there."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path

import pytest
from session_fakes import frame_at, info_of, until

from thermview.errors import InputError, OutputError
from thermview.frames import Frame, Mark, SupplySample
from thermview.session import recorder
from thermview.session.ledger import Ledger
from thermview.session.mailbox import Mailbox
from thermview.session.recorder import Recorder
from thermview.session.states import EventKind


class FakeDisk:
    """A writer whose disk can be held up, and fail."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self.others: list[object] = []
        self.free = threading.Event()
        self.free.set()
        self.entered = threading.Event()
        self.error: Exception | None = None
        self.closed = False

    def take(self, frame: Frame) -> None:
        self.entered.set()
        self.free.wait(5)
        if self.error is not None:
            raise self.error
        self.frames.append(frame)

    def take_supply(self, samples: Iterable[SupplySample]) -> None:
        self.others.extend(samples)

    def add_mark(self, mark: Mark) -> None:
        self.others.append(mark)

    def set_marks(self, marks: Iterable[Mark]) -> None:
        self.marks = list(marks)

    def set_shiny(self, shiny: object) -> None:
        self.others.append(shiny)

    def frame(self, number: int) -> Frame:
        return self.frames[number]

    def close(self) -> None:
        self.closed = True


def test_a_slow_disk_drops_and_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder, "QUEUE_BYTES", 10 * frame_at(0).counts.nbytes)
    disk, ledger = FakeDisk(), Ledger(info_of())
    disk.free.clear()
    taker = Recorder(disk, Path("a.h5"), ledger)
    taker.start()
    taker.offer(0, frame_at(0))
    assert disk.entered.wait(5)
    for number in range(1, 25):
        taker.offer(number, frame_at(number))
    taker.note(Mark(0.3))
    disk.free.set()
    summary = taker.stop(())
    assert (summary.frames, summary.dropped) == (10, 15)
    assert ledger.losses.now().writer_dropped == 15
    assert [f.index for f in disk.frames] == list(range(10))
    assert disk.others == [Mark(0.3)]
    assert disk.closed
    assert taker.span() == (0, 10)
    with pytest.raises(InputError, match="did not reach"):
        taker.frame(17)


def test_a_full_disk_stops_the_file_and_says_so() -> None:
    disk, ledger = FakeDisk(), Ledger(info_of())
    taker = Recorder(disk, Path("a.h5"), ledger)
    taker.start()
    taker.offer(0, frame_at(0))
    until(lambda: len(disk.frames) == 1)
    disk.error = OutputError("the disk is full")
    for number in range(1, 6):
        taker.offer(number, frame_at(number))
    summary = taker.stop(())
    assert (summary.frames, summary.dropped, summary.trouble) == (1, 5, "the disk is full")
    warnings = [e.text for e in ledger.events.take() if e.kind is EventKind.WARNING]
    assert warnings == ["the disk is full"]


def test_one_frame_that_does_not_fit_costs_only_itself() -> None:
    disk, ledger = FakeDisk(), Ledger(info_of())
    taker = Recorder(disk, Path("a.h5"), ledger, before=[(4, frame_at(4))])
    disk.error = InputError("another scale")
    taker.start()
    until(lambda: taker.status().dropped == 1)
    disk.error = None
    taker.offer(5, frame_at(5))
    summary = taker.stop(())
    assert (summary.frames, summary.dropped, summary.trouble) == (1, 1, "")
    assert taker.frame(5).index == 5


def test_the_latest_wins() -> None:
    box: Mailbox[int] = Mailbox()
    assert box.latest() is None
    assert box.wait_beyond(0, 0.0) is None
    for number in range(1000):
        box.put(number)
    assert (box.latest(), box.count) == (999, 1000)
    assert box.wait_beyond(999, 0.0) == 999
