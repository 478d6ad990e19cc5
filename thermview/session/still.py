"""What the still frames tell: the camera's noise and its bad pixels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from thermview.frames import Footage, Frame, Scale
from thermview.radiometry import CameraProfile
from thermview.radiometry.bad_pixels import Mask, find_bad_pixels
from thermview.radiometry.noise import FEWEST_FRAMES, NoiseMeter, NoiseReport

NOISE_FRAMES = 64


def still_frames(
    footage: Footage, interval_s: tuple[float, float], most: int, *, fewest: int = FEWEST_FRAMES
) -> Iterator[Frame]:
    """Give the last frames of an interval, `most` of them; at least `fewest` before its end."""
    times_s = footage.times_s
    low = int(np.searchsorted(times_s, interval_s[0], side="left"))
    high = int(np.searchsorted(times_s, interval_s[1], side="right"))
    low = max(footage.first, min(max(low, high - most), high - fewest))
    for number in range(low, high):
        yield footage.frame(number)


def measure_still(
    footage: Footage, until_s: float, frames: int = NOISE_FRAMES
) -> tuple[NoiseReport, Mask]:
    """Return the camera's noise over the last frames up to a moment, and its bad pixels.

    Raises
    ------
    UsageError
        There are too few whole frames.
    InputError
        A frame cannot be read.
    """
    meter = NoiseMeter(frames)
    total, used, scale = np.zeros(()), 0, footage.info.scale
    for frame in still_frames(footage, (-math.inf, until_s), frames):
        meter.take(frame)
        if not frame.held:
            total, used, scale = total + frame.counts, used + 1, frame.scale
    report = meter.report()
    return report, find_bad_pixels(scale.kelvin(total / used), report.per_pixel_k)


def corrected_frame(frame: Frame, profile: CameraProfile | None) -> Frame:
    """Return a frame of true apparent temperatures; the very same where nothing is corrected."""
    if profile is None or not profile.corrects:
        return frame
    kelvin = profile.apparent(frame.kelvin()).astype(np.float32)
    return replace(frame, counts=kelvin, scale=Scale(1.0))
