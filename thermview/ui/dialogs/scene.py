"""What is known of the scene: it turns apparent temperatures into those of the surfaces."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QDialog, QDoubleSpinBox, QFileDialog, QGridLayout, QWidget

from thermview.frames import Scene
from thermview.radiometry import ASSUMED_REFLECTED_K, ResponseCurve
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

WORDS = (
    "Holds for the whole picture, where a region does not state its own. Without an emissivity all "
    "numbers are apparent: right for black tape and matt parts, wrong for bare metal."
)


class SceneDialog(QDialog):
    """Emissivity, what is mirrored, window and air, each maybe unknown; the camera's band."""

    def __init__(self, desk: Desk, scene: Scene, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("sceneDialog")
        self.setWindowTitle("scene")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk, self._scene = desk, scene
        unit = desk.display.unit
        reflected_k = scene.reflected_k if scene.reflected_k is not None else ASSUMED_REFLECTED_K
        self._grid = QGridLayout()
        self._grid.setSpacing(tokens().space)
        self.emissivity = self._field(
            "emissivity", "emissivity", (0.01, 1.0), scene.emissivity, 0.95
        )
        self.reflected = self._field(
            "reflected",
            f"what is mirrored, {unit.symbol}",
            (-273.0, 3000.0),
            None if scene.reflected_k is None else unit.from_kelvin(reflected_k),
            unit.from_kelvin(reflected_k),
        )
        self.window_ = self._field(
            "window", "transmission of a window", (0.01, 1.0), scene.window_transmission, 1.0
        )
        self.air_ = self._field(
            "air", "transmission of the air", (0.01, 1.0), scene.air_transmission, 1.0
        )
        air_k = ASSUMED_REFLECTED_K if scene.air_k is None else scene.air_k
        self.warmth = self._field(
            "airWarmth",
            f"temperature of air and window, {unit.symbol}",
            (-273.0, 3000.0),
            None if scene.air_k is None else unit.from_kelvin(air_k),
            unit.from_kelvin(air_k),
        )
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(label("Scene", "sceneTitle", "title"))
        layout.addWidget(label(WORDS, "sceneWords", "dim", wrap=True))
        layout.addLayout(self._grid)
        self.response = scene.response
        self.band_words = label("", "sceneBand", "dim", wrap=True)
        self.low = self._limit("sceneBandLow", scene.band_um[0])
        self.high = self._limit("sceneBandHigh", scene.band_um[1])
        self._curve = button("response curve (CSV) …", "sceneResponse", self._load)
        self._flat = button("between limits", "sceneFlat", self._forget)
        band = label("the camera's band, µm", "sceneBandWords")
        layout.addLayout(row(band, None, self.low, self.high))
        layout.addWidget(self.band_words)
        layout.addLayout(row(None, self._curve, self._flat))
        self._show_band()
        layout.addLayout(
            row(
                None,
                button("cancel", "sceneCancel", self.reject),
                button("use", "sceneUse", self._use, role="primary"),
            )
        )
        self.resize(480, self.sizeHint().height())

    def _field(
        self, name: str, words: str, limits: tuple[float, float], value: float | None, usual: float
    ) -> tuple[QCheckBox, QDoubleSpinBox]:
        """Add a line: ticked where the value is known."""
        known = named(QCheckBox(words), f"scene_{name}_known")
        field = named(QDoubleSpinBox(), f"scene_{name}")
        field.setRange(*limits)
        field.setDecimals(2)
        field.setSingleStep(0.01 if limits[1] <= 1.0 else 1.0)
        field.setValue(usual if value is None else value)
        known.setChecked(value is not None)
        field.setEnabled(value is not None)
        known.toggled.connect(field.setEnabled)
        line = self._grid.rowCount()
        self._grid.addWidget(known, line, 0)
        self._grid.addWidget(field, line, 1)
        return known, field

    def _limit(self, name: str, value: float) -> QDoubleSpinBox:
        field = named(QDoubleSpinBox(), name)
        field.setRange(0.5, 50.0)
        field.setDecimals(2)
        field.setSingleStep(0.5)
        field.setValue(value)
        return field

    def _load(self) -> None:
        """Take the camera's response from a table of wavelengths (µm) and responses."""
        name, _ = QFileDialog.getOpenFileName(self, "response curve", "", "table (*.csv)")
        curve = self._desk.attempt(lambda: ResponseCurve.load(Path(name))) if name else None
        if curve is not None:
            self.response = (curve.wavelength_um, curve.response)
        self._show_band()

    def _forget(self) -> None:
        self.response = None
        self._show_band()

    def _show_band(self) -> None:
        curve = self.response
        for field in (self.low, self.high):
            field.setEnabled(curve is None)
        self._flat.setVisible(curve is not None)
        words = "equally sensitive between the limits"
        if curve is not None:
            words = f"by a curve of {len(curve[0])} points, {curve[0][0]:g} to {curve[0][-1]:g} µm"
        self.band_words.setText(words)

    def scene(self) -> Scene:
        """Return the scene as it stands in the fields."""

        def value(line: tuple[QCheckBox, QDoubleSpinBox]) -> float | None:
            known, field = line
            return field.value() if known.isChecked() else None

        reflected, air = value(self.reflected), value(self.warmth)
        unit = self._desk.display.unit
        return replace(
            self._scene,
            emissivity=value(self.emissivity),
            reflected_k=None if reflected is None else unit.to_kelvin(reflected),
            window_transmission=value(self.window_),
            air_transmission=value(self.air_),
            air_k=None if air is None else unit.to_kelvin(air),
            band_um=self._limits(),
            response=self.response,
        )

    def _limits(self) -> tuple[float, float]:
        """Return the band's limits; as they were where the fields do not rise."""
        low, high = self.low.value(), self.high.value()
        return (low, high) if low < high else self._scene.band_um

    def _use(self) -> None:
        session = self._desk.session
        if session is not None:
            scene = self.scene()
            if scene.reflected_k != self._scene.reflected_k:
                scene = replace(scene, reflected_u_k=None)  # that was of another value
            self._desk.attempt(lambda: self._desk.optics.set_scene(scene))
        self.accept()
