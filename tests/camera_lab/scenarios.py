"""Runs inside the guest: what benches do to cameras, with the program recording through it.

    scenarios.py OUT NAME …        runs the scenarios named, or all

Each leaves its recording and a JSON of what happened in OUT, to be looked at from outside.
"""

from __future__ import annotations

import json
import shutil
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bench import NODES, NODROP, CameraProcess, DriverLog, Program, open_to_all, until

SERIAL = "LAB0001"
ADDRESS = f"camera:{SERIAL}"
FORMATS = {
    "y16": [("Y16 ", 256, 192, 25.0)],
    "double": [("YUY2", 256, 192, 25.0), ("YUY2", 256, 384, 25.0)],
}
LAYOUTS = {"y16": "y16-linear", "double": "double-height-lower-raw"}
REPLUGS = 20
NOBODY = 65534
Facts = dict[str, Any]


def camera_of(form: str, transport: str, **more: Any) -> CameraProcess:
    """Return an emulated camera, plugged in."""
    camera = CameraProcess(
        serial=SERIAL, formats=FORMATS[form], isochronous=transport == "isochronous", **more
    )
    camera.plug()
    return camera


def recorder(work: Path, log: DriverLog, form: str, *more: str) -> Program:
    """Return the program, once it is reading pictures."""
    program = Program(
        *("record", ADDRESS, str(work / "film.h5"), "--format", "json"),
        *("--layout", LAYOUTS[form], *more),
    )
    log.wait_handed_out(10)
    return program


def exact(work: Path, form: str, transport: str, pictures: int = 1530, mode: str = "") -> Facts:
    """Every picture of a minute, through the program into a file."""
    NODROP.write_text("1")
    camera, log = camera_of(form, transport), DriverLog()
    program = recorder(work, log, form)
    if mode:
        camera.wait_sent(30)
        camera(f"mode {mode}")
    camera.wait_sent(pictures)
    facts = program.stop()
    return facts | {"driver": log.take(), "sent": camera.end()}


def replugs(work: Path, form: str, transport: str) -> Facts:
    """The cable out and in again, in the middle of a recording."""
    NODROP.write_text("1")
    camera, log = camera_of(form, transport), DriverLog()
    program = recorder(work, log, form)
    pulls = []
    for turn in range(REPLUGS):
        camera.wait_sent(12 + 3 * (turn % 4))
        pulls.append(camera("detach" if turn % 2 else "cut")["began"])
        time.sleep(0.3 + 0.1 * (turn % 5))
        camera.plug()
    camera.wait_sent(15)
    facts = program.stop()
    return facts | {"driver": log.take(), "sent": camera.end(), "pulls": pulls}


def faults(work: Path, form: str, transport: str) -> Facts:
    """A stall, half pictures, flagged ones, a shutter, a second program: one film."""
    NODROP.write_text("1")
    camera, log = camera_of(form, transport), DriverLog()
    program = recorder(work, log, form)
    times: dict[str, float] = {}
    camera.wait_sent(30)
    times["stall"] = camera("mode stall")["now"]
    time.sleep(3.0)
    times["stall over"] = camera("mode run")["now"]
    camera.wait_sent(20)
    for mode, pictures in (("short", 10), ("run", 10), ("error", 5), ("run", 25), ("freeze", 18)):
        camera(f"mode {mode}")
        camera.wait_sent(pictures)
    camera("mode run")
    camera.wait_sent(10)
    second = Program("record", ADDRESS, str(work / "second.h5")).finish()
    camera.wait_sent(10)
    facts = program.stop()
    more = {"times": times, "second": second, "driver": log.take(), "sent": camera.end()}
    return facts | more


def dropped(work: Path, form: str, transport: str) -> Facts:
    """Half pictures with a driver that keeps damaged ones to itself, as older kernels do."""
    NODROP.write_text("0")
    camera, log = camera_of(form, transport), DriverLog()
    program = recorder(work, log, form)
    for mode, pictures in (("run", 20), ("short", 5), ("run", 20)):
        camera(f"mode {mode}")
        camera.wait_sent(pictures)
    facts = program.stop()
    return facts | {"driver": log.take(), "sent": camera.end()}


def finding(work: Path, form: str, transport: str) -> Facts:
    """What is listed and guessed; controls; how soon plugging shows."""
    from thermview.sources.hotplug import CameraWatch

    watch = CameraWatch()
    camera = camera_of(form, transport, picture="room")
    until(watch.poll, "the watch to tell of the plugging in")
    time.sleep(0.5)
    open_to_all()
    listed = Program("inputs", ADDRESS, "--format", "json").finish()
    barred = Program("record", ADDRESS, str(work / "no.h5"), user=NOBODY).finish()
    changed = Program("inputs", ADDRESS, "--set", "Brightness=7").finish()
    brightness = camera("state")["brightness"]
    film = work / "film.h5"
    guessed = Program("record", ADDRESS, str(film), "--seconds", "1", "--format", "json").finish()
    watch.poll()
    pulled_s = camera("cut")["began"]
    until(watch.poll, "the watch to tell of the pulling out")
    took_s = time.monotonic() - pulled_s
    watch.close()
    gone = Program("record", ADDRESS, str(work / "no.h5")).finish()
    camera.end()
    return guessed | {
        "listed": listed,
        "barred": barred,
        "changed": changed,
        "brightness": brightness,
        "noticed_s": took_s,
        "gone": gone,
    }


def window(work: Path, form: str, transport: str) -> Facts:
    """The whole window, from plugging in on, while the cable is pulled and the camera stalls."""
    from watched_window import WatchedWindow

    NODROP.write_text("1")
    camera = camera_of(form, transport, picture="room")
    camera("detach")
    until(lambda: not any(NODES.glob("video*")), "the nodes to go")
    desk = WatchedWindow()
    desk.list_inputs()
    desk.run(2.0, "nothing plugged in")
    camera("plug")
    desk.run(4.0, "plugged in")
    desk.open_first()
    desk.run(4.0, "start")
    desk.run(4.0, "quiet")
    lay_out_s = desk.lay_out_s()
    desk.show_controls()
    desk.run(4.0, "controls")
    desk.turn("Brightness", 9)
    desk.run(3.0, "turned")
    brightness = camera("state")["brightness"]
    camera("mode stall")
    desk.run(3.0, "stall")
    camera("mode run")
    desk.run(2.0, "quiet again")
    for _ in range(3):
        camera("cut")
        desk.run(1.0, "unplugged")
        camera("plug")
        desk.run(2.5, "back")
    camera("mode short")
    desk.run(1.0, "damaged")
    camera("mode run")
    desk.run(1.0, "end")
    facts: Facts = desk.close()
    camera.end()
    return facts | {"brightness": brightness, "lay_out_s": lay_out_s}


SCENARIOS: dict[str, Callable[[Path], Facts]] = {
    "exact-y16-bulk": lambda work: exact(work, "y16", "bulk"),
    "exact-y16-isochronous": lambda work: exact(work, "y16", "isochronous"),
    "exact-double-bulk": lambda work: exact(work, "double", "bulk"),
    "exact-double-isochronous": lambda work: exact(work, "double", "isochronous"),
    "flipped": lambda work: exact(work, "y16", "bulk", 100, "flip"),
    "replugs": lambda work: replugs(work, "y16", "bulk"),
    "faults-bulk": lambda work: faults(work, "y16", "bulk"),
    "faults-isochronous": lambda work: faults(work, "double", "isochronous"),
    "dropped": lambda work: dropped(work, "y16", "bulk"),
    "finding": lambda work: finding(work, "double", "bulk"),
    "window": lambda work: window(work, "y16", "bulk"),  # last: Qt stays in this process
}
"""All scenarios by name."""


def main(out: Path, names: list[str]) -> int:
    """Run scenarios; one that breaks leaves its traceback for the others to go on."""
    broken = 0
    for name in names or list(SCENARIOS):
        began_s = time.monotonic()
        work = Path("/tmp/lab") / name  # in memory: the shared folder is slow to write
        work.mkdir(parents=True, exist_ok=True)
        try:
            facts = SCENARIOS[name](work)
        except Exception:
            facts, broken = {"traceback": traceback.format_exc()}, broken + 1
            print(facts["traceback"], flush=True)
        facts["seconds"] = time.monotonic() - began_s
        (out / f"{name}.json").write_text(json.dumps(facts))
        if (work / "film.h5").exists():
            shutil.copyfile(work / "film.h5", out / f"{name}.h5")
        shutil.rmtree(work, ignore_errors=True)
        print(f"{name}: {facts['seconds']:.0f} s", flush=True)
        if "traceback" in facts:
            break  # the camera of a broken scenario may still be there
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:]))
