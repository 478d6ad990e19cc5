"""What a board that is filmed now is doing, and whether to compare it anew."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.session.finding import Cycle

NO_PICTURES = "no new pictures from the camera; it goes on when they come"
AGAIN_S = 3.0
"""Of new pictures, before it is compared anew."""
LEAST_ON_S = 5.0
"""A warm-up of less tells little."""


def live_state(
    cycle: Cycle | None,
    times_s: NDArray[np.float64],
    before: tuple[float, float] | None,
    until_s: float | None,
) -> tuple[str, bool]:
    """Return what is going on, in words, and whether to compare now.

    Parameters
    ----------
    cycle : Cycle or None
        The newest time that the power came on.
    times_s : ndarray, shape (frame,)
    before : (float, float) or None
        Power-on and the last picture of the comparison before, s.
    until_s : float or None
        How long after power-on its answer reaches; None without one.
    """
    fresh = before is None or cycle is None or before[0] != cycle.on_s
    if cycle is None or not len(times_s) or (cycle.off_s is not None and fresh):
        return "switch the board on, or press P when its power comes", False
    if cycle.off_s is not None:
        return "the power is off: this is how the boards compared", False
    last_s = float(times_s[-1])
    on_for_s = last_s - cycle.on_s
    if on_for_s < LEAST_ON_S:
        return "the board is warming up …", False
    if before is None or fresh:
        return "comparing while it warms …", True
    if until_s is not None and until_s < before[1] - cycle.on_s - 1.0:
        return "compared over all of the known-good recording", False
    return f"comparing while it warms: {on_for_s:.0f} s", last_s - before[1] >= AGAIN_S
