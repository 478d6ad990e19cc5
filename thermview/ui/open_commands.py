"""What the window opens: files of all kinds, inputs, what was open last; and lets go of."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog, QMenu, QMessageBox

from thermview.errors import ThermviewError
from thermview.regions import load_regions
from thermview.sources import OpenOptions
from thermview.sources.catalog import HDF5_SUFFIXES
from thermview.ui.board.files import is_about_board
from thermview.ui.board.photo import SUFFIXES as PHOTO_SUFFIXES
from thermview.ui.dialogs.inputs import InputsDialog
from thermview.ui.dialogs.read_as import ReadAsDialog
from thermview.ui.opening import datasets_of

if TYPE_CHECKING:
    from thermview.ui.window import MainWindow

PICTURE_SUFFIXES = frozenset({".tif", ".tiff", ".png", ".npy"})
RECORDINGS = "recordings and pictures (*.h5 *.hdf5 *.hdf *.nxs *.tif *.tiff *.png *.npy)"


class OpenCommands(QObject):
    """A file is told by its name and content; one that does not explain itself is asked about."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._desk = window, window.desk

    def open(self) -> None:
        """Choose a file and open it."""
        start = self._desk.settings.get("folder", str(Path.home()))
        name, _ = QFileDialog.getOpenFileName(self._window, "open", start, f"{RECORDINGS};;all (*)")
        if name:
            self._desk.settings.set("folder", str(Path(name).parent))
            self.open_path(Path(name))

    def open_folder(self) -> None:
        """Choose a folder of pictures and open it as one film."""
        name = QFileDialog.getExistingDirectory(self._window, "open a folder of pictures")
        if name:
            self.open_path(Path(name))

    def fill_open_menu(self, menu: QMenu) -> None:
        """Offer what can be opened: files, inputs, and what was open last."""
        menu.clear()
        menu.addAction(self._window.actions_["open"])
        menu.addAction("folder of pictures …", self.open_folder)
        menu.addAction("camera or simulated board …", self.open_input)
        recent = self._desk.settings.recent()
        if recent:
            menu.addSeparator()
        for text in recent:
            menu.addAction(Path(text).name, partial(self.open_path, Path(text))).setToolTip(text)
        menu.addSeparator()
        menu.addAction("start page", self.close_session)

    def open_path(self, path: Path) -> None:
        """Open a file; one that does not explain itself is asked about; regions are loaded."""
        if is_about_board(path):
            self._window.board.load(path)
        elif path.suffix.lower() in PHOTO_SUFFIXES and self._desk.session is not None:
            self._window.board.load_photo(path)
        elif path.suffix.lower() == ".json":
            self._load_regions_from(path)
        elif not self.may_let_go():
            return
        elif path.suffix.lower() in HDF5_SUFFIXES:
            self._desk.run_task(
                f"opening {path.name}",
                lambda _: datasets_of(path),
                lambda datasets: self._open_known(path, datasets),
            )
        elif path.suffix.lower() in PICTURE_SUFFIXES or path.is_dir():
            self._ask_how(path, [])
        else:
            self._desk.open(str(path))

    def _open_known(self, path: Path, datasets: list[str] | None) -> None:
        if datasets is None or not datasets:
            self._desk.open(str(path))
        else:
            self._ask_how(path, datasets)

    def _ask_how(self, path: Path, datasets: list[str]) -> None:
        dialog = ReadAsDialog(path.name, datasets, self._window)
        dialog.accepted.connect(lambda: self._desk.open(str(path), dialog.options()))
        dialog.open()

    def read_as(self) -> None:
        """Say anew how the open file is to be read."""
        opened = self._desk.opened
        if opened is None or opened.path is None:
            self._desk.say("info", "only a file can be read in another way")
            return
        path = opened.path
        self._desk.run_task(
            f"looking into {path.name}",
            lambda _: datasets_of(path),
            lambda datasets: self._ask_how(path, datasets or []),
        )

    def open_input(self) -> None:
        """Choose a camera or a simulated board."""
        dialog = InputsDialog(self._desk, self._window)
        dialog.chosen.connect(self._open_live)
        dialog.open()

    def _open_live(self, address: str, options: OpenOptions) -> None:
        if self.may_let_go():
            self._desk.open(address, options)

    def close_session(self) -> None:
        """Close what is open and go back to the start page."""
        if self.may_let_go():
            self._desk.close_session()

    def may_let_go(self) -> bool:
        """Ask about live pictures that are in memory only; tell whether to go on."""
        if not self._desk.keeping.unsaved():
            return True
        buttons = QMessageBox.StandardButton
        box = QMessageBox(self._window)
        box.setObjectName("unsavedBox")
        box.setWindowTitle("thermview")
        box.setText("The live pictures are in memory only and are not recorded.")
        box.setInformativeText("Save what is still held before it goes?")
        box.setStandardButtons(buttons.Save | buttons.Discard | buttons.Cancel)
        answer, keeping = box.exec(), self._desk.keeping
        box.deleteLater()
        if answer == buttons.Save:
            self._desk.attempt(lambda: keeping.save_history(keeping.next_path()))
            return False  # the file is being written: the user closes again when it is said
        return answer == buttons.Discard

    def load_regions(self) -> None:
        """Take the regions of a file in place of these; undo brings these back."""
        name, _ = QFileDialog.getOpenFileName(
            self._window, "load regions", "", "regions (*.json);;all (*)"
        )
        if name:
            self._load_regions_from(Path(name))

    def _load_regions_from(self, path: Path) -> None:
        try:
            self._desk.document.load(load_regions(path))
        except ThermviewError as error:
            self._desk.say("error", str(error))
