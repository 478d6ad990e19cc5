"""What a reading is worth, in words and digits: no digit stands that the reading has not earned."""

from __future__ import annotations

import math

from thermview.radiometry import Reading
from thermview.radiometry.coverage import MANY_FREEDOMS
from thermview.session.worth import NO_VALUE, NO_ZERO
from thermview.ui.display import DASH, Display
from thermview.units import decimals_of

NOT_READABLE = "not readable"


def number_text(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return the number with its unit, a dash where there is none, `not readable` where refused."""
    if not reading.readable:
        return NOT_READABLE if is_refused(reading) else DASH
    shown = display.difference(reading.value_k) if rise else display.temperature(reading.value_k)
    return _signed(
        shown, _decimals(reading, display, rise=rise), rise=rise, unit=_unit(display, rise)
    )


def doubt_text(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return the standard uncertainty, ``± 0.6``, in the unit of the number; empty without one."""
    if not reading.readable or display.relative:
        return ""
    u = display.difference(reading.u_k)
    decimals = _decimals(reading, display, rise=rise)
    least = 10.0**-decimals
    return f"± {max(u, least):.{decimals}f}"


def worth_text(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return number, standard uncertainty and unit: ``41.2 ± 0.6 °C``."""
    bare = bare_text(reading, display, rise=rise)
    unit = _unit(display, rise)
    return f"{bare} {unit}".rstrip() if reading.readable else bare


def bare_text(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return number and standard uncertainty without the unit: ``41.2 ± 0.6``."""
    if not reading.readable:
        return NOT_READABLE if is_refused(reading) else DASH
    number = number_text(reading, display, rise=rise).removesuffix(_unit(display, rise)).strip()
    return f"{number} {doubt_text(reading, display, rise=rise)}".rstrip()


def is_refused(reading: Reading) -> bool:
    """Tell whether there was something to read that must not be shown."""
    return not reading.readable and reading.reason not in (NO_VALUE, NO_ZERO)


def origin_words(reading: Reading) -> str:
    """Return what the uncertainty mostly comes from, for a tool tip."""
    if not reading.readable:
        return reading.reason
    if reading.dominant in ("noise", "camera"):
        return f"mostly the camera's {'noise' if reading.dominant == 'noise' else 'own error'}"
    return f"mostly {reading.dominant}"


def interval_words(reading: Reading, display: Display, *, rise: bool = False) -> str:
    """Return the 95 % interval and what it rests on, for a tool tip; empty without one."""
    if not reading.readable or display.relative or not math.isfinite(reading.high_k):
        return ""
    shown = display.difference if rise else display.temperature
    decimals = _decimals(reading, display, rise=rise)
    low, high = (
        _signed(shown(k), decimals, rise=rise, unit="") for k in (reading.low_k, reading.high_k)
    )
    freedom = reading.freedom
    rests = f", {freedom:.0f} degrees of freedom" if freedom < MANY_FREEDOMS else ""
    return f"95 %: {low} … {high} {_unit(display, rise)} (factor {reading.factor:.2f}{rests})"


def _decimals(reading: Reading, display: Display, *, rise: bool) -> int:
    return 0 if display.relative else decimals_of(display.difference(reading.u_k), rise=rise)


def _unit(display: Display, rise: bool) -> str:
    return display.difference_symbol if rise else display.symbol


def _signed(number: float, decimals: int, *, rise: bool, unit: str) -> str:
    number = round(number, decimals) + 0.0  # no minus before a zero
    text = f"{number:{'+' if rise else ''}.{decimals}f}".replace("-", "−")
    return f"{text} {unit}".rstrip()
