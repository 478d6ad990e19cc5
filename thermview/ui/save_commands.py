"""What the window writes into files of the user's: recordings, stills, exports, regions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QInputDialog

from thermview.frames import Frame
from thermview.regions import save_regions
from thermview.ui.asking import ask_path
from thermview.ui.exports import (
    FRAME_FILTERS,
    REPORT_FILTERS,
    propose,
    save_curves,
    save_frame,
    save_report,
)

if TYPE_CHECKING:
    from thermview.ui.window import MainWindow


class SaveCommands(QObject):
    """Asks for a name where one is chosen; the user's own folder is proposed."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._desk = window, window.desk

    def record_into(self) -> None:
        """Choose a file, then record into it, with the seconds before if wished."""
        path = self._ask_save(self._desk.keeping.next_path, "recording (*.h5)")
        if path is None:
            return
        seconds, taken = QInputDialog.getDouble(
            self._window, "record into", "seconds from before now, still in memory", 0.0, 0.0, 600.0
        )
        if taken:
            self._desk.keeping.toggle(path, seconds)

    def save_history(self) -> None:
        """Write the live pictures that are in memory."""
        path = self._ask_save(self._desk.keeping.next_path, "recording (*.h5)")
        if path is not None:
            self._desk.keeping.save_history(path)

    def still(self) -> None:
        """Save the picture as it is shown, at once, into the user's folder."""
        if self._desk.shown is None:
            self._desk.say("info", "nothing is open to take a still picture of")
            return
        self._still_into_folder()

    def save_picture(self) -> None:
        """Save the picture as it is shown under a chosen name."""
        path = self._ask("stills", ".png", "picture (*.png)")
        if path is not None:
            self._save_still(path)

    def _still_into_folder(self) -> None:
        path = self._desk.attempt(lambda: propose(self._desk, "stills", ".png"))
        if path is not None:
            self._save_still(path)

    def _save_still(self, path: Path) -> None:
        still = self._window.picture.still()
        if still is not None and still.save(str(path)):
            self._desk.say("info", f"still picture saved: {path}")
        else:
            self._desk.say("error", f"{path} cannot be written; is the disk full?")

    def copy_picture(self) -> None:
        """Put the picture as it is shown on the clipboard."""
        still = self._window.picture.still()
        if still is not None:
            QGuiApplication.clipboard().setImage(still)
            self._desk.say("info", "picture copied")

    def export_frame(self) -> None:
        """Write the shown frame's data."""
        if self._desk.shown is None:
            return
        path = self._ask("exports", ".tiff", FRAME_FILTERS)
        if path is not None:
            save_frame(self._desk, path)

    def export_curves(self) -> None:
        """Write the regions' curves as CSV, as the command `thermview curve` does."""
        if self._desk.session is None or not self._desk.document.current.regions:
            self._desk.say("info", "draw a region first; its curve can then be exported")
            return
        path = self._ask("exports", ".csv", "table (*.csv)")
        if path is not None:
            save_curves(self._desk, path)

    def write_report(self) -> None:
        """Write the record of the work, as the command `thermview report` does."""
        if self._desk.shown is None:
            self._desk.say("info", "open a recording or an input first")
            return
        path = self._ask("exports", ".html", REPORT_FILTERS)
        if path is not None:
            save_report(self._desk, path)

    def _ask(self, folder: str, suffix: str, what: str) -> Path | None:
        return self._ask_save(lambda: propose(self._desk, folder, suffix), what)

    def _ask_save(self, proposal: Callable[[], Path], what: str) -> Path | None:
        """Ask where to; without a folder of the user's own, which is said, nothing is proposed."""
        proposed = self._desk.attempt(proposal) or Path.home()
        return ask_path(self._window, "save", proposed, what)

    def save_regions(self) -> None:
        """Write the regions' file."""
        path = self._ask("exports", ".regions.json", "regions (*.json)")
        if path is not None:
            regions = self._desk.document.current
            self._desk.attempt(lambda: save_regions(path, regions))

    def still_of(self, frame: Frame) -> None:
        """Save a picture of the frame in which a trigger fired, whatever is shown now."""
        shown, self._desk.shown = self._desk.shown, frame
        try:
            self._still_into_folder()
        finally:
            self._desk.shown = shown
