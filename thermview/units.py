"""Temperatures as people read them. Inside the program they are kelvin, always."""

from __future__ import annotations

import math
from enum import Enum

from thermview.errors import UsageError

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin, exact by definition (SI Brochure, 9th ed., section 2.3.1)."""


class TemperatureUnit(Enum):
    """A unit for showing temperatures; a difference has the unit's size but not its zero."""

    CELSIUS = "C"
    KELVIN = "K"
    FAHRENHEIT = "F"

    @property
    def symbol(self) -> str:
        """Return the sign that follows a temperature, such as ``°C``."""
        return "K" if self is TemperatureUnit.KELVIN else f"°{self.value}"

    @property
    def difference_symbol(self) -> str:
        """Return the sign that follows a difference: ``K``, or ``°F``."""
        return "°F" if self is TemperatureUnit.FAHRENHEIT else "K"

    @property
    def per_kelvin(self) -> float:
        """Return how many of this unit make one kelvin of difference."""
        return 1.8 if self is TemperatureUnit.FAHRENHEIT else 1.0

    def from_kelvin(self, kelvin: float) -> float:
        """Convert an absolute temperature in K to this unit."""
        if self is TemperatureUnit.KELVIN:
            return kelvin
        celsius = kelvin - ZERO_CELSIUS_K
        return celsius if self is TemperatureUnit.CELSIUS else celsius * 1.8 + 32.0

    def to_kelvin(self, value: float) -> float:
        """Convert an absolute temperature in this unit to K."""
        if self is TemperatureUnit.KELVIN:
            return value
        celsius = value if self is TemperatureUnit.CELSIUS else (value - 32.0) / 1.8
        return celsius + ZERO_CELSIUS_K

    @classmethod
    def parse(cls, text: str) -> TemperatureUnit:
        """Read ``C``, ``K``, ``F``, ``°C`` … in any case.

        Raises
        ------
        UsageError
            The text names no temperature unit.
        """
        try:
            return cls(text.strip().removeprefix("°").upper())
        except ValueError:
            raise UsageError(f"{text!r} is not a temperature unit; give C, K or F") from None


def celsius_from_kelvin(kelvin: float) -> float:
    """Convert K to °C."""
    return kelvin - ZERO_CELSIUS_K


def kelvin_from_celsius(celsius: float) -> float:
    """Convert °C to K."""
    return celsius + ZERO_CELSIUS_K


def decimals_of(u: float, *, rise: bool) -> int:
    """Return how many decimals a number of this standard uncertainty deserves: two digits of it.

    A temperature never has more than one, a rise never more than two.
    """
    if not math.isfinite(u) or u <= 0.0:
        return 1
    earned = 1 - math.floor(math.log10(u))
    return min(max(earned, 0), 2 if rise else 1)


def watts_text(power_w: float) -> str:
    """Return a power in three digits: ``53.2 mW``."""
    return f"{power_w:.3g} W" if power_w >= 0.9995 else f"{power_w * 1e3:.3g} mW"


def power_text(power_w: float, sigma_w: float) -> str:
    """Return a power with its standard uncertainty: ``33 ± 8 mW``; digits as far as they tell."""
    unit, scale = ("W", 1.0) if power_w >= 0.9995 else ("mW", 1e3)
    if unit == "mW" and power_w < 0.9995e-3 and sigma_w < 0.9995e-3:
        unit, scale = "µW", 1e6
    power, sigma = power_w * scale, sigma_w * scale
    digits = 2 if sigma < 0.195 else 1 if sigma < 1.95 else 0
    return f"{power:.{digits}f} ± {sigma:.{digits}f} {unit}"
