"""The pulse test over a session's footage: taken on as it grows, and what it will show when."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from thermview.analysis.lockin import (
    FEWEST_PERIODS,
    Harmonic,
    LockIn,
    amplitude_k_per_w,
    smallest_power_w,
)
from thermview.analysis.prepare import Looks
from thermview.errors import InputError
from thermview.frames import Footage
from thermview.session.finding import Window

PART_M2 = 1.6e-3 * 0.8e-3
"""Of the part that a limit is stated for: as large as an 0603."""
EARLIER = 0.7
SHOWN = 0.6
"""So much of it a pixel of half a millimetre shows: 0.8 of an 0805, a third of an 0402."""


@dataclass(frozen=True, slots=True, eq=False)
class Pulsed:
    """What a pulse test knows by now.

    Attributes
    ----------
    harmonic : Harmonic
    period_s, span_s : float
        Of the supply; from the first frame taken to the last.
    least_w : float
        About which pulsed power of a small part shows by now, W, on a usual board.
    stays : float
        Share of that which more time will not take away: drift, not the camera's noise.
    """

    harmonic: Harmonic
    period_s: float
    span_s: float
    least_w: float
    stays: float = 0.0


class PulseTest:
    """One pulse test: a period from a moment on.

    Parameters
    ----------
    window : Window
        With `power_on_s` and `period_s`.
    """

    def __init__(self, window: Window) -> None:
        assert window.period_s is not None
        on_s = window.power_on_s if window.power_on_s is not None else window.start_s
        self.period_s, self.on_s = window.period_s, on_s
        self._lock_in = LockIn(self.period_s, on_s)
        self._gain = SHOWN * amplitude_k_per_w(self.period_s, PART_M2)
        self._next, self._segment, self._gap = -1, 0, False
        self._looks = Looks()
        self._before: list[tuple[float, float]] = []

    def advance(
        self, footage: Footage, until_s: float, told: Callable[[int, int], None]
    ) -> Pulsed | None:
        """Take the frames that have come since, up to a moment; return what is known then.

        Raises
        ------
        UsageError
            Too few frames a period.
        """
        times_s = footage.times_s
        if self._next < 0:
            self._next = int(np.searchsorted(times_s, self.on_s))
        stop = int(np.searchsorted(times_s, until_s, side="right"))
        first = max(self._next, footage.first)
        for number in range(first, stop):
            told(number - first, stop - first)
            try:
                frame = footage.frame(number)
            except InputError:  # let go of meanwhile: a gap like the shutter's
                frame = None
            if frame is None:
                self._gap = True
            elif self._looks.new(frame, float(times_s[number])):
                self._segment += self._gap or self._looks.gap
                self._gap = False
                self._lock_in.take(frame.kelvin(), float(times_s[number]), self._segment)
        self._next = max(self._next, stop)
        return self._result()

    def _result(self) -> Pulsed | None:
        if self._lock_in.periods < FEWEST_PERIODS:
            return None
        found = self._lock_in.result()
        span_s = found.periods * self.period_s
        noise_k = float(np.median(found.noise_k))
        least_w = smallest_power_w(noise_k, self._gain, 1.0)
        return Pulsed(found, self.period_s, span_s, least_w, self._stays(span_s, noise_k))

    def _stays(self, span_s: float, noise_k: float) -> float:
        """Return which share of the noise stays, from how it fell since about half of the time.

        The squared noise is a/t + b: the camera's, which averages away, and drift's, which does
        not, for it moves the farther the longer it lasts.
        """
        earlier = [one for one in self._before if one[0] <= EARLIER * span_s]
        self._before.append((span_s, noise_k))
        if not earlier:
            return 0.0
        then_s, then_k = earlier[-1]
        kept = (noise_k**2 * span_s - then_k**2 * then_s) / (span_s - then_s)
        return math.sqrt(min(max(kept, 0.0), noise_k**2)) / noise_k


def later_power_w(found: Pulsed, more_s: float) -> float:
    """Return what will show after `more_s`: the camera's noise falls with the root of the time."""
    falls = found.span_s / (found.span_s + more_s)
    return found.least_w * math.sqrt(falls * (1.0 - found.stays**2) + found.stays**2)
