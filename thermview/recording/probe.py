"""Tries a file out in a process of its own before this one opens it.

A damaged HDF5 file can make the HDF5 library itself loop without end or crash: some flipped bits
in the heap that holds its texts are enough (about one damaged file in 600). Nothing in the same
process can help that, so a child opens the file first, just as its parent is about to. It takes
about 0.2 s, once for each file.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections import defaultdict
from contextlib import suppress
from pathlib import Path

from thermview.errors import ThermviewError
from thermview.recording.hdf5 import DamagedError

_CPU_PATIENCE_S = 4
"""A loop without end burns time; a slow disk does not."""
_PATIENCE_S = 30.0
_PACKAGE_PARENT = Path(__file__).resolve().parents[2]

_CHILD = "from thermview.recording.probe import main; main()"
_ENDLESS = "reading it does not come to an end"
_SIGXCPU = 24  # POSIX systems that have it agree on the number

_tried: set[tuple[str, int, int]] = set()
_locks: defaultdict[tuple[str, int, int], threading.Lock] = defaultdict(threading.Lock)


def probe(path: Path, patience_s: float = _PATIENCE_S) -> None:
    """Let a child process open the file; return when it came through, with or without an error.

    Raises
    ------
    DamagedError
        The child crashed, or did not come to an end.
    """
    key = _key(path)
    if key is None or not sys.executable:
        return
    with _locks[key]:  # another thread may be at it: see `cli.main`
        if key not in _tried:
            _try_in_child(path, patience_s)
            _tried.add(key)


def _try_in_child(path: Path, patience_s: float) -> None:
    search = os.pathsep.join(filter(None, [str(_PACKAGE_PARENT), os.environ.get("PYTHONPATH")]))
    try:
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", _CHILD, str(path)],
            env=os.environ | {"PYTHONPATH": search},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=patience_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise DamagedError(f"{path} is damaged: {_ENDLESS}") from None
    except OSError:  # no processes to be had: do without
        return
    if done.returncode == -_SIGXCPU:
        raise DamagedError(f"{path} is damaged: {_ENDLESS}")
    if done.returncode != 0:
        raise DamagedError(f"{path} is damaged so badly that the HDF5 library fails on it")


def trust(path: Path) -> None:
    """Take a file as it is now for sound: this process wrote it."""
    key = _key(path)
    if key is not None:
        _tried.add(key)


def _key(path: Path) -> tuple[str, int, int] | None:
    try:
        state = path.stat()
    except OSError:
        return None
    return str(path.resolve()), state.st_size, state.st_mtime_ns


def try_out(path: Path) -> None:
    """Open the file in every way the program may, and read a few frames. The child's part."""
    from thermview.recording.generic import picture_datasets, read_pictures
    from thermview.recording.hdf5 import open_unprobed
    from thermview.recording.reader import read_recording

    with open_unprobed(path) as file:
        try:
            footage = read_recording(path, file, None)
        except ThermviewError:
            names = picture_datasets(file)
            if not names:
                return
            footage = read_pictures(path, file, names[0], None, None)
        for number in {0, len(footage) // 2, len(footage) - 1}:
            footage.frame(number)


def _limit_cpu() -> None:
    try:
        import resource
    except ImportError:  # not a POSIX system: the parent's patience remains
        return
    resource.setrlimit(resource.RLIMIT_CPU, (_CPU_PATIENCE_S, _CPU_PATIENCE_S + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def main() -> None:
    """Try out the file named on the command line. The child's whole program."""
    _limit_cpu()
    with suppress(ThermviewError):  # a clean error: the parent will meet and tell it
        try_out(Path(sys.argv[1]))
    os._exit(0)  # no tidying up in a library that may be in disorder
