"""Guesses a camera's stream layout from what it offers and what its first picture looks like."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Counts
from thermview.sources.grabber import Stream
from thermview.sources.layouts import Layout, RawRows, layouts
from thermview.sources.v4l2 import CODES
from thermview.sources.v4l2_node import PictureFormat, PictureSize

ROOM_K = (263.0, 333.0)
"""Half of a bench's picture is warmer and half colder than something between these."""
COLDEST_K = 173.0  # a clear sky reads about so
HOTTEST_K = 873.0
_QUIET_SPAN_K = 8.0
_ROUGHEST = 0.15
_KELVIN_AT_0_C = 273.15

_RAW = Layout("y16-brightness", format="Y16")
BRIGHTNESS = Layout("brightness")
"""The layout of video without raw counts."""


@dataclass(frozen=True, slots=True)
class Guess:
    """A layout, and in words why it."""

    layout: Layout
    reason: str


def stream_to_ask(
    layout: Layout | None, formats: Iterable[PictureFormat], rate_hz: float | None
) -> Stream:
    """Return what to ask a camera for, by the layout if one is chosen, else by what it offers.

    16-bit raw comes first, then packed video of twice the height (taller than wide), then
    whatever can be read. A code that the direct reader lacks, or none, is left to OpenCV.
    """
    offered = {each.code: each.sizes for each in formats}
    if layout is not None and layout.format:
        width_px, height_px = _size_for(layout, offered.get(layout.format, ()))
        return Stream(layout.format, width_px, height_px, rate_hz)
    if "Y16" in offered:
        return Stream("Y16", 0, 0, rate_hz)
    for size in offered.get("YUYV", ()):
        if size.height_px > size.width_px:
            return Stream("YUYV", size.width_px, size.height_px, rate_hz)
    readable = [code for code in offered if code in CODES]
    return Stream(readable[0] if readable else "", 0, 0, rate_hz)


def _size_for(layout: Layout, sizes: Iterable[PictureSize]) -> tuple[int, int]:
    if layout.width_px and layout.height_px:
        return layout.width_px, layout.height_px
    if layout.raw_rows is not RawRows.ALL:
        for size in sizes:
            if size.height_px > size.width_px:
                return size.width_px, size.height_px
    return 0, 0


def guess_layout(picture: NDArray[Any], known: Iterable[Layout] | None = None) -> Guess:
    """Return the layout under which a picture makes sense as a room's temperatures.

    Parameters
    ----------
    picture : ndarray
        As a grabber gives it.
    known : iterable of Layout, optional
        To choose among; those that come with the program.
    """
    raw = _RAW.decode(picture)
    packed = picture.ndim == 3
    if raw is None or (packed and raw.shape[0] <= raw.shape[1]):
        return Guess(BRIGHTNESS, "the camera sends video, no raw counts: brightness only")
    trials = [
        _Trial.of(layout, picture)
        for layout in (layouts().values() if known is None else known)
        if layout.scale is not None
        and (layout.format == "YUYV") is packed
        and (layout.raw_rows is not RawRows.ALL) is packed
    ]
    likely = [trial for trial in trials if not trial.objection]
    if likely:
        best = min(likely, key=lambda trial: trial.noise_k)
        return Guess(best.layout, _reason(best, [t for t in trials if t is not best]))
    words = "; ".join(f"{trial.layout.name}: {trial.objection}" for trial in trials)
    fallback = BRIGHTNESS if packed else _RAW
    return Guess(fallback, f"no known scale makes sense of the counts ({words}): brightness only")


@dataclass(frozen=True, slots=True)
class _Trial:
    """A layout tried on a picture: the middle count and temperature, noise, what is against it."""

    layout: Layout
    middle: float
    middle_k: float
    noise_k: float
    objection: str

    @classmethod
    def of(cls, layout: Layout, picture: NDArray[Any]) -> _Trial:
        counts = layout.decode(picture)
        assert counts is not None
        assert layout.scale is not None
        low, middle, high = np.percentile(counts, (1, 50, 99))
        low_k, middle_k, high_k = (layout.scale.kelvin_of(float(c)) for c in (low, middle, high))
        noise_k = _step(counts) * layout.scale.k_per_count
        objection = ""
        if not ROOM_K[0] <= middle_k <= ROOM_K[1] or low_k < COLDEST_K or high_k > HOTTEST_K:
            objection = f"{_celsius(low_k)} … {_celsius(high_k)}, median {_celsius(middle_k)}"
        elif high_k - low_k > _QUIET_SPAN_K and noise_k > _ROUGHEST * (high_k - low_k):
            objection = "neighbouring pixels differ as in noise"
        return cls(layout, float(middle), middle_k, noise_k, objection)


def _step(counts: Counts) -> float:
    """Return the median difference between neighbours along a row, counts."""
    return float(np.median(np.abs(np.diff(counts.astype(np.int32), axis=1))))


def _reason(best: _Trial, others: list[_Trial]) -> str:
    scale = best.layout.scale
    assert scale is not None
    words = (
        f"half of the raw values are above {best.middle:.0f}, which at {scale.k_per_count:g} K a "
        f"count is {_celsius(best.middle_k)}, as in a room"
    )
    unlike = [f"{t.layout.name}: {t.objection}" for t in others if t.objection]
    return f"{words} ({'; '.join(unlike)})" if unlike else words


def _celsius(kelvin: float) -> str:
    return f"{kelvin - _KELVIN_AT_0_C:.0f} °C"
