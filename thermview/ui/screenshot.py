"""Screenshots of the window for the documentation: `python -m thermview.ui.screenshot OUT.png`.

Works without a display (Qt's offscreen platform is taken where none is stated). What is shown is
the worked example, which is simulated and says so.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path


def main(arguments: list[str] | None = None) -> int:
    """Open a recording in the window, seek, and write what the window shows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--recording", default="", help="default: the worked example's fault")
    parser.add_argument("--seconds", type=float, default=31.0, help="where to seek")
    parser.add_argument("--theme", choices=("dark", "light"), default="dark")
    parser.add_argument("--size", default="1280x800", metavar="WxH")
    options = parser.parse_args(arguments)
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as home:  # nothing of the user's is shown or changed
        os.environ["THERMVIEW_HOME"] = home
        return _take(options)


def _take(options: argparse.Namespace) -> int:
    from PySide6.QtWidgets import QApplication

    from thermview.paths import sample_recordings
    from thermview.ui.desk import Desk
    from thermview.ui.dress import dress
    from thermview.ui.window import MainWindow

    application = QApplication([])
    dress(application, options.theme)
    desk = Desk()
    window = MainWindow(desk)
    width, height = map(int, options.size.split("x"))
    window.resize(width, height)
    window.show()
    desk.open(options.recording or str(sample_recordings() / "short.h5"))
    _work_until(application, lambda: desk.session is not None)
    session = desk.session
    assert session is not None
    session.wait_measured(60.0)
    desk.seek(int(session.footage.times_s.searchsorted(options.seconds)))
    _work_until(application, lambda: False, seconds=2.0)  # findings and curves catch up
    saved = window.grab().save(str(options.out))
    window.leave()
    _work_until(application, lambda: False, seconds=0.3)
    return 0 if saved else 2


def _work_until(application: object, done: object, seconds: float = 30.0) -> None:
    from PySide6.QtWidgets import QApplication

    assert isinstance(application, QApplication)
    assert callable(done)
    deadline = time.monotonic() + seconds
    while not done() and time.monotonic() < deadline:
        application.processEvents()
        time.sleep(0.01)


if __name__ == "__main__":
    sys.exit(main())
