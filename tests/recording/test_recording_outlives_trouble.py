"""A recording outlives a killed program and a disk that takes no more."""

from __future__ import annotations

import random
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from thermview.recording.reader import open_recording
from thermview.recording.repair import repair
from thermview.recording.verify import verify

_PREAMBLE = """
    import sys
    from datetime import UTC, datetime
    import numpy as np
    from thermview.errors import OutputError
    from thermview.frames import Frame, Mark, MarkKind, Scale, SourceInfo, SupplySample
    from thermview.recording.writer import Writer

    rng = np.random.default_rng(3)
    info = SourceInfo("c", "c", 64, 48, Scale(0.01), True, datetime.now(UTC), 60.0)
    noise = rng.integers(0, 65536, (48, 64), dtype=np.uint16)

    def frame(n):
        return Frame(noise + np.uint16(n), n / 60, n, info.scale)
"""


def start(code: str, *arguments: str) -> subprocess.Popen[str]:
    program = textwrap.dedent(_PREAMBLE) + textwrap.dedent(code)
    return subprocess.Popen(
        [sys.executable, "-c", program, *arguments], stdout=subprocess.PIPE, text=True
    )


ENDLESS = """
    writer = Writer(sys.argv[1], info, flush_every_s=float(sys.argv[2]))
    for n in range(10**9):
        writer.take(frame(n))
        writer.take_supply([SupplySample(n / 60, 1.0, 2.0)])
        if n % 50 == 0:
            writer.flush()
            print(n + 1, flush=True)
"""


def kill_after(path: Path, lines: int, flush_every_s: float) -> int:
    """Let a child record, kill it, and return how many frames it had flushed for sure."""
    child = start(ENDLESS, str(path), str(flush_every_s))
    assert child.stdout is not None
    said = [int(child.stdout.readline()) for _ in range(lines)]
    child.kill()
    said += [int(line) for line in child.stdout.read().split()]
    child.stdout.close()
    child.wait()
    return said[-1]


def test_what_a_killed_program_leaves_opens_up_to_the_last_flush(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    flushed = kill_after(path, 4, 1.0)
    assert verify(path) == [] or "times" in verify(path)[0]
    with open_recording(path) as recording:
        assert len(recording) >= flushed
        first = recording.frame(0).counts.astype(int)
        for number in range(flushed):
            counts = recording.frame(number).counts
            assert ((counts - first) % 65536 == number).all()
        assert recording.supply is not None
        assert len(recording.supply) >= flushed - 1


@pytest.mark.slow
def test_a_kill_in_the_midst_of_flushing_leaves_the_frames_before_it(tmp_path: Path) -> None:
    """Flushing after every frame makes it likely that the kill strikes inside a flush."""
    pick = random.Random(5)
    for attempt in range(8):
        path = tmp_path / f"{attempt}.h5"
        flushed = kill_after(path, pick.randrange(1, 6), 0.0)
        saved = repair(path, tmp_path / f"{attempt}.saved.h5")
        assert saved.frames_saved >= flushed
        assert verify(tmp_path / f"{attempt}.saved.h5") == []


def test_a_disk_that_takes_no_more_keeps_what_was_recorded(tmp_path: Path) -> None:
    """A limit on the file's size stands for the full disk."""
    pytest.importorskip("resource")
    path = tmp_path / "r.h5"
    child = start(
        """
        import itertools, resource
        ticks = itertools.count()
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))
        writer = Writer(sys.argv[1], info, flush_every_s=20, clock=lambda: next(ticks))
        try:
            for n in range(10_000):
                writer.take(frame(n))
        except OutputError as error:
            print(error)
        try:
            writer.take(frame(n + 1))
        except OutputError as error:
            print(error)
        writer.close()
        print(n)
        """,
        str(path),
    )
    said, _ = child.communicate(timeout=60)
    lines = said.splitlines()
    assert child.returncode == 0, said
    assert "recording stopped" in lines[0]
    assert lines[1] == lines[0]
    taken = int(lines[2])
    with open_recording(path) as recording:
        assert taken - 25 < len(recording) <= taken
        assert f"stopped after {len(recording)} frames" in lines[0]
    assert verify(path) == []


def test_recording_stops_in_good_order_before_the_disk_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    child = start(
        """
        import shutil
        from collections import namedtuple
        left = [10**12]
        Usage = namedtuple("Usage", "total used free")
        shutil.disk_usage = lambda _: Usage(10**12, 0, left[0])
        writer = Writer(sys.argv[1], info, flush_every_s=0.0)
        for n in range(5):
            writer.take(frame(n))
        left[0] = 50_000_000
        try:
            writer.take(frame(5))
        except OutputError as error:
            print(error)
        writer.close()
        """,
        str(tmp_path / "r.h5"),
    )
    said, _ = child.communicate(timeout=60)
    assert "all but full (50 MB left)" in said
    assert "after 6 frames" in said
    assert verify(tmp_path / "r.h5") == []
