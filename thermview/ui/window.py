"""The window: the steps on top, picture, findings and readings, the strip, one line of words."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QByteArray, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QHBoxLayout,
    QMainWindow,
    QMenu,
    QSplitter,
    QStackedWidget,
    QToolButton,
    QWidget,
)

from thermview.ui.actions import Actions
from thermview.ui.board.panel import BoardPanel
from thermview.ui.commands import Commands
from thermview.ui.compare.step import CompareStep
from thermview.ui.desk import Desk
from thermview.ui.guides import GuideBar
from thermview.ui.keys import Keys
from thermview.ui.optics_commands import OpticsCommands
from thermview.ui.panels.banner import Banner
from thermview.ui.panels.camera import CameraState
from thermview.ui.panels.findings import FindingsPanel
from thermview.ui.panels.readings import ReadingsPanel
from thermview.ui.panels.start import StartPage
from thermview.ui.panels.status import StatusLine
from thermview.ui.panels.steps import StepBar, StepSheet
from thermview.ui.picture import PictureView
from thermview.ui.strip import StripView
from thermview.ui.theme import tokens
from thermview.ui.tone import Tone
from thermview.ui.widgets import SpacePresses, button, column, named, row, tool

ROOMY_PX = 880
"""Height of a window that holds a step's line and the region's fields at once."""


class MainWindow(QMainWindow):
    """All of it, put together; the state is the desk's."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setObjectName("mainWindow")
        self.desk = desk
        self._leaving = False
        self.keys = Keys(desk.settings)
        self.tone = Tone(desk)
        self.commands = Commands(self)
        self.picture = PictureView(desk)
        self.actions_ = Actions(
            self, self.keys, self.commands.handlers(), self.picture.actions_by_name
        )
        self.guides = GuideBar(desk, self.picture.canvas)
        self.board = BoardPanel(desk, self.picture.canvas)
        self.strip = StripView(desk)
        self.readings = ReadingsPanel(desk, self.commands.edits)
        self.findings = FindingsPanel(desk)
        self.start_page = StartPage(desk)
        self.steps = StepBar(desk)
        self.compare = CompareStep(desk, self.steps, self.commands.edits, self.findings)
        self.board.wanted.connect(self.compare.give_way)
        self.camera = CameraState(desk)
        self.banner = Banner(desk)
        self.status = StatusLine(desk)
        self.steps.chosen.connect(self._step_opened)  # makes room before the sheet takes it
        self.sheet = StepSheet(self.steps, self.commands.step_actions())
        self.guides.running.connect(self._guide_runs)
        self.readings.settings.toggled.connect(self._settings_opened)
        self._space_presses = SpacePresses(self)
        self.optics = OpticsCommands(self)
        self.readings.card.settings.offer(self.optics.surface_guides())
        self._build()
        self.setAcceptDrops(True)
        desk.session_changed.connect(self._session_changed)
        self._restore()
        if self.steps.current is not None:
            self._step_opened(self.steps.current.name)
        self._session_changed()

    # ---- building ------------------------------------------------------------------------

    def _build(self) -> None:
        space = tokens().space
        whole = QWidget()
        whole.setObjectName("wholeWindow")
        layout = column(whole)
        layout.setContentsMargins(space, space, space, space // 2)
        layout.addLayout(self._top_row())
        layout.addWidget(self.sheet)
        layout.addWidget(self.banner)
        self.pages = named(QStackedWidget(), "pages")
        self.pages.addWidget(self.start_page)
        self.pages.addWidget(self._work_page())
        layout.addWidget(self.pages, 1)
        layout.addWidget(self.status)
        self.setCentralWidget(whole)
        for made in whole.findChildren(QAbstractButton):
            made.installEventFilter(self._space_presses)

    def _top_row(self) -> QHBoxLayout:
        layout = QHBoxLayout()
        layout.setSpacing(tokens().space)
        layout.addWidget(self.steps)
        layout.addStretch(1)
        layout.addWidget(self.camera)
        opener = button("open", "openButton", symbol="folder-open")
        self.open_menu = named(QMenu(opener), "openMenu")
        self.open_menu.setToolTipsVisible(True)
        self.open_menu.aboutToShow.connect(
            lambda: self.commands.files.fill_open_menu(self.open_menu)
        )
        opener.setMenu(self.open_menu)
        layout.addWidget(opener)
        menu = tool("menu", "menuButton", tip="everything else")
        menu.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.menu = QMenu(menu)
        self.menu.setObjectName("mainMenu")
        self.commands.fill_menu(self.menu)
        menu.setMenu(self.menu)
        layout.addWidget(menu)
        return layout

    def _work_page(self) -> QWidget:
        beside = self._splitter("besideSplitter", Qt.Orientation.Vertical)
        beside.addWidget(self.findings)
        beside.addWidget(self.compare.halves)
        beside.addWidget(self.readings)
        beside.setStretchFactor(0, 1)
        beside.setStretchFactor(1, 1)
        beside.setStretchFactor(2, 2)
        left = QWidget()
        left_layout = column(left)
        left_layout.addWidget(self.guides)
        left_layout.addLayout(row(self.picture, self.board), 1)
        upper = self._splitter("upperSplitter", Qt.Orientation.Horizontal)
        upper.addWidget(left)
        upper.addWidget(beside)
        upper.setStretchFactor(0, 1)
        whole = self._splitter("mainSplitter", Qt.Orientation.Vertical)
        whole.addWidget(self.compare.around(upper))
        whole.addWidget(self.strip)
        whole.setStretchFactor(0, 4)
        whole.setStretchFactor(1, 1)
        upper.setSizes([860, 400])
        beside.setSizes([240, 240, 300])
        whole.setSizes([500, 240])
        return whole

    def _splitter(self, name: str, orientation: Qt.Orientation) -> QSplitter:
        made = named(QSplitter(orientation), name)
        made.setChildrenCollapsible(False)
        made.setHandleWidth(tokens().space)
        return made

    # ---- what is remembered ---------------------------------------------------------------

    def _splitters(self) -> list[QSplitter]:
        return self.pages.findChildren(QSplitter)

    def _restore(self) -> None:
        settings = self.desk.settings
        geometry = settings.get("geometry", "")
        if geometry:
            self.restoreGeometry(QByteArray.fromBase64(geometry.encode()))
        else:
            self.resize(1280, 800)
        for splitter in self._splitters():
            state = settings.get(splitter.objectName(), "")
            if state:
                splitter.restoreState(QByteArray.fromBase64(state.encode()))

    def _remember(self) -> None:
        settings = self.desk.settings
        settings.set("geometry", _text(self.saveGeometry()))
        for splitter in self._splitters():
            settings.set(splitter.objectName(), _text(splitter.saveState()))

    # ---- following the desk ---------------------------------------------------------------

    def _guide_runs(self, on: bool) -> None:
        """Let a guided measurement have the step's room."""
        if on:
            self.sheet.hide()
        else:
            self.sheet.refresh()

    def _step_opened(self, name: str) -> None:
        """Put the region's fields away where there is not the room for both."""
        if name and self.height() < ROOMY_PX:
            self.readings.settings.setChecked(False)

    def _settings_opened(self, on: bool) -> None:
        if on and self.height() < ROOMY_PX:
            self.steps.choose("")

    def _session_changed(self) -> None:
        session = self.desk.session
        self.pages.setCurrentIndex(0 if session is None else 1)
        (self.start_page if session is None else self.picture.canvas).setFocus()
        if session is None:
            self.setWindowTitle("thermview")
            if not self._leaving:
                self.start_page.refresh()
        else:
            self.setWindowTitle(f"{session.info.title or session.info.name} – thermview")

    # ---- Qt's side ------------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files from the desktop."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open a dropped file, or load dropped regions."""
        paths = [Path(url.toLocalFile()) for url in event.mimeData().urls() if url.isLocalFile()]
        if paths:
            event.acceptProposedAction()
            QTimer.singleShot(0, self, lambda: self.commands.files.open_path(paths[0]))

    def leave(self) -> None:
        """Close without asking anything; a running recording is finished."""
        self._leaving = True
        self.close()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Ask about footage that is nowhere saved, then let go of everything."""
        if not self._leaving and not self.commands.files.may_let_go():
            event.ignore()
            return
        self._leaving = True
        self._remember()
        self.hide()  # a search that is under way takes seconds to end
        self.tone.stop()
        self.start_page.shut()
        self.compare.shut()
        self.desk.shut()
        event.accept()


def _text(state: QByteArray) -> str:
    return bytes(state.toBase64().data()).decode()
