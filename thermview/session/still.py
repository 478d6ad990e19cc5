"""What the still frames tell: the camera's noise, its bad pixels, which places are shiny."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from thermview.errors import UsageError
from thermview.frames import Footage, Frame, Scale
from thermview.radiometry import ASSUMED_REFLECTED_K, CameraProfile
from thermview.radiometry.bad_pixels import Mask, find_bad_pixels
from thermview.radiometry.noise import FEWEST_FRAMES, NoiseMeter, NoiseReport
from thermview.radiometry.shiny import ShinyMap, ShinyMeter
from thermview.session.power import power_on
from thermview.session.session import Session

NOISE_FRAMES = 64
SHINY_FRAMES = 400
SPARE_S = 0.2
"""Kept before the power: the mark of a hand is never exact."""


def unpowered(session: Session, now_s: float) -> tuple[float, float]:
    """Return (start, end), s, of the frames before the power; without a sign of it, up to now."""
    times_s = session.footage.times_s
    if not len(times_s):
        return 0.0, 0.0
    start_s = float(times_s[session.footage.first])
    on_s = power_on(session.marks, session.supply)
    if on_s is not None and on_s - SPARE_S > start_s:
        return start_s, on_s - SPARE_S
    return start_s, now_s


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


def find_shiny(
    session: Session,
    interval_s: tuple[float, float],
    *,
    contact_k: float | None = None,
    reflected_k: float | None = None,
    u_camera_k: float = 0.5,
) -> ShinyMap:
    """Return which pixels mirror too much, from the unpowered frames of an interval.

    Parameters
    ----------
    session : Session
        Its frames, scene and camera.
    interval_s : (start, end)
        While nothing was powered, s.
    contact_k : float or None
        Contact reading of the unpowered board, K.
    reflected_k : float or None
        Temperature of the surroundings, K; None: the scene's, else 23 °C.
    u_camera_k : float
        Standard uncertainty of the camera, K.
    """
    if session.info.scale.relative:
        raise UsageError("shiny places are found from temperatures; this source gives brightness")
    meter = ShinyMeter()
    for frame in still_frames(session.footage, interval_s, SHINY_FRAMES):
        meter.take(corrected_frame(frame, session.camera))
    scene_k = session.scene.reflected_k
    room_k = next(t for t in (reflected_k, scene_k, ASSUMED_REFLECTED_K) if t is not None)
    return meter.map(room_k, contact_k=contact_k, u_camera_k=u_camera_k)


def corrected_frame(frame: Frame, profile: CameraProfile | None) -> Frame:
    """Return a frame of true apparent temperatures; the very same where nothing is corrected."""
    if profile is None or not profile.corrects:
        return frame
    kelvin = profile.apparent(frame.kelvin()).astype(np.float32)
    return replace(frame, counts=kelvin, scale=Scale(1.0))
