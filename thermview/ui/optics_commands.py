"""What the window can be told of camera and surfaces, from menus and steps alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QInputDialog, QMenu

from thermview.ui.dialogs.camera import CameraDialog
from thermview.ui.dialogs.knobs import KnobsDialog
from thermview.ui.dialogs.shiny import ShinyDialog
from thermview.ui.guides import Guide
from thermview.ui.guides.surfaces import ContactGuide, FoilGuide, PatchGuide

if TYPE_CHECKING:
    from thermview.sources.knobs import CameraKnobs
    from thermview.ui.window import MainWindow

LIMITS_K = (0.05, 1000.0)


class OpticsCommands(QObject):
    """Guided measurements, the camera's dialog, shiny places, the limit of what is readable."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._desk = window, window.desk

    def surface_guides(self) -> dict[str, Callable[[], object]]:
        """Return the ways to measure what a surface emits and mirrors, by their words."""
        return {
            "by tape or paint beside it …": self.patch,
            "by a contact thermometer …": self.contact,
            "what is mirrored, by crumpled foil …": self.foil,
        }

    def fill_menu(self, menu: QMenu) -> None:
        """Add the actions to a menu."""
        menu.setObjectName("opticsMenu")
        emissivity = menu.addMenu("measure emissivity")
        for words, begin in self.surface_guides().items():
            emissivity.addAction(words, begin)
        menu.addAction("find shiny places …", self.find_shiny)
        forget = menu.addAction("forget the shiny places", self._desk.optics.forget_shiny)
        menu.addSeparator()
        menu.addAction("check and calibrate the camera …", self.camera)
        knobs = menu.addAction("the camera's own controls …", self.knobs)
        shutter = menu.addAction("work the camera's shutter", self.work_shutter)
        menu.addAction("measure the noise now", self._measure_noise)
        repair = menu.addAction("fill bad pixels from their neighbours")
        repair.setCheckable(True)
        repair.toggled.connect(self._desk.optics.set_repair)
        menu.addActions([self._window.picture.actions_by_name[n] for n in ("shiny", "average")])
        menu.addSeparator()
        menu.addAction("not readable beyond …", self.ask_limit)

        def follow() -> None:
            forget.setEnabled(self._desk.optics.shiny is not None)
            own = self._own()
            knobs.setEnabled(own is not None)
            shutter.setEnabled(own is not None and own.has_shutter)
            blocked = repair.blockSignals(True)
            repair.setChecked(self._desk.optics.repair)
            repair.blockSignals(blocked)

        menu.aboutToShow.connect(follow)

    # ---- guided measurements ------------------------------------------------------------------

    def _begin(self, make: Callable[[], Guide], *, of_region: bool) -> None:
        if self._desk.session is None or self._desk.shown is None:
            self._desk.say("info", "open a recording or an input first")
        elif of_region and not self._desk.selected_regions():
            self._desk.say("info", "select the region first, on the picture or in the list")
        else:
            self._window.guides.begin(make())

    def patch(self) -> None:
        """Measure the selected region's emissivity by a patch beside it."""
        self._begin(lambda: PatchGuide(self._desk), of_region=True)

    def contact(self) -> None:
        """Measure the selected region's emissivity by a contact thermometer."""
        self._begin(lambda: ContactGuide(self._desk), of_region=True)

    def foil(self) -> None:
        """Measure the reflected temperature by crumpled foil."""
        self._begin(lambda: FoilGuide(self._desk), of_region=False)

    # ---- the camera and what is readable --------------------------------------------------------

    def camera(self) -> None:
        """Show what is known of the camera."""
        session = self._desk.session
        if session is None or session.info.scale.relative:
            self._desk.say("info", "open a source of temperatures first; brightness has no scale")
            return
        dialog = CameraDialog(self._desk, self._window.guides, self._window)
        dialog.show()

    def knobs(self) -> None:
        """Show how the camera's stream is read, and the controls that its driver offers."""
        if (own := self._own()) is None:
            self._desk.say("info", "open a camera first; nothing else has controls")
            return
        KnobsDialog(self._desk, own, self._window).show()

    def work_shutter(self) -> None:
        """Work the camera's shutter."""
        if (own := self._own()) is None:
            self._desk.say("info", "open a camera first; nothing else has a shutter")
            return
        self._desk.run_aside("working the shutter", own.work_shutter)

    def _own(self) -> CameraKnobs | None:
        """Return the open camera's knobs; None where no camera is open."""
        return self._desk.opened.knobs if self._desk.opened is not None else None

    def find_shiny(self) -> None:
        """Look for places that mirror, in the frames before the power."""
        session = self._desk.session
        if session is None or session.info.scale.relative:
            self._desk.say("info", "open a source of temperatures first")
            return
        dialog = ShinyDialog(self._desk, self._window)
        dialog.open()

    def _measure_noise(self) -> None:
        self._desk.optics.measure_noise(
            lambda report, _: self._desk.say(
                "info",
                f"noise {report.netd_k * 1e3:.0f} mK over {report.frames} still frames, drift "
                f"{report.drift_k_per_min:+.2f} K a minute",
            )
        )

    def ask_limit(self) -> None:
        """Choose the uncertainty beyond which nothing is shown."""
        optics = self._desk.optics
        limit_k, taken = QInputDialog.getDouble(
            self._window,
            "not readable",
            "not readable beyond a standard uncertainty of … K",
            optics.limit_k,
            *LIMITS_K,
            2,
        )
        if taken:
            optics.set_limit(limit_k)
