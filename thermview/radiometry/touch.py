"""What may be said about touching a surface. Never that it is safe.

Contact times are burn *thresholds* for bare metal as remembered from ISO 13732-1 (from memory);
they are not limits, and no reading here replaces the usual care and the local code.
"""

from __future__ import annotations

import math
from typing import Final

from thermview.radiometry.uncertainty import Reading

BURN_THRESHOLDS_METAL: Final = ((1.0, 338.15), (10.0, 328.15), (60.0, 324.15), (600.0, 321.15))
"""(contact s, K) of bare metal: 65, 55, 51, 48 °C; ISO 13732-1, from memory."""

METAL_NOTE: Final = (
    "Bare metal mirrors its surroundings: it looks cool however hot it is. "
    "Take no cool-looking metal for safe to touch."
)


def touch_caution(reading: Reading, *, shiny: bool) -> str:
    """Return what to say about touching what was read; empty: nothing, and never "safe".

    Parameters
    ----------
    reading : Reading
        Of the object's temperature. Its upper end counts, not its value.
    shiny : bool
        It is bare metal or marked in the shiny map.
    """
    if shiny or not reading.readable:
        return METAL_NOTE if shiny else "Not readable: it may be hot."
    if math.isnan(reading.high_k):
        return "Not readable: it may be hot."
    for seconds, threshold_k in BURN_THRESHOLDS_METAL:
        if reading.high_k >= threshold_k:
            touch = "a touch" if seconds <= 1.0 else f"{seconds:g} s of touch"
            return f"Hot: {touch} may burn (up to {reading.high_k - 273.15:.0f} °C)."
    return ""
