"""The one-minute check of a camera before its numbers are believed: common practice, no source.

Four questions: does it deliver more than brightness, has it warmed up, is it in focus, does a hand
look like a hand?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Frame
from thermview.radiometry.noise import NoiseReport
from thermview.radiometry.planck import Floats
from thermview.radiometry.size import Spread

HAND_K: Final = (303.15, 309.15)
"""A bare palm, 30 to 36 °C, about 33 (common practice, no source)."""
WARM_DRIFT_K_PER_MIN: Final = 0.2
"""A camera that drifts faster is still warming up (common practice, no source)."""
SHARP_PX: Final = 1.2
_SHADES_OF_BRIGHTNESS = 256


class Verdict(Enum):
    """Answer to one question."""

    GOOD = "good"
    BAD = "bad"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One question, its answer, and what to do."""

    question: str
    verdict: Verdict
    words: str


def check_depth(frames: Sequence[Frame]) -> CheckItem:
    """Tell whether the counts carry temperature or only 256 shades of brightness."""
    question = "more than brightness?"
    if not frames:
        return CheckItem(question, Verdict.UNKNOWN, "no frame came yet")
    if frames[0].scale.relative:
        return CheckItem(question, Verdict.BAD, "brightness only: choose the 16-bit format")
    if frames[0].counts.dtype != np.uint16:
        return CheckItem(question, Verdict.GOOD, "temperatures as decimal numbers")
    stack = np.stack([frame.counts for frame in frames])
    shades = len(np.unique(stack))
    step = int(np.gcd.reduce(np.unique(stack - stack.min())))
    if shades <= _SHADES_OF_BRIGHTNESS and (step > 1 or int(np.ptp(stack)) < 256):
        if int(stack.max()) < _SHADES_OF_BRIGHTNESS or step >= _SHADES_OF_BRIGHTNESS:
            return CheckItem(
                question, Verdict.BAD, f"only {shades} shades: 8 bit in 16-bit clothes"
            )
        if step > 1:
            return CheckItem(
                question, Verdict.UNKNOWN, f"counts come in steps of {step}; look at a warm cup"
            )
    return CheckItem(question, Verdict.GOOD, f"{shades} differing counts")


def check_warm(report: NoiseReport | None) -> CheckItem:
    """Tell from still frames whether the camera has stopped drifting."""
    question = "warmed up?"
    if report is None:
        return CheckItem(question, Verdict.UNKNOWN, "hold the camera still for some seconds")
    drift = report.drift_k_per_min
    if abs(drift) > WARM_DRIFT_K_PER_MIN:
        return CheckItem(question, Verdict.BAD, f"drifts {drift:+.2f} K a minute: wait a while")
    return CheckItem(question, Verdict.GOOD, f"drifts {drift:+.2f} K a minute")


def check_focus(spread: Spread | None) -> CheckItem:
    """Tell from the measured spread whether the picture is in focus."""
    question = "in focus?"
    if spread is None:
        return CheckItem(question, Verdict.UNKNOWN, "put a box across a warm body's straight edge")
    words = f"an edge spreads over {spread.sigma_px:.2f} ± {max(spread.u_px, 0.01):.2f} pixels"
    sharp = spread.sigma_px <= SHARP_PX
    return CheckItem(
        question,
        Verdict.GOOD if sharp else Verdict.BAD,
        words if sharp else f"{words}: turn the focus or the distance",
    )


def check_hand(palm_k: Floats | NDArray[np.float32]) -> CheckItem:
    """Tell whether a palm in the box looks as warm as palms are (skin's emissivity is near 1).

    Parameters
    ----------
    palm_k : ndarray
        Apparent temperatures of the pixels in the box, K.
    """
    question = "a hand near 33 °C?"
    finite = palm_k[np.isfinite(palm_k)]
    seen_k = float(np.median(finite)) if finite.size else math.nan
    if math.isnan(seen_k):
        return CheckItem(question, Verdict.UNKNOWN, "hold a palm into the box")
    words = f"it looks {seen_k - 273.15:.1f} °C"
    if HAND_K[0] <= seen_k <= HAND_K[1]:
        return CheckItem(question, Verdict.GOOD, words)
    return CheckItem(
        question, Verdict.BAD, f"{words}: wrong scale, cold hands, or the camera is cold"
    )
