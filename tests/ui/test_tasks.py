"""Long work in threads: what follows it, and what does not when nobody is left to hear."""

from __future__ import annotations

import threading
import time
from functools import partial

import pytest
from PySide6.QtCore import QObject, QTimer
from pytestqt.qtbot import QtBot
from shiboken6 import delete

from thermview.analysis.wanted import still_wanted
from thermview.errors import CancelledError, InputError, ThermviewError
from thermview.ui import tasks
from thermview.ui.rubbish import Collector
from thermview.ui.tasks import Task


def run(qtbot: QtBot, task: Task) -> list[object]:
    got: list[object] = []
    task.done.connect(got.append)
    task.failed.connect(got.append)
    task.start()
    qtbot.waitUntil(lambda: bool(got))
    assert task.wait(0.0), "a task that has delivered has no thread any more"
    qtbot.waitUntil(lambda: task not in tasks._going)
    return got


def test_a_tasks_result_and_its_errors_come_back(qtbot: QtBot) -> None:
    assert run(qtbot, Task("adding", lambda _: 1 + 1)) == [2]
    (error,) = run(qtbot, Task("reading", _fail))
    assert isinstance(error, InputError)
    (fault,) = run(qtbot, Task("dividing", lambda _: 1 // 0))
    assert isinstance(fault, ThermviewError)  # a fault of the program is said, not lost
    assert "ZeroDivisionError" in str(fault)


def _fail(_: Task) -> None:
    raise InputError("no such file")


def test_a_task_that_asks_ends_at_once(qtbot: QtBot) -> None:
    def work(_: Task) -> None:
        for _step in range(10**9):
            still_wanted()

    task = Task("searching", work)
    got: list[object] = []
    task.done.connect(got.append)
    task.failed.connect(got.append)
    task.start()
    task.break_off()
    assert task.wait(0.0)
    qtbot.waitUntil(lambda: bool(got))
    assert isinstance(got[0], CancelledError)


def test_a_cancelled_tasks_result_is_thrown_away(qtbot: QtBot) -> None:
    go = threading.Event()
    thrown: list[object] = []
    task = Task("waiting", lambda _: go.wait(3.0) and "late", discard=thrown.append)
    got: list[object] = []
    task.done.connect(got.append)
    task.failed.connect(got.append)
    task.start()
    task.cancel()
    go.set()
    qtbot.waitUntil(lambda: bool(got))
    assert isinstance(got[0], CancelledError)
    assert thrown == ["late"]


@pytest.mark.parametrize("ends_first", [False, True])
def test_nothing_follows_when_the_owner_has_gone(qtbot: QtBot, *, ends_first: bool) -> None:
    """As when a dialog is closed while it looks for cameras: its thread outlives it."""
    release, heard, thrown = threading.Event(), list[object](), list[int]()
    owner = QObject()

    def work(_: Task) -> int:
        release.wait(10)
        return 7

    task = Task("waiting", work, discard=thrown.append, owner=owner)
    task.done.connect(heard.append)
    task.failed.connect(heard.append)
    task.start()
    if ends_first:  # its signal is under way when the owner goes
        release.set()
        assert task.wait(5.0)
    delete(owner)
    release.set()
    qtbot.waitUntil(lambda: task not in tasks._going)
    assert thrown == [7]
    assert heard == []


def _sleep(seconds: float, _: Task) -> None:
    time.sleep(seconds)


def test_owners_that_go_at_any_moment_bring_nothing_down(qtbot: QtBot) -> None:
    """Threads that give way to others end late: their tasks must last until then."""
    for n in range(200):
        owner = QObject()
        task = Task("sleeping", partial(_sleep, 0.0005 * (n % 5)), owner=owner)
        task.start()
        del task
        qtbot.wait(n % 3)
        delete(owner)
    qtbot.waitUntil(lambda: not any(t.words == "sleeping" for t in tasks._going))


def test_what_goes_in_a_cycle_goes_on_the_threads_of_the_window(
    qtbot: QtBot, collector: Collector
) -> None:
    """Python would collect it in the busy thread; Qt's timers must not go there."""
    went: list[int] = []

    class Cycle(QTimer):
        def __init__(self) -> None:
            super().__init__()
            self.me = self

        def __del__(self) -> None:
            went.append(threading.get_ident())

    for _ in range(20):
        Cycle().start(1)

    def work(_: Task) -> int:
        return len([[] for _ in range(200_000)])  # enough to be collected in many times

    assert run(qtbot, Task("allocating", work)) == [200_000]
    collector.collect()
    qtbot.waitUntil(lambda: len(went) == 20)
    assert set(went) == {threading.get_ident()}
