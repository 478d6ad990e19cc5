"""Both recordings on one clock: when the power came on, and few pictures for a whole warm-up.

All answers to a step of power lie close to a handful of courses over time (`responses`). Each
recording is projected on the same courses at its own frames' times, by least squares beside its
own offsets, so that start, rate and breaks by the shutter drop out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from thermview.analysis.pair.passing import without_passing
from thermview.analysis.prepare import Take
from thermview.analysis.responses import Drive, one_pole
from thermview.analysis.waveform import step_at
from thermview.errors import InputError

Floats = NDArray[np.float64]
Pictures = NDArray[np.float32]

COURSES = 4
KEPT = 3e-3
STEP_S = 0.16
BEFORE_S = 2.0
LEAST_AFTER_S = 3.0
FEWEST_BEFORE = 2  # frames
SEARCH_LAGS_S = (0.15, 0.6, 2.5, 10.0, 40.0)
SEARCH_SPOTS = 60
NEAR_S = 6.0
"""The exact moment is told by so long after it: later, what bodies are made of rules."""
PASSING_S = 5.5
PASSING_SIGMAS = 10.0
NO_JUMP = 1 / 16
"""That a pixel jumps no more than all do at the shutter counts as much as this share of the frames:
free jumps soon after power-on would take up what the courses get wrong, many times over."""
SHOWN_S = 1.0  # rises are read over the last second that both recordings have


@dataclass(frozen=True, slots=True, eq=False)
class Courses:
    """Time courses that span every answer to a step of power at time 0.

    Attributes
    ----------
    times_s : ndarray, shape (time,)
    active : ndarray, shape (time, course)
        Orthonormal, and orthogonal to a constant.
    sheet : ndarray, shape (lag, course, rate)
    body : ndarray, shape (lag, course)
        Answers of sheet and body (see `Drive`) in the courses.
    drive : Drive
        The step itself.
    """

    times_s: Floats
    active: Floats
    sheet: Floats
    body: Floats
    drive: Drive

    @classmethod
    def of_step(cls, after_s: float) -> Courses:
        """Return the courses of a step, from a moment before it to `after_s` after it."""
        times_s = np.arange(-BEFORE_S, after_s, STEP_S)
        drive = Drive.of(step_at(times_s, np.zeros(1))[:, 0], times_s)
        active = _spanned(drive.sheet[0], drive.sheet[2], drive.body.T)
        sheet = np.einsum("tm,ltr->lmr", active, drive.sheet)
        return cls(times_s, active, sheet, drive.body @ active, drive)

    @property
    def count(self) -> int:
        """Return how many courses there are."""
        return int(self.active.shape[1])

    def lagging(self, lag: int) -> Floats:
        """Return courses, as `active`, of answers that lag so much, as `TAUS_S` counts, or more."""
        return _spanned(self.drive.sheet[lag], self.drive.body[lag:].T)


def _spanned(*answers: Floats) -> Floats:
    """Return orthonormal courses, orthogonal to a constant, shape (time, course)."""
    table = np.concatenate(answers, axis=1)
    table = table / np.maximum(np.linalg.norm(table, axis=0), 1e-12)
    found, size, _ = np.linalg.svd(table - table.mean(axis=0), full_matrices=False)
    return np.asarray(found[:, size > KEPT * size[0]][:, :COURSES])


@dataclass(frozen=True, slots=True, eq=False)
class WarmUp:
    """A recording in few pictures.

    Attributes
    ----------
    coefficients : ndarray of float32, shape (course, row, column)
        K.
    noise_k : float
        Of a coefficient.
    before_k : ndarray of float32, shape (row, column)
        Mean picture before power, K from any zero.
    before_noise_k : float
        What noise is left in it.
    rise_k : ndarray of float32, shape (row, column)
        Over the picture before power, at the end of the time that both recordings have.
    """

    coefficients: Pictures
    noise_k: float
    before_k: NDArray[np.float32]
    before_noise_k: float
    rise_k: NDArray[np.float32]


def warm_up(take: Take, on_s: float, courses: Courses) -> WarmUp:
    """Project a recording on the courses, its clock's zero at the power's coming on.

    Raises
    ------
    InputError
        Too little was filmed with the power on, or nothing before.
    """
    since_s = take.times_s - on_s
    until_s = float(courses.times_s[-1])
    kept = since_s <= until_s + STEP_S
    since_s, pictures, segment = since_s[kept], take.rise_k[kept], take.segment[kept]
    if int(np.count_nonzero(since_s < 0)) < FEWEST_BEFORE:
        raise InputError(
            f"the power came on at {on_s:.2f} s, so that the recording has no picture from before "
            "it to take rises from; film again, from some seconds before"
        )
    if int(np.count_nonzero(since_s > 0)) < 2 * courses.count:
        raise InputError(
            f"only {np.count_nonzero(since_s > 0)} frames after the power came on at {on_s:.1f} s; "
            "film some ten seconds more, or give the right time"
        )
    table = table_of(courses, since_s, segment)
    _level(pictures, segment)
    pictures = without_passing(pictures, table, take.noise_k)
    known = np.eye(table.shape[1])[courses.count + 1 :] * np.sqrt(NO_JUMP * len(table))
    solve = np.linalg.pinv(np.vstack([table, known]), rcond=1e-4)[: courses.count, : len(table)]
    flat = pictures.reshape(len(pictures), -1)
    found = (solve.astype(np.float32) @ flat).reshape(courses.count, *pictures.shape[1:])
    gain = float(np.sqrt(np.mean(np.sum(solve**2, axis=1))))
    before = pictures[since_s < 0.0]
    late = pictures[since_s > since_s[-1] - SHOWN_S].mean(axis=0)
    zero = before.mean(axis=0)
    left_k = take.noise_k / np.sqrt(len(before))
    return WarmUp(found, gain * take.noise_k, take.first_k + zero, left_k, late - zero)


def table_of(courses: Courses, since_s: Floats, segment: NDArray[np.int64]) -> Floats:
    """Return as columns what heat does at frames' times, an offset, the jumps at the shutter."""
    columns = [np.interp(since_s, courses.times_s, course) for course in courses.active.T]
    later = np.unique(segment)[1:]
    columns += [np.ones(len(since_s)), *((segment >= s).astype(np.float64) for s in later)]
    return np.stack(columns, axis=1)


def _level(pictures: Pictures, segment: NDArray[np.int64]) -> None:
    """Take off, in place, what all of a picture jumps by at the shutter."""
    for after in np.flatnonzero(np.diff(segment)) + 1:
        pictures[after:] -= np.median(pictures[after] - pictures[after - 1])


def find_power_on(take: Take) -> float:
    """Find when a board began to warm, s: the step that best explains its quickest spots.

    Every spot's curve is explained by bodies of several lags that are fed from one moment on;
    the moment that leaves least over all spots is taken; it is good to one or two frames.

    Raises
    ------
    InputError
        Nothing in the picture warms, or it does from the first frame on.
    """
    curves = _quick_spots(take)
    times_s, segment = take.times_s, take.segment
    frame_s = float(np.median(np.diff(times_s)))
    first, last = times_s[0] + 2 * frame_s, times_s[-1] - LEAST_AFTER_S
    best = float(first)
    for reach, step in ((None, 6.0), (8.0, 2.0), (3.0, 0.5)):
        low, high = (
            (first, last) if reach is None else (best - reach * frame_s, best + reach * frame_s)
        )
        tried = np.arange(max(first, low), max(min(last, high), first) + 1e-9, step * frame_s)
        near = np.full(len(times_s), True) if reach is None else times_s < best + NEAR_S
        search = _Search(curves[near], times_s[near], segment[near])
        best = float(tried[int(np.argmin([search.left(on_s) for on_s in tried]))])
    if best <= first + frame_s:
        raise InputError(
            "the board warms from the recording's first moment on; film from some seconds before "
            "the power, or give the time when it came on"
        )
    return best


class _Search:
    """Curves, shape (time, spot), in units of their noise, without their offsets and drift."""

    def __init__(self, curves: Floats, times_s: Floats, segment: NDArray[np.int64]) -> None:
        idle = [(segment == s).astype(np.float64) for s in np.unique(segment)]
        idle.append(times_s - times_s.mean())
        self.base, _ = np.linalg.qr(np.stack(idle, axis=1))
        self.curves = curves - self.base @ (self.base.T @ curves)
        self.times_s = times_s

    def left(self, on_s: float) -> float:
        """Return how much bodies fed from a moment on leave unexplained, over all spots."""
        course = step_at(self.times_s, np.array([on_s]))
        many = np.repeat(course, len(SEARCH_LAGS_S), axis=1)
        answers = one_pole(many, self.times_s, 1.0 / np.array(SEARCH_LAGS_S))
        answers = answers / np.maximum(np.linalg.norm(answers, axis=0), 1e-12)
        answers = answers - self.base @ (self.base.T @ answers)
        span, size, _ = np.linalg.svd(answers, full_matrices=False)
        span = span[:, size > 1e-4 * size[0]]
        over = np.sum(self.curves**2, axis=0) - np.sum((span.T @ self.curves) ** 2, axis=0)
        return float(np.log(np.maximum(over, 0.5 * len(self.curves))).sum())


def _quick_spots(take: Take) -> Floats:
    """Return curves of the spots that warm most within a second, in units of their noise."""
    rows, columns = take.shape
    small = (max(1, columns // 2), max(1, rows // 2))
    spots = [cv2.resize(p, small, interpolation=cv2.INTER_AREA).ravel() for p in take.rise_k]
    curves = np.stack(spots).astype(np.float32)
    curves -= np.median(curves, axis=1, keepdims=True)
    frame_s = float(np.median(np.diff(take.times_s)))
    second = int(np.clip(round(1.0 / frame_s), 1, len(curves) // 4))
    sums = np.cumsum(curves, axis=0)
    means = (sums[second:] - sums[:-second]) / second
    change = (means[second:] - means[:-second]).max(axis=0)
    # what warms stays warm; a hand, or what it is mirrored in, comes and goes, or just goes
    stays = np.median(means[-len(means) // 4 :], axis=0) - means[0]
    usual = float(np.median(change))
    change = np.minimum(change, stays)
    pick = np.argsort(change)[-SEARCH_SPOTS:]
    chosen = curves[:, pick].astype(np.float64)
    noise = 1.05 * np.median(np.abs(np.diff(chosen, axis=0)), axis=0)
    if float(change[pick[-1]]) < 6 * max(usual, 1e-9) and usual > 0:
        raise InputError(
            f"nothing in {take.times_s[-1] - take.times_s[0]:.0f} s of this recording warms "
            "suddenly; give the time when the power came on"
        )
    return _steadied(np.asarray(chosen / np.maximum(noise, 1e-6)), frame_s)


def _steadied(curves: Floats, frame_s: float) -> Floats:
    """Return curves, in units of their noise, without what came and went.

    A running median leaves a curve that only rises as it is, and takes off all that lasts less than
    half its window.
    """
    window = min(2 * round(PASSING_S / frame_s) + 1, 2 * (len(curves) // 4) + 1)
    wide = np.pad(curves, ((window // 2, window // 2), (0, 0)), mode="edge")
    each = [np.median(sliding_window_view(curve, window), axis=-1) for curve in wide.T]
    usual = np.stack(each, axis=1)  # one by one: all at once is much memory
    passing = np.abs(curves - usual) > np.maximum(PASSING_SIGMAS, 0.2 * np.ptp(usual, axis=0))
    return np.where(passing, usual, curves)
