"""The period of a pulsed supply that keeps no log, found in the pictures themselves.

Places all over the picture are looked at for a line in their spectrum: the least-squares spectrum
at the true frame times (Lomb, Astrophys. Space Sci. 39 (1976) 447; Scargle, Astrophys. J. 263
(1982) 835), held against the spectrum's own level nearby, so that drift, which is strong where it
is slow, makes no line. A supply keeps its phase from the first pulse to the last, which a hand
that waves does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import HIGHPASS_PX
from thermview.analysis.prepare import Block, Progress, Take, lowpass
from thermview.analysis.responses import nuisances
from thermview.analysis.stabilise import steadied
from thermview.analysis.wanted import still_wanted
from thermview.analysis.waveform import course_of_log
from thermview.errors import InputError
from thermview.frames import Footage

Floats = NDArray[np.float64]

SCALES_PX = ((0.8, 3), (2.0, 4), (3.5, 6))
"""How far heat spreads that comes and goes within seconds (a Gaussian's standard deviation), from a
small part's own to a board's with planes; and the squares that are looked at then."""
FEWEST_PERIODS = 6.0
SLOWEST_PERIODS = 1.5
"""From there the spectrum is looked at, to know what is slower than any line."""
FINEST = 0.25
"""Of the frame rate: the highest frequency looked for."""
OVERSAMPLED = 4
BESIDE, APART = 10, 2
"""The level nearby is taken from so many independent frequencies on each side, but the nearest."""
SURE = 30.0
"""Line over level. Noise alone passes ln(9000 places · 300 frequencies) + 9 = 24 in one case in ten
thousand (exponential distribution); a tremor that was not held still reached 28 in trials."""
QUARTERS, STEADY = 4, 0.85
"""Share of a line's energy in the quarters of a recording that they have in one phase: 1/4 by
chance; pulsed supplies reached 0.86 and more, hands and their tremor 0.82 at most (trials)."""
MOST_TRIED = 40
FINER = 41
TOGETHER = 64


@dataclass(frozen=True, slots=True)
class Rhythm:
    """A period that stands out.

    Attributes
    ----------
    period_s : float
    ratio : float
        Of the line to the spectrum's level beside it.
    """

    period_s: float
    ratio: float


def period_of(footage: Footage, progress: Progress | None = None) -> float:
    """Return a pulsed supply's period, s: by its log, else by the pictures.

    Raises
    ------
    InputError
        Neither tells, or the footage cannot be used.
    """
    if footage.supply is not None and len(footage.supply) > 1:
        course = course_of_log(footage.supply, footage.times_s)
        if course is not None and course.period_s is not None:
            return course.period_s
    take, _ = steadied(footage, progress)
    found = find_period(take)
    if found is None:
        span_s = float(take.times_s[-1] - take.times_s[0])
        raise InputError(
            f"no period up to {span_s / FEWEST_PERIODS:.2g} s stands out in the pictures; "
            "record longer, pulse a larger power, or give the period in seconds"
        )
    return found.period_s


def find_period(take: Take) -> Rhythm | None:
    """Find the period at which some place of the picture warms and cools; None where none does."""
    narrow = take.rise_k - lowpass(take.rise_k, HIGHPASS_PX)
    idle = nuisances(take.times_s, take.segment, take.sway)
    lines = []
    for halo_px, cell_px in SCALES_PX:
        curves = _cells(narrow, halo_px, cell_px)
        curves -= (idle @ (idle.T @ curves)).astype(np.float32)
        lines.append(strongest_line(take.times_s, curves))
    return max(filter(None, lines), key=lambda line: line.ratio, default=None)


def _cells(pictures: Block, halo_px: float, cell_px: int) -> NDArray[np.float32]:
    """Return the means over small squares as curves, shape (time, place)."""
    rows, columns = (max(1, size // cell_px) for size in pictures.shape[1:])
    cut = pictures[:, : rows * cell_px, : columns * cell_px]
    small = []
    for one in cut:
        still_wanted()
        wide = cv2.GaussianBlur(one, (0, 0), halo_px)
        small.append(cv2.resize(wide, (columns, rows), interpolation=cv2.INTER_AREA))
    return np.stack(small).reshape(len(small), -1).astype(np.float32)


def line_power(times_s: Floats, curves: NDArray[np.floating], rates_hz: Floats) -> Floats:
    """Return the least-squares spectrum, shape (frequency, place).

    Each curve's energy that a sine of the frequency explains, in the curve's units squared.
    """
    angle = 2 * np.pi * np.outer(rates_hz, times_s - times_s[0])
    # cosine and sine turned to be orthogonal at these times (Lomb's delay), then of unit length
    delay = np.arctan2(np.sin(2 * angle).sum(axis=1), np.cos(2 * angle).sum(axis=1)) / 2
    waves = np.stack([np.cos(angle - delay[:, None]), np.sin(angle - delay[:, None])])
    waves /= np.maximum(np.linalg.norm(waves, axis=2, keepdims=True), 1e-12)
    out = np.empty((len(rates_hz), curves.shape[1]))
    for first in range(0, len(rates_hz), TOGETHER):
        still_wanted()
        some = slice(first, first + TOGETHER)
        both = waves[:, some].astype(curves.dtype) @ curves
        out[some] = np.sum(both**2, axis=0)
    return out


def strongest_line(times_s: Floats, curves: NDArray[np.floating]) -> Rhythm | None:
    """Return the clearest line in the spectra of curves, shape (time, place); None for none."""
    span_s = float(times_s[-1] - times_s[0])
    frame_s = float(np.median(np.diff(times_s)))
    step_hz = 1.0 / (OVERSAMPLED * span_s)
    rates_hz = np.arange(SLOWEST_PERIODS / span_s, FINEST / frame_s, step_hz)
    if len(rates_hz) < 4 * OVERSAMPLED:
        return None
    power = line_power(times_s, curves, rates_hz)
    usual = np.median(power, axis=1, keepdims=True) / np.log(2.0)  # the camera's, at each frequency
    usual = np.maximum(usual, 1e-30)
    quick = rates_hz >= FEWEST_PERIODS / span_s
    able = np.flatnonzero((power[quick] > SURE * usual[quick]).any(axis=0))
    ratio = power[:, able] / np.maximum(_level_beside(power[:, able]), usual)
    ratio[~quick] = 0.0
    order = np.argsort(ratio, axis=None)[::-1][:MOST_TRIED]
    for at, place in zip(*np.unravel_index(order, ratio.shape), strict=True):
        if ratio[at, place] < SURE:
            break
        if steadiness(times_s, curves[:, able[place]], float(rates_hz[at])) > STEADY:
            near = rates_hz[at] + np.linspace(-step_hz, step_hz, FINER) * 1.5
            alike = able[ratio[at] > SURE]
            fine = line_power(times_s, curves[:, alike], near).sum(axis=1)
            return Rhythm(float(1.0 / near[int(np.argmax(fine))]), float(ratio[at, place]))
    return None


def steadiness(times_s: Floats, curve: NDArray[np.floating], rate_hz: float) -> float:
    """Return which share of a line's energy the quarters of a recording have in one phase."""
    waves = curve * np.exp(-2j * np.pi * rate_hz * times_s)
    quarter = ((times_s - times_s[0]) / np.ptp(times_s) * QUARTERS).astype(int)
    sums = np.array([waves[quarter == number].sum() for number in range(QUARTERS)])
    return float(abs(sums.sum()) ** 2 / max(QUARTERS * np.sum(np.abs(sums) ** 2), 1e-30))


def _level_beside(power: Floats) -> Floats:
    """Return the higher of the medians over frequencies below and above, as an exponential mean."""
    reach, gap = BESIDE * OVERSAMPLED, APART * OVERSAMPLED
    padded = np.pad(power, ((reach, reach), (0, 0)), constant_values=np.nan)
    sides = []
    for way in (-1, 1):
        steps = range(gap, reach + 1, OVERSAMPLED)
        beside = [padded[reach + way * s : reach + way * s + len(power)] for s in steps]
        sides.append(_median(np.stack(beside)))
    return np.asarray(np.fmax(*sides) / np.log(2.0))


def _median(values: Floats) -> Floats:
    """Return the median of what there is along the first axis, NaN for nothing."""
    ordered = np.sort(values, axis=0)  # NaN last
    known = np.isfinite(values).sum(axis=0)
    middle = np.maximum(known - 1, 0) // 2
    return np.asarray(np.take_along_axis(ordered, middle[None], axis=0)[0])
