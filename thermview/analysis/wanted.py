"""Long work asks at each of its steps whether it is still wanted.

Who began it listens (`asking`); what the listener raises breaks the work off there and then. The
listener belongs to the thread's context, so that no function has to hand it on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from thermview.errors import CancelledError

Item = TypeVar("Item")
Result = TypeVar("Result")

WORKERS = 2

_listener: ContextVar[Callable[[], None] | None] = ContextVar("listener", default=None)


def still_wanted() -> None:
    """Go on if the work that this is part of is still wanted; called some times a second."""
    listener = _listener.get()
    if listener is not None:
        listener()


@contextmanager
def asking(listener: Callable[[], None]) -> Iterator[None]:
    """Have `still_wanted` ask a listener within the block, beside those around it."""
    outer = _listener.get()

    def both() -> None:
        listener()
        if outer is not None:
            outer()

    token = _listener.set(both)
    try:
        yield
    finally:
        _listener.reset(token)


def in_parallel(work: Callable[[Item], Result], items: Sequence[Item]) -> list[Result]:
    """Return what work makes of each item, a few at a time; what one raises ends all."""
    listener = _listener.get() or (lambda: None)
    ended: list[BaseException] = []  # what ended it, the first first

    def listen() -> None:
        if ended:
            raise CancelledError("ended by another")
        listener()

    def one(item: Item) -> Result:
        try:
            with asking(listen):  # a thread of the pool has a context of its own
                return work(item)
        except BaseException as error:
            ended.append(error)
            raise

    with ThreadPoolExecutor(WORKERS) as workers:
        tasks = [workers.submit(one, item) for item in items]
        try:
            return [task.result() for task in tasks]
        except BaseException as error:  # one's, or Ctrl-C
            ended.append(error)
            workers.shutdown(wait=False, cancel_futures=True)
            raise ended[0] from None
