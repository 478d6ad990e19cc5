"""What is laid over the picture in place of its colours: where the heat comes from."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from thermview.analysis.heat.locate import Suspect
from thermview.analysis.heat.nature import Nature
from thermview.errors import UsageError
from thermview.ui.display import View

if TYPE_CHECKING:
    from thermview.ui.desk import Desk


class Layer(Enum):
    """What the picture's colours mean where they are not those of its own view."""

    NONE = ""
    SOURCES = "heat sources"
    AMPLITUDE = "pulse test: amplitude"
    DELAY = "pulse test: delay"


class Layers(QObject):
    """Which layer is shown; one key goes through picture, rise and all layers that there are."""

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self._shown = Layer.NONE
        desk.findings.changed.connect(self._check)
        desk.findings.pulse.changed.connect(self._check)

    @property
    def shown(self) -> Layer:
        """Return the layer on the picture."""
        return self._shown

    @property
    def available(self) -> tuple[Layer, ...]:
        """Return the layers that hold something now."""
        found = [Layer.SOURCES] if self.sources() else []
        if self._desk.findings.pulse.found is not None:
            found += [Layer.AMPLITUDE, Layer.DELAY]
        return tuple(found)

    def sources(self) -> tuple[Suspect, ...]:
        """Return the parts that heat, the strongest last, so that it is drawn over the others."""
        located = self._desk.findings.located
        found = located.suspects if located is not None else ()
        heating = [s for s in found if s.nature is Nature.HEATING and s.power_w > 0]
        return tuple(sorted(heating, key=lambda suspect: suspect.power_w))

    def show(self, layer: Layer) -> None:
        """Show a layer, or none.

        Raises
        ------
        UsageError
            It holds nothing yet.
        """
        if layer is not Layer.NONE and layer not in self.available:
            lacking = "no heat source is known yet; the findings say what is lacking"
            if layer is not Layer.SOURCES:
                lacking = "a pulse test needs a pulsed supply: state its period in the menu"
            raise UsageError(lacking)
        if layer is not self._shown:
            self._shown = layer
            self.changed.emit()

    def next(self) -> None:
        """Go on: temperature, rise, each layer that there is, temperature again."""
        display = self._desk.display
        stops: list[tuple[View, Layer]] = [(View.TEMPERATURE, Layer.NONE)]
        if display.baseline_k is not None:
            stops.append((View.RISE, Layer.NONE))
        stops += [(stops[-1][0], layer) for layer in self.available]
        now = (display.view, self._shown)
        if self._shown is not Layer.NONE:  # the view behind a layer does not matter
            now = next((stop for stop in stops if stop[1] is self._shown), stops[0])
        view, layer = stops[(stops.index(now) + 1) % len(stops)] if now in stops else stops[0]
        self.show(layer)
        if view is not display.view:
            display.set_view(view)
        elif len(stops) == 1:
            display.set_view(View.RISE)  # says what is lacking

    def _check(self) -> None:
        """Leave a layer that has become empty."""
        if self._shown is not Layer.NONE and self._shown not in self.available:
            self.show(Layer.NONE)
        elif self._shown is not Layer.NONE:
            self.changed.emit()
