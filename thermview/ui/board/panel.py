"""The board's panel beside the picture: parts, matching points."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QAction, QKeyEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QMenu,
    QMessageBox,
    QStackedWidget,
    QTabBar,
    QWidget,
)

from thermview.session.matching import MM_PER_PX
from thermview.ui.asking import ask_path
from thermview.ui.board import files
from thermview.ui.board.overlay import BoardSheet
from thermview.ui.board.parts_page import PartsPage
from thermview.ui.board.photo_page import PhotoPage
from thermview.ui.board.points_page import PointsPage
from thermview.ui.desk import Desk
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.tools import ToolKind
from thermview.ui.theme import tokens
from thermview.ui.widgets import column, named, row, tool

WIDTH_PX = 320
WIDE_PX = 440  # with a photo to click in
PARTS, POINTS, PHOTO = 0, 1, 2

PHOTOS = "photos (*.jpg *.jpeg *.png *.webp *.bmp *.tif *.tiff);;all (*)"


class BoardPanel(QFrame):
    """Hidden until asked for; it follows the desk's board."""

    wanted = Signal()  # the picture beside it must be seen

    def __init__(self, desk: Desk, canvas: Canvas) -> None:
        super().__init__()
        named(self, "boardPanel", "panel")
        self._desk, self._canvas = desk, canvas
        self.sheet = BoardSheet(canvas)
        self.setFixedWidth(WIDTH_PX)
        self.tabs = named(QTabBar(), "boardTabs")
        self.tabs.setExpanding(False)
        self.tabs.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.tabs.setDrawBase(False)
        self.pages = named(QStackedWidget(), "boardPages")
        self.parts = PartsPage(desk, self.ask_parts, self.match)
        self.points = PointsPage(desk, canvas)
        self.points.ended.connect(self._points_done)
        self.photo = PhotoPage(desk, canvas, self.ask_photo)
        self.photo.ended.connect(self.close_panel)
        pages: tuple[tuple[str, str, QWidget], ...] = (
            ("parts", "the board's parts, by its placement list", self.parts),
            ("matching points", "landmarks: where the board lies in the picture", self.points),
            ("photo", "a photo of the board, laid under the heat", self.photo),
        )
        for words, tip, page in pages:
            self.tabs.setTabToolTip(self.tabs.addTab(words), tip)
            self.pages.addWidget(page)
        close = tool("close", "boardClose", self.close_panel, tip="close this panel  (Esc)")
        layout = column(self, margin=tokens().space)
        layout.addLayout(row(self.tabs, None, close))
        layout.addWidget(self.pages, 1)
        self.tabs.currentChanged.connect(self._show_page)
        desk.session_changed.connect(self._session_changed)
        self.hide()

    def _show_page(self, page: int) -> None:
        self.pages.setCurrentIndex(page)
        self.setFixedWidth(WIDE_PX if page == PHOTO else WIDTH_PX)

    def open_page(self, page: int) -> None:
        """Show a page."""
        if self._desk.session is None:
            self._desk.say("info", "open a recording or an input first")
            return
        self.tabs.setCurrentIndex(page)
        self.show()
        self.wanted.emit()

    def find_part(self) -> None:
        """Show the search line, ready to type."""
        self.open_page(PARTS)
        self.parts.search.setFocus()
        self.parts.search.selectAll()

    def match(self) -> None:
        """Set matching points."""
        self.open_page(POINTS)
        self._canvas.setFocus()

    def _points_done(self) -> None:
        """Show the parts where the points have placed them, else give the room back."""
        if self._desk.board is not None:
            self.tabs.setCurrentIndex(PARTS)
            self._canvas.setFocus()
        else:
            self.close_panel()

    def fill_menu(self, menu: QMenu, pages: Iterable[QAction]) -> None:
        """Offer what the panel does; `pages` open its pages."""
        menu.addActions(list(pages))
        menu.addSeparator()
        menu.addAction("load parts or nets …", self.ask_parts)
        menu.addAction("keep regions as a part map …", self.ask_map)
        menu.addAction("keep the board beside the recording", self.keep_beside)
        menu.addAction("load matching points …", self.points.ask_load)
        menu.addAction("save matching points …", self.points.ask_save)

    def close_panel(self) -> None:
        """Put the panel away."""
        self.hide()
        self._canvas.setFocus()

    def _session_changed(self) -> None:
        if self._desk.session is None:
            self.hide()

    def ask_parts(self) -> None:
        """Choose a placement list, a netlist or a part map."""
        name, _ = QFileDialog.getOpenFileName(
            self, "load the board's parts", files.named_beside(self._desk), files.ANY
        )
        if name:
            self.load(Path(name))

    def load(self, path: Path) -> None:
        """Take over what a file says of the board, and show it."""
        if self._desk.session is None:
            self._desk.say("info", "open a recording or an input first, then the board's files")
            return
        self._desk.attempt(lambda: files.load(self._desk, path))
        self.open_page(
            PARTS if self._desk.boards.fit.view is not None else self.tabs.currentIndex()
        )

    def ask_photo(self) -> None:
        """Choose a photo."""
        name, _ = QFileDialog.getOpenFileName(
            self, "load a photo of the board", files.named_beside(self._desk), PHOTOS
        )
        if name:
            self.load_photo(Path(name))

    def load_photo(self, path: Path) -> None:
        """Take a photo, to be laid under the heat."""
        self.open_page(PHOTO)
        if self._desk.session is not None:
            self._desk.boards.photo.load(path)

    def keep_beside(self) -> None:
        """Write parts and points beside the recording; files that stand there are asked about."""
        paths = files.beside(self._desk)
        standing = [path.name for path in paths or () if path.exists()]
        if standing:
            question = f"Replace {' and '.join(standing)} beside the recording?"
            buttons = QMessageBox.StandardButton
            answer = QMessageBox.question(self, "keep the board", question)
            if answer != buttons.Yes:
                return
        self._desk.attempt(lambda: files.keep_beside(self._desk))

    def ask_map(self) -> None:
        """Choose where the regions are kept as a part map."""
        if self._desk.session is None or (files.is_guess(self._desk) and not self._guess_taken()):
            return
        proposed = files.named_beside(self._desk, ".partmap.json")
        path = ask_path(self, "keep the regions as a part map", proposed, "part map (*.json)")
        if path is not None:
            self._desk.attempt(lambda: files.save_map(self._desk, path))
            self.open_page(PARTS)

    def _guess_taken(self) -> bool:
        """Ask whether sizes may be guessed; else the ruler is taken up."""
        box = QMessageBox(self)
        box.setObjectName("guessedScale")
        box.setWindowTitle("keep the regions as a part map")
        box.setText("Nothing says how large a pixel is on this board.")
        box.setInformativeText(
            f"Measure one known length, or sizes are guessed at {MM_PER_PX:g} mm a pixel; the "
            "watts that are found follow them."
        )
        measure = box.addButton("measure a length", QMessageBox.ButtonRole.RejectRole)
        guess = box.addButton("guess", QMessageBox.ButtonRole.AcceptRole)
        box.addButton(QMessageBox.StandardButton.Cancel)
        box.setDefaultButton(measure)
        box.exec()
        if box.clickedButton() is measure:
            self._canvas.choose(ToolKind.RULER)
            self._canvas.setFocus()
        return box.clickedButton() is guess

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Close on Esc."""
        if event.key() == Qt.Key.Key_Escape:
            self.close_panel()
        else:
            super().keyPressEvent(event)
