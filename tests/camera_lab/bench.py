"""What scenarios in the guest work with: camera, program under test, the driver's own log."""

from __future__ import annotations

import importlib
import json
import os
import pkgutil
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import hdf5plugin  # noqa: F401 (loaded once, for every fork)

import thermview.cli
import thermview.recording
import thermview.session
import thermview.sources
from thermview.cli.main import main

HERE = Path(__file__).resolve().parent
LOADED = (thermview.cli, thermview.recording, thermview.session, thermview.sources)
"""What commands are made of: loaded once, for every fork."""
NODES = Path("/sys/class/video4linux")
TRACING = Path("/sys/kernel/tracing")
NODROP = Path("/sys/module/uvcvideo/parameters/nodrop")


for package in LOADED:
    for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)


def open_to_all() -> None:
    """Let every user of the guest reach the program, wherever on the host it is.

    The folders change in the guest's own layer only.
    """
    for place in (Path(sys.base_prefix), Path(sys.prefix), HERE):
        for folder in (place, *place.parents):
            folder.chmod(folder.stat().st_mode | 0o555)


class CameraProcess:
    """The emulated camera, as a process of its own."""

    def __init__(self, **setting: Any) -> None:
        self._process = subprocess.Popen(
            [sys.executable, HERE / "emulated_camera.py", json.dumps(setting)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __call__(self, command: str) -> dict[str, Any]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(command + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        if "error" in answer:
            raise RuntimeError(f"{command}: {answer['error']}")
        return answer

    def plug(self) -> None:
        """Plug in, and wait until the kernel has made its nodes."""
        self("plug")
        until(lambda: any(NODES.glob("video*")), "the camera's nodes")

    def wait_sent(self, more: int) -> None:
        """Wait until so many more pictures went out."""
        goal = self("state")["sent"] + more
        what, limit_s = f"{more} more pictures", 60.0 + more / 10
        until(lambda: self("state")["sent"] >= goal, what, limit_s, min(0.2, more / 250))

    def end(self) -> list[list[Any]]:
        """Unplug for good; return the number, mode and time of all pictures that went out."""
        sent: list[list[Any]] = self("sent")["sent"]
        with suppress(RuntimeError, OSError):
            self("detach")
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10)
        until(lambda: not any(NODES.glob("video*")), "the nodes to go")
        return sent


class Program:
    """A `thermview` command, with the moment of every line that it prints on standard error.

    It runs in a fork of this process, where all its modules are loaded already: in an emulated
    machine that takes longest. `user` is the number of the one who runs it, else root does.
    """

    def __init__(self, *arguments: str, user: int = 0) -> None:
        out, child_out = os.pipe()
        error, child_error = os.pipe()
        self._process = os.fork()
        if self._process == 0:
            os.dup2(child_out, 1)
            os.dup2(child_error, 2)
            if user:
                os.setgroups([])
                os.setresuid(user, user, user)
                os.environ["THERMVIEW_HOME"] = mkdtemp()
            os._exit(_run(list(arguments)))
        os.close(child_out)
        os.close(child_error)
        self._out = os.fdopen(out)
        self._error = os.fdopen(error)
        self.lines: list[tuple[float, str]] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        for line in self._error:
            self.lines.append((time.monotonic(), line.rstrip("\n")))

    def stop(self) -> dict[str, Any]:
        """Press Ctrl-C, then `finish`."""
        os.kill(self._process, signal.SIGINT)
        return self.finish()

    def finish(self) -> dict[str, Any]:
        """Wait for its end; return exit status, what it printed, and the lines with their times."""
        text = self._out.read()
        status = os.waitstatus_to_exitcode(os.waitpid(self._process, 0)[1])
        self._reader.join()
        self._out.close()
        self._error.close()
        with suppress(json.JSONDecodeError):
            return {"status": status, "lines": self.lines, "answer": json.loads(text)}
        return {"status": status, "lines": self.lines, "text": text}


def _run(arguments: list[str]) -> int:
    """Run a command as a process of its own does; return its exit status."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    sys.stdout, sys.stderr = open(1, "w", buffering=1), open(2, "w", buffering=1)  # noqa: SIM115
    sys.argv = ["thermview", *arguments]
    status = 99
    try:
        main()
    except SystemExit as end:
        status = int(end.code or 0)
    except BaseException:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    return status


class DriverLog:
    """The kernel's own record of every picture handed out: number, time, bytes, flags."""

    def __init__(self) -> None:
        (TRACING / "buffer_size_kb").write_text("8192")
        (TRACING / "trace").write_text("")
        (TRACING / "events/v4l2/v4l2_dqbuf/enable").write_text("1")

    def wait_handed_out(self, pictures: int) -> None:
        """Wait until the driver handed out so many pictures."""
        trace = TRACING / "trace"
        until(lambda: trace.read_text().count("v4l2_dqbuf:") >= pictures, "the program to read")

    def take(self) -> str:
        """Stop it, and return its text."""
        (TRACING / "events/v4l2/v4l2_dqbuf/enable").write_text("0")
        return (TRACING / "trace").read_text()


def until(
    condition: Callable[[], bool], what: str, timeout_s: float = 60.0, interval_s: float = 0.01
) -> None:
    """Wait until a condition holds."""
    deadline_s = time.monotonic() + timeout_s
    while not condition():
        if time.monotonic() > deadline_s:
            raise TimeoutError(f"waited {timeout_s:.0f} s for {what}")
        time.sleep(interval_s)
