"""Numbers as people read them: in the unit that was chosen, with its sign."""

from __future__ import annotations

import numpy as np

from thermview.ui.viewscale import View
from thermview.units import TemperatureUnit

DASH = "–"
"""What stands where there is no number."""


class Numbers:
    """Turns kelvin into what is shown; unit and view are the display's."""

    @property
    def unit(self) -> TemperatureUnit:
        """Return the unit of temperatures and differences."""
        raise NotImplementedError

    @property
    def view(self) -> View:
        """Return what the present axis counts."""
        raise NotImplementedError

    @property
    def relative(self) -> bool:
        """Tell whether the source gives brightness only: what is called K is counts then."""
        raise NotImplementedError

    @property
    def symbol(self) -> str:
        """Return the sign after a temperature; empty for brightness."""
        return "" if self.relative else self.unit.symbol

    @property
    def difference_symbol(self) -> str:
        """Return the sign after a difference; empty for brightness."""
        return "" if self.relative else self.unit.difference_symbol

    @property
    def quantity(self) -> str:
        """Return what the axis shows, in words: temperature, rise, brightness …"""
        if self.relative:
            return "brightness" if self.view is View.TEMPERATURE else "change of brightness"
        return self.view.value

    @property
    def level_symbol(self) -> str:
        """Return the sign after a level of the present view's axis."""
        return self.difference_symbol if self.view is View.RISE else self.symbol

    def temperature(self, kelvin: float) -> float:
        """Convert an absolute temperature, K, to the number shown (brightness stays counts)."""
        return kelvin if self.relative else self.unit.from_kelvin(kelvin)

    def difference(self, difference_k: float) -> float:
        """Convert a difference, K, to the number shown (brightness stays counts)."""
        return difference_k if self.relative else difference_k * self.unit.per_kelvin

    def level(self, level_k: float) -> float:
        """Convert a level of the present view's axis, K, to the number shown."""
        rise = self.view is View.RISE
        return self.difference(level_k) if rise else self.temperature(level_k)

    def level_k(self, shown: float) -> float:
        """Convert a number shown on the present view's axis to its level, K."""
        zero, one = self.level(0.0), self.level(1.0)
        return (shown - zero) / (one - zero)

    def temperature_text(self, kelvin: float) -> str:
        """Return a temperature, K, as people read it: ``41.2 °C``; a dash without a number."""
        return self._text(self.temperature(kelvin), self.symbol, "")

    def difference_text(self, difference_k: float) -> str:
        """Return a difference, K, as people read it: ``+1.8 K``; a dash without a number."""
        shown = self.difference(difference_k)
        decimals = 2 if abs(shown) < 1.0 else 1  # faint rises are told in hundredths
        return self._text(shown, self.difference_symbol, "+", decimals)

    def level_text(self, level_k: float) -> str:
        """Return a level of the present view's axis, K, as people read it."""
        rise = self.view is View.RISE
        return self.difference_text(level_k) if rise else self.temperature_text(level_k)

    def _text(self, number: float, symbol: str, sign: str, decimals: int = 1) -> str:
        if not np.isfinite(number):
            return DASH
        number = round(number, 0 if self.relative else decimals) + 0.0  # no minus before a zero
        text = f"{number:{sign}.{0 if self.relative else decimals}f}".replace("-", "−")
        return f"{text} {symbol}".rstrip()
