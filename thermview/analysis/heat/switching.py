"""When the power came on, and its course since, from the parts' own curves.

A switching shows as a curve that is quiet and then answers through thermal lags. What a part's
surroundings show as well is left out, and what parts far away show, so that a hand's coming is no
switching.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import HIGHPASS_PX, SPREAD_PX, Footprint
from thermview.analysis.nonnegative import nonnegative
from thermview.analysis.prepare import Block
from thermview.analysis.responses import one_pole, orthonormal
from thermview.analysis.wanted import still_wanted
from thermview.analysis.waveform import Course, step_at, step_course

Floats = NDArray[np.float64]

LEAST_BEFORE_S = 1.5
"""A step nearer to the beginning leaves too little to see by; what was touched before the recording
spreads then."""
SCAN_LAGS_S = (0.1, 0.4, 1.5, 5.0)
RAMPS_S = (0.0, 0.3, 0.7, 1.2)
FINE_LAGS_S = np.geomspace(0.08, 20.0, 5)
LATER_STEPS = (-1.0, 0.5, 1.0, 2.0)
CLEAR = 12.0
STAIR_GAPS_S = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
WHOLE_LEAVES = 0.01
SURE = 1500.0
"""Explained energy from which one tells, whatever is left unexplained."""
MORE_IS_BETTER = 25.0
"""A step more must explain so much, in units of the noise's variance."""
SHARED = 6
"""Courses that parts far away share most of: a hand that moves shows three or four."""
FAR_PX, CELL_PX = 60.0, 30.0
"""So far from the middle of its cell of the picture a part counts as far away."""
MOST_ALONE = 3
TELLS, WHOLE_TELLS = 60.0, 300.0
"""From here a curve is believed without leaving out what parts far away show: several parts that
heat share their course (trials: hands' images reach 52 without their surroundings' course, and
230 with it)."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """A curve for each part: matched to its size, unit noise gain; shape (time, part).

    `centres_px` holds the parts' middles, shape (part, 2).
    """

    values: Floats
    names: list[str]
    centres_px: Floats


def part_series(narrow: Block, footprints: list[Footprint]) -> Series:
    """Return each part's curve from high-passed pictures."""
    rows, columns = narrow.shape[1:]
    margin = round(2 * HIGHPASS_PX / 3)
    curves, names, centres = [], [], []
    for footprint in footprints:
        still_wanted()
        low = np.floor(footprint.outline_px.min(axis=0)).astype(int) - margin
        high = np.ceil(footprint.outline_px.max(axis=0)).astype(int) + margin + 1
        x0, y0 = max(0, low[0]), max(0, low[1])
        x1, y1 = min(columns, high[0]), min(rows, high[1])
        if x1 - x0 < 3 or y1 - y0 < 3:
            continue
        mask = np.zeros(((y1 - y0) * 4, (x1 - x0) * 4), np.uint8)
        corners = (footprint.outline_px - [x0, y0]) * 4 - 0.5
        cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 255, cv2.LINE_8, 4)
        share = cv2.resize(mask, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA) / 255.0
        weight = cv2.GaussianBlur(share.astype(np.float32), (0, 0), SPREAD_PX)
        size = float(np.sqrt(np.sum(weight**2)))
        if size <= 0:
            continue
        cut = narrow[:, y0:y1, x0:x1].reshape(len(narrow), -1)
        curves.append(cut @ (weight / size).ravel())
        names.append(footprint.name)
        centres.append(footprint.centre_px)
    table = np.stack(curves, axis=1) if curves else np.zeros((len(narrow), 0))
    return Series(table.astype(np.float64), names, np.reshape(centres, (-1, 2)))


@dataclass(frozen=True, slots=True, eq=False)
class Switching:
    """Where a switching of the power shows: when, in which part's curve, how clearly.

    Attributes
    ----------
    on_s : float
    name : str
    score : float
        Root of the explained energy over the variance of what is left.
    explained : float
        Energy in units of the camera's noise.
    curve : ndarray, shape (time,)
        Of the part, without what its surroundings show.
    idle : ndarray, shape (time, course)
        What was left out, orthonormal.
    calm : bool
        What its surroundings show was left out too.
    alone : bool
        And what parts far away show.
    """

    on_s: float
    name: str
    score: float
    explained: float
    curve: Floats
    idle: Floats
    calm: bool
    alone: bool = False


def find_switchings(
    series: Series,
    surroundings: Sequence[Floats],
    times_s: Floats,
    idle: Floats,
    *,
    noise_k: float,
    period_s: float | None = None,
    step: int = 2,
) -> list[Switching]:
    """Find the best time of switching on for each part's curve; return the clearest ones.

    Parameters
    ----------
    series : Series
    surroundings : sequence of ndarray, shape (time, course)
        Of each part: orthonormal, orthogonal to `idle`.
    times_s : ndarray, shape (time,)
    idle : ndarray, shape (time, nuisance)
        Orthonormal courses that are no evidence.
    noise_k : float
        Of a curve.
    period_s : float, optional
        Of a pulsed supply.
    step : int
        Every so many frames are tried.
    """
    first_s = times_s[0] + LEAST_BEFORE_S
    tried = times_s[(times_s > first_s) & (times_s < times_s[-1] - 1.5)][::step]
    if period_s is not None:
        tried = tried[tried < first_s + 3 * period_s]
    if not len(tried):
        return []
    courses = step_at(times_s, tried, period_s)
    answers = np.concatenate(
        [one_pole(courses, times_s, np.full(len(tried), 1.0 / lag)) for lag in SCAN_LAGS_S], axis=1
    )
    answers -= idle @ (idle.T @ answers)
    energy = np.sum(answers**2, axis=0)
    curves = series.values - idle @ (idle.T @ series.values)
    freedom = len(times_s) - idle.shape[1] - 4
    calm: list[Switching] = []
    whole: list[Switching] = []
    alone: list[Switching] = []
    pulsed = period_s is not None
    shared = [curves[:, :0]] * len(curves.T) if pulsed else _shared(curves, series.centres_px)
    for name, curve, around, far in zip(series.names, curves.T, surroundings, shared, strict=True):
        still_wanted()
        ways = [(around, calm), (around[:, :0], whole)]
        if far.shape[1]:
            ways.append((orthonormal(np.concatenate([around, far], axis=1)), alone))
        for courses, found in ways:
            own = curve - courses @ (courses.T @ curve)
            left = energy - np.sum((courses.T @ answers) ** 2, axis=0)
            amount = own @ answers
            usable = (amount > 0) & (left > 0.02 * energy)
            explained = np.where(usable, amount**2 / np.maximum(left, 1e-12), 0.0)
            at = int(np.argmax(explained))
            rest = max(float(own @ own - explained[at]) / freedom, noise_k**2)
            score = float(np.sqrt(explained[at] / rest))
            size = float(explained[at]) / noise_k**2
            both = np.concatenate([idle, courses], axis=1)
            on_s = float(tried[at % len(tried)])
            told = {"calm": found is not whole, "alone": found is alone}
            found.append(Switching(on_s, name, score, size, own, both, **told))
    clearest = sorted(calm, key=lambda s: -s.score)[:2]
    clearest += sorted(whole, key=lambda s: -s.score)[:1]
    clearest += sorted(whole, key=lambda s: -s.explained)[:1]
    return clearest + [s for s in sorted(alone, key=lambda s: -s.score)[:MOST_ALONE] if is_clear(s)]


def _shared(curves: Floats, centres_px: Floats) -> list[Floats]:
    """Return for each part the courses that parts far away share, orthonormal, (time, ≤ `SHARED`).

    What metal all over a board mirrors of a hand is alike, whatever its surroundings show of it;
    one part's heat is seen by none so far away. The leading principal components.
    """
    cells = np.floor(centres_px / CELL_PX).astype(int)
    made: dict[tuple[int, ...], Floats] = {}
    for cell in map(tuple, cells.tolist()):
        if cell not in made:
            away = centres_px - (np.array(cell) + 0.5) * CELL_PX
            made[cell] = _leading(curves[:, np.hypot(away[:, 0], away[:, 1]) > FAR_PX], SHARED)
    return [made[cell] for cell in map(tuple, cells.tolist())]


def _leading(table: Floats, count: int) -> Floats:
    """Return the orthonormal courses, at most `count`, that columns share most of."""
    still_wanted()
    times, columns = table.shape
    if not columns:
        return table
    few = columns < times
    products = table.T @ table if few else table @ table.T
    sizes, axes = np.linalg.eigh(products)
    axes = axes[:, -count:][:, sizes[-count:] > 1e-9 * max(sizes[-1], 1e-30)]
    return orthonormal(table @ axes) if few and axes.shape[1] else np.asarray(axes)


def is_clear(switching: Switching) -> bool:
    """Tell whether a curve tells more than when the power came on."""
    return switching.score > CLEAR or (switching.explained > SURE and not switching.alone)


def course_of_switchings(
    switchings: Sequence[Switching], times_s: Floats, noise_k: float
) -> Course:
    """Return the course that one of the curves tells best: beginning, ramp or steps.

    A supply that is turned up in steps fits no single step; the curve that its whole course
    explains best decides. A curve that its surroundings were not taken from must be explained to
    the last per cent, for a hand's image is seldom quite like an answer to a supply; and where
    a curve is clear beside what parts far away show, only such a one or a very clear one counts.
    """
    first = switchings[0]
    told: list[tuple[float, Course]] = []
    sure: list[tuple[float, Course]] = []
    for one in filter(is_clear, switchings):
        left, course = _refined(one, times_s, noise_k)
        whole = float(one.curve @ one.curve)
        variance = max(noise_k**2, left / len(times_s))
        if one.calm or left < WHOLE_LEAVES * whole:
            tells = float(np.sqrt(max(whole - left, 0.0) / variance))
            certain = one.alone or tells > (TELLS if one.calm else WHOLE_TELLS)
            (sure if certain else told).append((tells, course))
    if not sure and not told:
        return step_course(times_s, first.on_s)
    return max(sure or told, key=lambda pair: pair[0])[1]


def _refined(switching: Switching, times_s: Floats, noise_k: float) -> tuple[float, Course]:
    """Return the energy that the best course leaves of a curve, and the course."""
    frame_s = float(np.median(np.diff(times_s)))
    trial = _Trial(switching, times_s)
    first_s = times_s[0] + LEAST_BEFORE_S
    near = np.maximum(switching.on_s + np.arange(-1.6, 0.81, 0.16), first_s)
    shapes = [(0.0, on_s, ramp_s) for ramp_s in RAMPS_S for on_s in near]
    cost, _, on_s, ramp_s = min(
        # steps are what switches give: a weak curve does not make ramps of them
        (trial.left(trial.ramp(on, ramp)) + (2.0 * noise_k**2 if ramp else 0.0), gap, on, ramp)
        for gap, on, ramp in shapes
    )
    answers = trial.ramp(on_s, ramp_s)
    power = np.clip((times_s - on_s) / max(ramp_s, frame_s), 0.0, 1.0)
    whole = float(switching.curve @ switching.curve)
    if cost > 0.03 * whole + len(times_s) * noise_k**2:
        begins = np.arange(first_s, times_s[-1] - 3.0, 0.4)
        begins = begins[begins < switching.on_s + 1.0]
        stairs = min(
            (
                (trial.left(trial.stairs(on, gap, count)), on, gap, count)
                for gap in STAIR_GAPS_S
                for count in (2, 3)
                for on in begins
            ),
            default=(np.inf, on_s, 0.0, 0),
        )
        if stairs[0] < cost - MORE_IS_BETTER * noise_k**2:
            _, about_s, gap_s, count = stairs
            cost, on_s = min(
                (trial.left(trial.stairs(on, gap_s, count)), float(on))
                for on in np.maximum(about_s + np.arange(-0.4, 0.41, 0.08), first_s)
            )
            answers = trial.stairs(on_s, gap_s, count)
            each = step_at(times_s, np.asarray(on_s + gap_s * np.arange(count), np.float64))
            power = each.sum(axis=1)
    variance = max(noise_k**2, cost / len(times_s))
    later = min(
        (
            (trial.left(answers + amount * trial.ramp(later_s, 0.0)), float(later_s), amount)
            for later_s in np.arange(on_s + 0.8, times_s[-1] - 0.8, 0.4)
            for amount in LATER_STEPS
            if power[-1] + amount >= 0
        ),
        default=(cost, on_s, 0.0),
    )
    if cost - later[0] > MORE_IS_BETTER * variance:
        cost, later_s, amount = later
        power = np.maximum(power + amount * step_at(times_s, np.array([later_s]))[:, 0], 0.0)
    level = float(np.percentile(power, 90))
    return cost, Course(power / level if level > 0 else power, float(on_s))


class _Trial:
    """Fits a curve by a course's answers through many lags, none of them negative."""

    def __init__(self, switching: Switching, times_s: Floats) -> None:
        self._times_s = times_s
        self._curve = switching.curve
        self._idle = switching.idle

    def stairs(self, on_s: float, gap_s: float, count: int) -> Floats:
        """Return the answers to equal steps at even intervals."""
        return np.asarray(sum(self.ramp(on_s + gap_s * i, 0.0) for i in range(count)))

    def ramp(self, on_s: float, ramp_s: float) -> Floats:
        """Return the answers to a ramp from 0 to 1, a step where `ramp_s` is 0, (time, lag)."""
        since = np.maximum(self._times_s - on_s, 0.0)[:, None]
        if ramp_s <= 0:
            return np.asarray(-np.expm1(-since / FINE_LAGS_S))
        after = np.maximum(since - ramp_s, 0.0)
        whole = since - after
        lags = FINE_LAGS_S
        # the integral of the step's answer over the ramp
        return np.asarray((whole + lags * (np.exp(-since / lags) - np.exp(-after / lags))) / ramp_s)

    def left(self, answers: Floats) -> float:
        """Return the energy that no such sum explains."""
        still_wanted()
        kept = answers - self._idle @ (self._idle.T @ answers)
        kept /= np.maximum(np.linalg.norm(kept, axis=0), 1e-12)
        _, left = nonnegative(kept, self._curve)
        return left**2
