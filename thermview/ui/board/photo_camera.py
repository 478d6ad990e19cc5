"""The photo under the heat from a second, visible camera, live."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QMenu, QToolButton

from thermview.sources.cameras import FoundCamera, find_cameras
from thermview.sources.visible import VisibleCamera, open_visible
from thermview.ui.desk import Desk
from thermview.ui.widgets import tool

LOOK_MS = 60


class PhotoCamera(QObject):
    """Offers the cameras, and lays the chosen one's pictures under the heat.

    Parameters
    ----------
    desk : Desk
    find, opener : callable
        Stand for the machine's cameras.
    """

    def __init__(
        self,
        desk: Desk,
        find: Callable[[], list[FoundCamera]] = find_cameras,
        opener: Callable[[str], VisibleCamera] = open_visible,
    ) -> None:
        super().__init__(desk)
        self._desk, self._find, self._open = desk, find, opener
        self.camera: VisibleCamera | None = None
        self.menu = QMenu()
        self.button = tool(
            "camera-outline",
            "photoCamera",
            tip="use a second, visible camera as the photo, live",
            text="camera",
        )
        self.button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.button.setMenu(self.menu)
        self.menu.aboutToShow.connect(self.offer)
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self._look)
        desk.session_changed.connect(self.stop)

    def offer(self) -> None:
        """List the cameras but for the one that films the heat."""
        self.menu.clear()
        session = self._desk.session
        used = session.info.address if session is not None else ""
        others = [c for c in self._find() if c.address != used and not c.trouble]
        for found in others:
            self.menu.addAction(f"{found.name} ({found.address})", partial(self.begin, found))
        if not others:
            self.menu.addAction("no other camera is plugged in").setEnabled(False)
        if self.camera is not None:
            self.menu.addSeparator()
            self.menu.addAction("keep this picture, let go of the camera", self.stop)

    def begin(self, found: FoundCamera) -> None:
        """Open a camera beside what goes on."""
        self.stop()
        opened = list[VisibleCamera]()
        session = self._desk.session

        def take() -> None:
            if opened and self._desk.session is not session:
                opened[0].close()
            elif opened:
                self.camera = opened[0]
                self._timer.start()

        self._desk.run_aside(
            f"opening {found.name}", lambda: opened.append(self._open(found.address)), take
        )

    def stop(self) -> None:
        """Let go of the camera; its last picture stays."""
        self._timer.stop()
        camera, self.camera = self.camera, None
        if camera is not None:
            self._desk.run_aside(f"closing {camera.found.name}", camera.close)

    def _look(self) -> None:
        camera = self.camera
        if camera is None:
            return
        if (picture := camera.take()) is not None:
            self._desk.boards.photo.show_picture(picture)
        if camera.lost:
            self._desk.say("warning", f"{camera.found.name} is gone; its last picture stays")
            self.stop()
