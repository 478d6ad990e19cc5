"""The camera: one-minute check, calibration by contact readings, noise, spread, bad pixels."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDoubleSpinBox,
    QGridLayout,
    QLabel,
    QTabWidget,
    QWidget,
)

from thermview.errors import ThermviewError
from thermview.radiometry import ASSUMED_REFLECTED_K, Setting
from thermview.radiometry.bad_pixels import Mask
from thermview.radiometry.calibration import Calibration, CalibrationKind
from thermview.radiometry.camera_check import (
    CheckItem,
    Verdict,
    check_depth,
    check_focus,
    check_hand,
    check_warm,
)
from thermview.radiometry.noise import NoiseReport
from thermview.session.still import still_frames
from thermview.ui.desk import Desk
from thermview.ui.guides import Guide, GuideBar
from thermview.ui.guides.camera import CalibrationGuide, EdgeGuide, PalmGuide, WireGuide, fitted
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, set_tone, tool

DEPTH_FRAMES = 8
SIGNS = {Verdict.GOOD: "✓", Verdict.BAD: "✗", Verdict.UNKNOWN: "?"}
TONES = {Verdict.GOOD: "good", Verdict.BAD: "error", Verdict.UNKNOWN: ""}
CHECK_WORDS = "Four questions before the numbers are believed (common practice, no source)."
KEPT = (
    "What is set here is kept under the camera's name, applied to what is shown now and to its "
    "next pictures, and written into its recordings. Recorded counts stay as the camera gave them."
)


class CameraDialog(QDialog):
    """Stays beside the window: measurements are made on the picture meanwhile."""

    def __init__(self, desk: Desk, guides: GuideBar, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("cameraDialog")
        self.setWindowTitle("camera")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk, self._guides = desk, guides
        self._palm: CheckItem = check_hand(np.zeros(0))
        self.title = label(desk.optics.profile.name, "cameraTitle", "title", wrap=True)
        self.tabs = named(QTabWidget(), "cameraTabs")
        self.tabs.addTab(self._check_page(), "one-minute check")
        self.tabs.addTab(self._calibration_page(), "calibration")
        self.tabs.addTab(self._pixels_page(), "noise and pixels")
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(self.title)
        layout.addWidget(self.tabs, 1)
        layout.addWidget(label(KEPT, "cameraKept", "small", wrap=True))
        layout.addLayout(row(None, button("close", "cameraClose", self.accept, role="primary")))
        self.resize(560, 660)
        desk.optics.changed.connect(self.refresh)
        desk.session_changed.connect(self.reject)
        guides.running.connect(self._guide_runs)
        self.refresh()

    def _guide(self, guide: Guide) -> None:
        """Measure on the picture."""
        self._guides.begin(guide)

    def _guide_runs(self, on: bool) -> None:
        """Step aside for a measurement on the picture, and come back after it."""
        self.setVisible(not on)
        if not on:
            self.raise_()
            self.activateWindow()

    def refresh(self) -> None:
        """Show everything anew."""
        self._show_check()
        self._show_calibration()
        self._show_pixels()

    # ---- the one-minute check ---------------------------------------------------------------

    def _check_page(self) -> QWidget:
        page = QWidget()
        layout = column(page, margin=tokens().space)
        layout.addWidget(label(CHECK_WORDS, "checkWords", "dim", wrap=True))
        self._checks: list[tuple[QLabel, QLabel, QLabel]] = []
        grid = QGridLayout()
        grid.setSpacing(tokens().space)
        grid.setColumnStretch(2, 1)
        again: tuple[tuple[str, Callable[[], object]] | None, ...] = (
            None,
            ("measure", self._measure_noise),
            ("on an edge …", self._measure_edge),
            ("a palm …", self._measure_palm),
        )
        for line, act in enumerate(again):
            parts = tuple(
                label("", f"check{part}_{line}") for part in ("Sign", "Question", "Words")
            )
            parts[2].setWordWrap(True)
            for place, part in enumerate(parts):
                grid.addWidget(part, line, place)
            if act is not None:
                grid.addWidget(button(act[0], f"checkAct_{line}", act[1]), line, 3)
            self._checks.append((parts[0], parts[1], parts[2]))
        layout.addLayout(grid)
        layout.addStretch(1)
        return page

    def _show_check(self) -> None:
        desk = self._desk
        if desk.session is None:
            return
        now_s = desk.now_s
        try:
            frames = list(
                still_frames(
                    desk.session.footage, (now_s, now_s), DEPTH_FRAMES, fewest=DEPTH_FRAMES
                )
            )
        except (ThermviewError, IndexError):
            frames = []
        items = (
            check_depth(frames),
            check_warm(desk.optics.noise),
            check_focus(desk.optics.profile.spread),
            self._palm,
        )
        for (sign, question, words), item in zip(self._checks, items, strict=True):
            sign.setText(SIGNS[item.verdict])
            question.setText(item.question)
            words.setText(item.words)
            for part in (sign, words):
                set_tone(part, TONES[item.verdict])

    def _measure_noise(self) -> None:
        self._desk.optics.measure_noise()

    def _measure_edge(self) -> None:
        self._guide(EdgeGuide(self._desk))

    def _measure_wire(self) -> None:
        self._guide(WireGuide(self._desk))

    def _measure_palm(self) -> None:
        def note(item: CheckItem) -> None:
            self._palm = item
            self.refresh()

        self._guide(PalmGuide(note))

    # ---- calibration ---------------------------------------------------------------------------

    def _calibration_page(self) -> QWidget:
        page = QWidget()
        layout = column(page, margin=tokens().space)
        self.inside = named(QCheckBox("the camera itself applies emissivity"), "insideKnown")
        self.inside_emissivity = _number("insideEmissivity", (0.01, 1.0), 0.95, 2)
        self.inside_reflected = _number("insideReflected", (-273.0, 3000.0), 23.0, 1)
        self.inside_reflected.setSuffix(f" {self._desk.display.unit.symbol}")
        self.inside_reflected.setToolTip("what it takes for the temperature that is mirrored")
        self.inside.setToolTip("set in the camera's own menu; it is undone here, not applied twice")
        self.applied = label("", "cameraApplied", "small", wrap=True)
        layout.addLayout(row(self.inside, self.inside_emissivity, self.inside_reflected, None))
        layout.addWidget(self.applied)
        self.readings = QGridLayout()
        self.readings.setSpacing(4)
        layout.addLayout(self.readings)
        self.plot = named(pg.PlotWidget(), "residualPlot")
        self.plot.setMinimumHeight(170)
        layout.addWidget(self.plot, 1)
        self.fit_words = label("", "fitWords", "dim", wrap=True)
        layout.addWidget(self.fit_words)
        add = button("add a contact reading …", "addReading", self._add_reading, role="primary")
        layout.addLayout(row(add, None))
        layout.addStretch(0)
        self.inside.clicked.connect(lambda _: self._set_inside())
        for field in (self.inside_emissivity, self.inside_reflected):
            field.editingFinished.connect(self._set_inside)
        return page

    def _set_inside(self) -> None:
        unit, applied = self._desk.display.unit, None
        if self.inside.isChecked():
            applied = Setting(
                emissivity=self.inside_emissivity.value(),
                reflected_k=unit.to_kelvin(self.inside_reflected.value()),
            )
        if applied != self._desk.optics.profile.applied:
            self._desk.optics.change_profile(applied=applied)

    def _add_reading(self) -> None:
        self._guide(CalibrationGuide(self._desk))

    def _remove_reading(self, number: int) -> None:
        calibration = self._desk.optics.profile.calibration
        assert calibration is not None
        kept = [p for place, p in enumerate(calibration.points) if place != number]
        self._desk.attempt(lambda: self._desk.optics.change_profile(calibration=fitted(kept)))

    def _show_calibration(self) -> None:
        profile, unit = self._desk.optics.profile, self._desk.display.unit
        applied = profile.applied
        self.inside.setChecked(applied is not None)
        for field in (self.inside_emissivity, self.inside_reflected):
            field.setEnabled(applied is not None)
        if applied is not None:
            self.inside_emissivity.setValue(applied.emissivity)
            self.inside_reflected.setValue(unit.from_kelvin(applied.reflected_k))
        else:
            self.inside_reflected.setValue(unit.from_kelvin(ASSUMED_REFLECTED_K))
        self.applied.setText(profile.already_corrected())
        self._list_readings(profile.calibration)
        self._plot_residuals(profile.calibration)

    def _list_readings(self, calibration: Calibration | None) -> None:
        while (item := self.readings.takeAt(0)) is not None:
            if (old := item.widget()) is not None:
                old.setParent(None)  # gone at once, not only when the event loop comes to it
                old.deleteLater()
        if calibration is None:
            words = "No contact reading yet: a camera is taken to be good to ± 2 K."
            self.fit_words.setText(words)
            return
        unit = self._desk.display.unit
        heads = ("camera", "thermometer", "left over", "")
        for place, words in enumerate(heads):
            self.readings.addWidget(label(words, f"readingHead_{place}", "small"), 0, place)
        rows = zip(calibration.points, calibration.residuals_k, strict=True)
        for number, (point, left_k) in enumerate(rows):
            texts = (
                f"{unit.from_kelvin(point.seen_k):.1f} {unit.symbol}",
                f"{unit.from_kelvin(point.expected_k):.1f} ± {point.u_k * unit.per_kelvin:.1f}",
                f"{left_k * unit.per_kelvin:+.2f} {unit.difference_symbol}",
            )
            for place, words in enumerate(texts):
                cell = label(words, f"reading_{number}_{place}")
                self.readings.addWidget(cell, number + 1, place)
            remove = tool(
                "trash-can-outline",
                f"removeReading_{number}",
                lambda number=number: self._remove_reading(number),  # type: ignore[misc]
                tip="take this reading away",
            )
            self.readings.addWidget(remove, number + 1, 3)
        self.fit_words.setText(_fit_words(calibration))

    def _plot_residuals(self, calibration: Calibration | None) -> None:
        theme, unit = tokens(), self._desk.display.unit
        self.plot.clear()
        self.plot.setVisible(calibration is not None)
        if calibration is None:
            return
        self.plot.setBackground(theme.sunken)
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(False, False)
        self.plot.hideButtons()
        for side, words in (
            ("bottom", f"camera, {unit.symbol}"),
            ("left", f"left over, {unit.difference_symbol}"),
        ):
            axis = self.plot.getAxis(side)
            axis.setPen(theme.line)
            axis.setTextPen(theme.text)
            axis.setLabel(words, color=theme.text_dim)
            axis.enableAutoSIPrefix(False)
        seen = np.array([unit.from_kelvin(p.seen_k) for p in calibration.points])
        left = np.array(calibration.residuals_k) * unit.per_kelvin
        doubt = np.array([p.u_k for p in calibration.points]) * unit.per_kelvin
        bars = pg.ErrorBarItem(
            x=seen, y=left, height=2 * doubt, beam=0.5, pen=pg.mkPen(theme.text_dim, width=1)
        )
        self.plot.addItem(bars)
        self.plot.plot(seen, left, pen=None, symbol="o", symbolSize=8, symbolBrush=theme.accent)
        self.plot.addLine(y=0.0, pen=pg.mkPen(theme.line))
        low, high = float(seen.min()) - 5.0, float(seen.max()) + 5.0
        most = float((np.abs(left) + doubt).max()) * 1.3
        self.plot.setRange(xRange=(low, high), yRange=(-most, most), padding=0.02)

    # ---- noise and pixels ------------------------------------------------------------------------

    def _pixels_page(self) -> QWidget:
        page = QWidget()
        layout = column(page, margin=tokens().space)
        self.noise_words = label("", "noiseWords", wrap=True)
        self.pixel_words = label("", "pixelWords", wrap=True)
        self.spread_words = label("", "spreadWords", wrap=True)
        self.stated = named(QCheckBox("the camera is stated to be good to ±"), "accuracyKnown")
        self.accuracy = _number("accuracy", (0.01, 100.0), 2.0, 2)
        self.accuracy.setSuffix(" K")
        self.accuracy.setToolTip("a limit: its standard uncertainty is this by √3 (GUM 4.3.7)")
        self.fill = named(QCheckBox("fill bad pixels from their neighbours"), "fillPixels")
        self.fill.setToolTip("in picture and readings; recordings keep them as they are")
        self.fill.toggled.connect(self._desk.optics.set_repair)
        layout.addWidget(self.noise_words)
        layout.addLayout(row(button("measure the noise", "noiseAct", self._keep_noise), None))
        layout.addWidget(self.pixel_words)
        layout.addLayout(row(button("find bad pixels", "pixelsAct", self._find_pixels), self.fill))
        layout.addWidget(self.spread_words)
        edge = button("on an edge …", "spreadAct", self._measure_edge)
        layout.addLayout(row(edge, button("on a wire …", "wireAct", self._measure_wire), None))
        layout.addLayout(row(self.stated, self.accuracy, None))
        layout.addStretch(1)
        self.stated.clicked.connect(lambda _: self._set_accuracy())
        self.accuracy.editingFinished.connect(self._set_accuracy)
        return page

    def _keep_noise(self) -> None:
        self._desk.optics.measure_noise(
            lambda report, _: self._desk.optics.change_profile(netd_k=report.netd_k)
        )

    def _find_pixels(self) -> None:
        def keep(report: NoiseReport, bad: Mask) -> None:
            flat = tuple(int(place) for place in np.flatnonzero(bad))
            self._desk.optics.change_profile(bad_pixels=flat, netd_k=report.netd_k)

        self._desk.optics.measure_noise(keep)

    def _set_accuracy(self) -> None:
        accuracy_k = self.accuracy.value() / 3.0**0.5 if self.stated.isChecked() else None
        if accuracy_k != self._desk.optics.profile.accuracy_k:
            self._desk.optics.change_profile(accuracy_k=accuracy_k)

    def _show_pixels(self) -> None:
        optics = self._desk.optics
        profile, report = optics.profile, optics.noise
        words = "Noise: not measured; hold the camera still and measure."
        if report is not None:
            words = (
                f"Noise {report.netd_k * 1e3:.0f} mK, drift {report.drift_k_per_min:+.2f} K a "
                f"minute, fixed pattern {report.fixed_pattern_k * 1e3:.0f} mK; seen to fall with "
                f"means of up to {report.knee_frames} frames. Smallest rise to trust now: "
                f"{optics.smallest_rise_k():.2f} K."
            )
        self.noise_words.setText(words)
        self.noise_words.setToolTip("NETD: noise-equivalent temperature difference of one pixel")
        number = len(profile.bad_pixels)
        self.pixel_words.setText(f"Bad pixels known: {number or 'none'}.")
        blocked = self.fill.blockSignals(True)
        self.fill.setChecked(optics.repair)
        self.fill.blockSignals(blocked)
        spread = profile.spread
        self.spread_words.setText(
            "Spread: not measured; small parts cannot be corrected."
            if spread is None
            else f"Spread: {spread.sigma_px:.2f} ± {max(spread.u_px, 0.01):.2f} pixels; "
            "small parts are corrected for it."
        )
        self.stated.setChecked(profile.accuracy_k is not None)
        self.accuracy.setEnabled(profile.accuracy_k is not None)
        if profile.accuracy_k is not None:
            self.accuracy.setValue(profile.accuracy_k * 3.0**0.5)


def _fit_words(calibration: Calibration) -> str:
    kinds = {
        CalibrationKind.OFFSET: "an offset",
        CalibrationKind.LINEAR: "a line",
        CalibrationKind.SAKUMA_HATTORI: "a curve (Sakuma–Hattori)",
    }
    low_k, high_k = calibration.range_k
    return (
        f"Corrected by {kinds[calibration.kind]}, good to "
        f"± {float(calibration.u_k((low_k + high_k) / 2.0)):.2f} K in the middle of the readings; "
        "outside of them 1 % of the distance is added."
    )


def _number(name: str, limits: tuple[float, float], value: float, decimals: int) -> QDoubleSpinBox:
    made = named(QDoubleSpinBox(), name)
    made.setRange(*limits)
    made.setDecimals(decimals)
    made.setSingleStep(10.0**-decimals)
    made.setValue(value)
    return made
