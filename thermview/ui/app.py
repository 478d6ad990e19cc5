"""The program with its window: Qt set up, an address opened, the event loop run."""

from __future__ import annotations

import logging
import signal
import sys
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import QMessageLogContext, QTimer, QtMsgType, qInstallMessageHandler
from PySide6.QtWidgets import QApplication

from thermview.errors import ThermviewError
from thermview.ui.desk import Desk
from thermview.ui.dress import dress
from thermview.ui.rubbish import Collector
from thermview.ui.settings import Settings
from thermview.ui.window import MainWindow
from thermview.units import TemperatureUnit

log = logging.getLogger("thermview.qt")
LEVELS = {
    QtMsgType.QtDebugMsg: logging.DEBUG,
    QtMsgType.QtInfoMsg: logging.INFO,
    QtMsgType.QtWarningMsg: logging.WARNING,
    QtMsgType.QtCriticalMsg: logging.ERROR,
    QtMsgType.QtFatalMsg: logging.CRITICAL,
}


def run(address: str | None, argv: Sequence[str] = (), *, theme: str | None = None) -> int:
    """Show the window until it is closed; what cannot be opened is said in it.

    Parameters
    ----------
    address : str or None
        A file or an input to open at once.
    argv : sequence of str
        For Qt, such as ``-platform``.
    theme : str, optional
        ``dark`` or ``light``, for this run only.
    """
    qInstallMessageHandler(_log_qt)
    application = QApplication([sys.argv[0], *argv])
    application.setApplicationName("thermview")
    application.setDesktopFileName("thermview")
    settings = Settings()
    dress(application, theme or str(settings.get("theme", "dark")))
    desk = Desk(settings)
    sys.excepthook = uncaught(desk)
    desk.attempt(lambda: desk.display.set_unit(TemperatureUnit.parse(settings.get("unit", "C"))))
    window = MainWindow(desk)
    window.show()
    Collector(application)
    if address is not None:
        QTimer.singleShot(0, desk, lambda: desk.open(address))
    for stop in (signal.SIGINT, signal.SIGTERM):  # no time for questions: recordings are finished
        signal.signal(stop, lambda *_: window.leave())
    return application.exec()


def uncaught(desk: Desk) -> Callable[[type[BaseException], BaseException, Any], None]:
    """Return what takes an error that nobody caught: it is said in one line and work goes on.

    One that is not of the program's own tree is a fault; where it came from goes to stderr, too.
    """

    def take(kind: type[BaseException], error: BaseException, trace: Any) -> None:
        if isinstance(error, ThermviewError):
            desk.say("error", str(error))
            return
        sys.__excepthook__(kind, error, trace)
        if isinstance(error, Exception):
            desk.say("error", f"a fault of the program: {kind.__name__}: {error}")

    return take


def _log_qt(kind: QtMsgType, _context: QMessageLogContext, message: str) -> None:
    log.log(LEVELS.get(kind, logging.WARNING), message)
