"""How a camera's stream is read, and the controls that its driver offers, while it streams."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QGridLayout,
    QHBoxLayout,
    QScrollArea,
    QSlider,
    QSpinBox,
    QWidget,
)
from shiboken6 import isValid

from thermview.sources.controls import Control, ControlKind
from thermview.sources.knobs import CameraKnobs
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row, tool

NO_SERIAL = "This camera has no serial by which its layout could be kept."
NO_CONTROLS = "The driver offers no controls (they are reached on Linux only)."
LONGEST_SLIDER = 100_000  # a wider range is no use on a slider


class KnobsDialog(QDialog):
    """Stays beside the picture, so that what a control does is seen at once."""

    def __init__(self, desk: Desk, knobs: CameraKnobs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("knobsDialog")
        self.setWindowTitle("the camera's own controls")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._desk, self._knobs = desk, knobs
        self.rows: dict[str, ControlRow] = {}
        self.stream = label("", "knobsStream", wrap=True)
        self.keep = button("keep this layout", "knobsKeep", lambda: self._remember(knobs.keep))
        self.keep.setToolTip("read this very camera so whenever it is opened; known by its serial")
        self.forget = button("guess anew", "knobsForget", lambda: self._remember(knobs.forget))
        self.forget.setToolTip("the layout is guessed from the picture when it is opened next")
        self.words = label("asking the camera …", "knobsWords", "dim", wrap=True)
        self.grid = QGridLayout()
        self.grid.setSpacing(tokens().space)
        self.grid.setColumnStretch(1, 1)
        inside = QWidget()
        inner = column(inside)
        inner.addLayout(self.grid)
        inner.addStretch(1)
        scroll = named(QScrollArea(), "knobsScroll")
        scroll.setWidgetResizable(True)
        scroll.setWidget(inside)
        layout = column(self, margin=2 * tokens().space)
        layout.addWidget(self.stream)
        layout.addLayout(row(self.keep, self.forget, None))
        layout.addWidget(self.words)
        layout.addWidget(scroll, 1)
        layout.addLayout(self._last_row())
        self.resize(520, 480)
        desk.session_changed.connect(self.reject)
        self._show_stream()
        self.read()

    def _last_row(self) -> QHBoxLayout:
        shutter = button("work the shutter", "knobsShutter", self._work_shutter)
        shutter.setEnabled(self._knobs.has_shutter)
        shutter.setToolTip(
            "closes it for a moment: the camera's offset is set anew"
            if self._knobs.has_shutter
            else "this camera's layout names no control that works a shutter"
        )
        usual = button("all as they come", "knobsUsual", self._all_usual)
        usual.setToolTip("every control back to its default")
        return row(shutter, usual, None, button("close", "knobsClose", self.accept, role="primary"))

    # ---- the stream ---------------------------------------------------------------------------

    def _remember(self, act: Callable[[], object]) -> None:
        self._desk.attempt(act)
        self._show_stream()

    def _show_stream(self) -> None:
        knobs = self._knobs
        words = [f"Stream layout {knobs.layout}: {knobs.reason}."]
        words += [NO_SERIAL] if not knobs.serial else []
        self.stream.setText("\n".join(words))
        kept = self._desk.attempt(lambda: knobs.is_kept) or False
        self.keep.setEnabled(bool(knobs.serial) and not kept)
        self.keep.setText("layout kept" if kept else "keep this layout")
        self.forget.setEnabled(kept)

    # ---- the controls -------------------------------------------------------------------------

    def read(self) -> None:
        """Ask the camera for its controls, in the background; then show them."""
        found: list[tuple[Control, ...]] = []

        def take() -> None:
            if found:
                self._show(found[0])
            else:
                self.words.setText("The camera does not tell its controls now.")

        self._aside(
            "reading the camera's controls", lambda: found.append(self._knobs.controls()), take
        )

    def _aside(self, words: str, work: Callable[[], object], then: Callable[[], object]) -> None:
        self._desk.run_aside(words, work, lambda: then() if isValid(self) else None)

    def _show(self, controls: tuple[Control, ...]) -> None:
        self.words.setText("" if controls else NO_CONTROLS)
        self.words.setVisible(not controls)
        for line, control in enumerate(controls):
            made = self.rows.get(control.name)
            if made is None:
                made = self.rows[control.name] = ControlRow(control, self._set)
                self.grid.addWidget(label(control.name, f"knobName_{control.name}"), line, 0)
                self.grid.addWidget(made, line, 1)
            made.show_value(control)

    def _set(self, name: str, value: int) -> None:
        """Set a control; others may then be free or barred, so that all are read again."""
        self._aside(f"setting {name}", lambda: self._knobs.set(name, value), self.read)

    def _work_shutter(self) -> None:
        self._aside("working the shutter", self._knobs.work_shutter, self.read)

    def _all_usual(self) -> None:
        def work() -> None:
            for control in self._knobs.controls():
                if control.kind is not ControlKind.BUTTON and control.value != control.usual:
                    now = {c.name: c for c in self._knobs.controls()}[control.name]
                    if now.settable:
                        self._knobs.set(control.name, control.usual)

        self._aside("setting the controls back", work, self.read)


class ControlRow(QWidget):
    """One control: what sets it, by its kind, and the way back to its default."""

    def __init__(self, control: Control, changed: Callable[[str, int], None]) -> None:
        super().__init__()
        self._control, self._changed = control, changed
        self.slider: QSlider | None = None
        self.number: QSpinBox | None = None
        self.switch: QCheckBox | None = None
        self.choice: QComboBox | None = None
        self.usual = tool(
            "restore", f"knobUsual_{control.name}", lambda: self._take(control.usual), tip="default"
        )
        line = row()
        line.setContentsMargins(0, 0, 0, 0)
        match control.kind:
            case ControlKind.NUMBER:
                self._add_number(line)
            case ControlKind.SWITCH:
                self.switch = named(QCheckBox(), f"knob_{control.name}")
                self.switch.clicked.connect(lambda on: self._take(int(on)))
                line.addWidget(self.switch, 1)
            case ControlKind.CHOICE:
                self.choice = named(QComboBox(), f"knob_{control.name}")
                for value, words in control.choices:
                    self.choice.addItem(words, value)
                self.choice.activated.connect(lambda _: self._take(self._chosen()))
                line.addWidget(self.choice, 1)
            case ControlKind.BUTTON:
                act = button(
                    "do it", f"knob_{control.name}", lambda: self._changed(control.name, 1)
                )
                line.addWidget(act)
                line.addStretch(1)
        if control.kind is not ControlKind.BUTTON:
            line.addWidget(self.usual)
        self.setLayout(line)

    def _add_number(self, line: QHBoxLayout) -> None:
        control = self._control
        step = max(control.step, 1)
        self.number = named(QSpinBox(), f"knob_{control.name}")
        self.number.setRange(control.minimum, control.maximum)
        self.number.setSingleStep(step)
        self.number.setKeyboardTracking(False)
        self.number.valueChanged.connect(self._take)
        if control.maximum - control.minimum <= LONGEST_SLIDER:
            self.slider = named(QSlider(Qt.Orientation.Horizontal), f"knobSlider_{control.name}")
            self.slider.setRange(control.minimum, control.maximum)
            self.slider.setSingleStep(step)
            self.slider.setTracking(False)
            self.slider.valueChanged.connect(self._take)
            line.addWidget(self.slider, 1)
        line.addWidget(self.number)

    def _chosen(self) -> int:
        assert self.choice is not None
        return int(self.choice.currentData())

    def _take(self, value: int) -> None:
        step = max(self._control.step, 1)
        low = self._control.minimum
        fitting = low + round((value - low) / step) * step
        if fitting != self._control.value:
            self._changed(self._control.name, fitting)

    def show_value(self, control: Control) -> None:
        """Show how the control stands, and whether it can be changed now."""
        self._control = control
        self.setEnabled(control.settable)
        self.setToolTip("" if control.settable else "another control sets this one now")
        value = control.value if control.value is not None else control.usual
        self.usual.setEnabled(control.settable and value != control.usual)
        self.usual.setToolTip(f"default: {control.usual}")
        for made in (self.slider, self.number):
            if made is not None:
                with QSignalBlocker(made):
                    made.setValue(value)
        if self.switch is not None:
            self.switch.setChecked(bool(value))
        if self.choice is not None:
            self.choice.setCurrentIndex(self.choice.findData(value))
