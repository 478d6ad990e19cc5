#!/usr/bin/env python3
"""Set up thermview in `.venv` and run it: the only step a fresh machine needs.

    python3 bootstrap.py            set up, then run the worked example
    python3 bootstrap.py test       set up with the test tools, then run every check
    python3 bootstrap.py ARGS …     set up, then `thermview ARGS …`

Standard library only. A second run finds everything in place and starts at once.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
OLDEST = (3, 11)

# What Qt's window platform loads from the system, and the Debian package that has it.
QT_LIBRARIES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libfontconfig.so.1": "libfontconfig1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xinerama.so.0": "libxcb-xinerama0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libglib-2.0.so.0": "libglib2.0-0",
}
FONT_PACKAGE = "fonts-dejavu-core"
# What the camera lab boots its guest with, by command.
LAB_COMMANDS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "busybox": "busybox-static",
    "depmod": "kmod",
}
CHECKS = (
    ("ruff check", ["-m", "ruff", "check", "."]),
    ("ruff format", ["-m", "ruff", "format", "--check", "."]),
    ("mypy", ["-m", "mypy"]),
    ("import-linter", ["-c", "from importlinter.cli import lint_imports_command as c; c()"]),
)


def main(arguments: list[str]) -> int:
    """Set up, then run what was asked for; return its exit code."""
    if sys.version_info < OLDEST:
        return fail("thermview needs Python 3.11 or newer; this is " + sys.version.split()[0])
    testing = arguments[:1] == ["test"]
    try:
        install(testing)
    except subprocess.CalledProcessError as error:
        return fail(f"this step failed: {' '.join(map(str, error.cmd))}")
    if testing:
        return run_checks(arguments[1:])
    if arguments and arguments[0] != "demo":
        return run([BIN / "thermview", *arguments])
    return run_demo(arguments[1:])


def fail(words: str) -> int:
    """Say what is wrong in one line and return the exit code for it."""
    print(f"bootstrap: error: {words}", file=sys.stderr)
    return 2


def say(words: str) -> None:
    """Tell what is being done."""
    print(f"bootstrap: {words}", file=sys.stderr, flush=True)


def run(command: list[object], **environment: str) -> int:
    """Run a command in the foreground with extra environment; return its exit code."""
    try:
        return subprocess.run(
            [str(part) for part in command], env={**os.environ, **environment}, check=False
        ).returncode
    except KeyboardInterrupt:
        return 130


# --- the environment ------------------------------------------------------------------------


def install(testing: bool) -> None:
    """Make `.venv` and install the pinned packages, unless that is done already."""
    stamp = VENV / ("bootstrap-test.stamp" if testing else "bootstrap.stamp")
    wanted = fingerprint()
    for done in (VENV / "bootstrap-test.stamp", stamp):  # the test set holds the other one
        if PYTHON.exists() and done.exists() and done.read_text() == wanted:
            return
    if not PYTHON.exists():
        make_venv()
    what = ".[test]" if testing else "."
    say(f"installing thermview{what[1:]} and what it needs into {VENV} (a few minutes, once)")
    pip = [PYTHON, "-m", "pip", "--disable-pip-version-check", "install", "-q"]
    subprocess.run(
        [str(part) for part in (*pip, "-c", ROOT / "constraints.txt", "-e", what)],
        cwd=ROOT,
        check=True,
    )
    # an editable package is not compiled by pip, and some machines forbid it later
    subprocess.run([str(PYTHON), "-m", "compileall", "-q", "thermview"], cwd=ROOT, check=False)
    stamp.write_text(wanted)


def fingerprint() -> str:
    """Return a text that changes when the wanted packages or the Python change."""
    digest = hashlib.sha256(sys.version.encode())
    for name in ("pyproject.toml", "constraints.txt"):
        digest.update((ROOT / name).read_bytes())
    return digest.hexdigest()


def make_venv() -> None:
    """Make `.venv`; Debian keeps what that takes in a package of its own."""
    if not can_import("ensurepip"):
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        need_packages([f"python{version}-venv"], "Python's venv module")
    shutil.rmtree(VENV, ignore_errors=True)
    subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=True)


def can_import(module: str) -> bool:
    """Tell whether this Python has the module."""
    probe = [sys.executable, "-c", f"import {module}"]
    return subprocess.run(probe, stderr=subprocess.DEVNULL, check=False).returncode == 0


# --- the system's libraries -------------------------------------------------------------------


def need_packages(packages: list[str], purpose: str) -> bool:
    """Install Debian packages when this user can; else print the one line that does it."""
    line = f"apt-get install -y --no-install-recommends {' '.join(packages)}"
    apt = shutil.which("apt-get")
    if apt and getattr(os, "geteuid", lambda: 1)() == 0:
        say(f"installing {purpose}: {' '.join(packages)}")
        quiet = {"env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}}
        subprocess.run([apt, "update", "-qq"], check=False, **quiet)  # type: ignore[call-overload]
        done = subprocess.run(
            [apt, "install", "-y", "-qq", "--no-install-recommends", *packages],
            check=False,
            stdout=subprocess.DEVNULL,
            **quiet,  # type: ignore[call-overload]
        )
        if done.returncode == 0:
            return True
    say(f"{purpose} is missing; this line installs it (on Debian and Ubuntu): sudo {line}")
    return False


def loads(library: str) -> bool:
    """Tell whether the system's loader finds a shared library."""
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def need_qt_libraries() -> bool:
    """See to the shared libraries that Qt's window needs on Linux."""
    if not sys.platform.startswith("linux"):
        return True
    missing = [package for name, package in QT_LIBRARIES.items() if not loads(name)]
    if not shutil.which("fc-list") and not Path("/usr/share/fonts").is_dir():
        missing.append(FONT_PACKAGE)
    return not missing or need_packages(missing, "what Qt's window needs")


def need_lab() -> None:
    """See to what the camera lab boots its guest with, where the lab was asked for."""
    if os.environ.get("THERMVIEW_REALKERNEL") != "1" or not sys.platform.startswith("linux"):
        return
    path = os.pathsep.join((os.environ.get("PATH", ""), "/sbin", "/usr/sbin"))
    missing = [name for tool, name in LAB_COMMANDS.items() if not shutil.which(tool, path=path)]
    if missing:
        need_packages(missing, "what the camera lab boots")


def has_display() -> bool:
    """Tell whether a window can be shown."""
    if not sys.platform.startswith("linux"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


# --- what is run ----------------------------------------------------------------------------


def run_demo(arguments: list[str]) -> int:
    """Run the worked example: in the window, or headless where there is no display."""
    if has_display() and need_qt_libraries():
        return run([BIN / "thermview", "demo", *arguments])
    if not arguments:
        arguments = ["--headless", str(ROOT / "demo-output"), "--force"]
        say("no display: the worked example runs without a window")
    return run([BIN / "thermview", "demo", *arguments])


def run_checks(arguments: list[str]) -> int:
    """Run the linters, the type checker and the tests; return 0 when all pass."""
    os.chdir(ROOT)
    failed = [name for name, command in CHECKS if not passes(name, [PYTHON, *command])]
    if not run_pytest(arguments):
        failed.append("pytest")
    say("failed: " + ", ".join(failed) if failed else "every check passed")
    return 1 if failed else 0


def passes(name: str, command: list[object], **environment: str) -> bool:
    """Run one check, tell its outcome and time."""
    say(f"{name} …")
    began = time.monotonic()
    good = run(command, **environment) == 0
    say(f"{name}: {'passed' if good else 'FAILED'} in {time.monotonic() - began:.0f} s")
    return good


def run_pytest(arguments: list[str]) -> bool:
    """Run the tests, with the window on a virtual X screen where that can be had."""
    command: list[object] = [PYTHON, "-m", "pytest", *arguments]
    linux = sys.platform.startswith("linux")
    need_lab()
    qt = need_qt_libraries()
    xvfb = shutil.which("Xvfb")
    if linux and not xvfb and need_packages(["xvfb"], "the virtual screen for the tests"):
        xvfb = shutil.which("Xvfb")
    if not (linux and qt and xvfb):
        say("no virtual screen: the window is tested on Qt's offscreen platform")
        return passes("pytest (offscreen)", command, QT_QPA_PLATFORM="offscreen")
    read_end, write_end = os.pipe()
    server = subprocess.Popen(
        [xvfb, "-displayfd", str(write_end), "-screen", "0", "2560x1440x24", "-nolisten", "tcp"],
        pass_fds=[write_end],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write_end)
    try:
        with os.fdopen(read_end) as numbers:
            display = ":" + numbers.readline().strip()
        return passes("pytest (xcb)", command, QT_QPA_PLATFORM="xcb", DISPLAY=display)
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
