"""Notices a camera that rescales its own picture, so that counts stop meaning the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts

_STRIDE = 4  # one pixel in 16 is looked at
_STRETCHED_FRAMES = 20
_NOISES = 12.0
_QUIET_FRAMES = 50


class RescalingWatch:
    """Looks at every frame and says when the camera's own scaling shows.

    Two signs. *Stretched*: half a hundredth of the pixels and more lie at each end of the 8-bit
    range for 20 frames on end, which a fixed scale hardly does (our rule, no source). *Jump*: the
    whole picture moved between two frames, by far more than its noise, and alike:
    next = gain × last + step with a small remainder. Cameras do this when their gain adapts or
    their shutter acts.
    """

    def __init__(self, *, eight_bit: bool) -> None:
        self._eight_bit = eight_bit
        self._last: NDArray[np.float64] | None = None
        self._remainders: list[float] = []
        self._stretched = 0
        self._quiet = 0

    def look(self, counts: Counts, time_s: float) -> list[str]:
        """Return what there is to say after this frame, mostly nothing."""
        pixels = counts[::_STRIDE, ::_STRIDE].astype(np.float64)
        words = self._stretch(counts) if self._eight_bit else []
        if self._last is not None:
            words += self._jump(self._last, pixels, time_s)
        self._last = pixels
        return words

    def _stretch(self, counts: Counts) -> list[str]:
        few = counts.size / 200
        at_ends = min(np.count_nonzero(counts <= 2), np.count_nonzero(counts >= 253))
        self._stretched = self._stretched + 1 if at_ends > few else 0
        if self._stretched != _STRETCHED_FRAMES:
            return []
        return [
            "the camera stretches its picture over the whole range: brightness does not compare "
            "from one moment to the next"
        ]

    def _jump(
        self, last: NDArray[np.float64], pixels: NDArray[np.float64], time_s: float
    ) -> list[str]:
        self._quiet -= 1
        gain, step, remainder = _fit(last, pixels)
        usual = float(np.median(self._remainders)) if len(self._remainders) >= 5 else None
        self._remainders = [*self._remainders[-14:], max(remainder, 0.3)]
        if usual is None or self._quiet > 0:
            return []
        moved = abs((gain - 1) * float(np.median(last)) + step)
        spread = abs(gain - 1) * float(last.std())
        if max(moved, spread) < _NOISES * usual or remainder > 3 * usual:
            return []
        self._quiet = _QUIET_FRAMES
        return [
            f"at {time_s:.2f} s the whole picture jumped by {moved:.0f} counts (gain {gain:.2f}): "
            "the camera's shutter or its own rescaling; before and after do not compare"
        ]


def _fit(last: NDArray[np.float64], pixels: NDArray[np.float64]) -> tuple[float, float, float]:
    """Fit pixels = gain × last + step; return both and the robust remainder, counts."""
    x, y = last.ravel(), pixels.ravel()
    spread = float(x.var())
    gain = float(np.mean((x - x.mean()) * (y - y.mean())) / spread) if spread > 0 else 1.0
    step = float(y.mean() - gain * x.mean())
    remainder = 1.4826 * float(np.median(np.abs(y - gain * x - step)))
    return gain, step, remainder
