"""Does what a part shows follow the power at all? What is mirrored in metal follows the room.

A window opened or a lamp switched on changes what shiny parts mirror, as a step at any moment; what
warms begins with the power, and a tall body no quicker than its own mass lets it. Of a part and its
close surroundings, each picture gives one difference: where a step explains much of what heat
cannot, and heat adds little to it, the part says nothing about its power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.watts import BODY_HEAT
from thermview.analysis.pair.align import View
from thermview.analysis.pair.clock import Courses, table_of
from thermview.analysis.pair.passing import departs
from thermview.analysis.pair.plane import Subject
from thermview.analysis.pair.readings import inner_and_ring
from thermview.analysis.pair.templates import CONTACT
from thermview.analysis.prepare import Take
from thermview.analysis.responses import TAUS_S

Floats = NDArray[np.float64]

LAGS_S = (0.1, 0.4, 1.0)
"""So quickly what is mirrored changes."""
CLOSE_S = 1.5
"""A step so close to power-on cannot be told from it,"""
SLOW_S = 2.0
"""but by a body that lags the power by so much."""
MOMENTS, CLOSE_MOMENTS = 40, 31
LEAST_SIDE = 3  # frames before and after a step
LEFT = 0.7
"""A step leaves no more than this share of what heat leaves."""
SHARE, STRONG_K = 1 / 3, 1.0
"""What steps make of the boards' difference is no less than this share of what heat makes of it;
nor less than all of it, where they would be stronger than a room's are (known pairs: 0.2 to 0.4 K):
in a few seconds much of what a strong part's heat does looks like a step."""


@dataclass(frozen=True, slots=True)
class Change:
    """What a part shows more than its surroundings at the end: the room's step, and heat, K."""

    step_k: float = 0.0
    heat_k: float = 0.0


def apart_from_power(more: Change, less: Change) -> bool:
    """Tell whether a part shows more on one board than on the other by the room, not by heat."""
    step_k = more.step_k - less.step_k
    share = SHARE if step_k < STRONG_K else 1.0
    return step_k > share * max(more.heat_k - less.heat_k, 0.0)


def change_of(subject: Subject, view: View, take: Take, on_s: float, courses: Courses) -> Change:
    """Return what a step of the room and what heat does to a subject's course in a recording."""
    inner, ring = inner_and_ring(subject, view, take.shape)
    if not inner.any() or not ring.any():
        return Change()
    since_s = take.times_s - on_s
    kept = slice(int(np.count_nonzero(since_s <= courses.times_s[-1])))
    since_s, segment, rise_k = since_s[kept], take.segment[kept], take.rise_k[kept]
    curve = rise_k[:, inner].mean(axis=1) - rise_k[:, ring].mean(axis=1)
    table = table_of(courses, since_s, segment)
    stays = ~departs(curve, table, take.noise_k / float(np.count_nonzero(inner)) ** 0.5)
    curve, table, since_s = curve[stays], table[stays], since_s[stays]
    usual_s = BODY_HEAT * subject.height_m / CONTACT
    slow = usual_s >= SLOW_S
    lag = int(np.argmin(np.abs(np.log(usual_s / np.array(TAUS_S))))) if slow else 0
    heat = [np.interp(since_s, courses.times_s, course) for course in courses.lagging(lag).T]
    table = np.column_stack([*heat, table[:, courses.count :]])
    step = _step(curve, table, _steps(since_s, close=slow))
    weights = np.linalg.lstsq(table, curve - step, rcond=1e-6)[0]
    warmed = weights[: len(heat)] @ heat
    return Change(float(step[-1]), float(warmed[-1] - warmed[0]))


def _step(curve: Floats, table: Floats, steps: Floats) -> Floats:
    """Return the step that explains most of what a table's columns leave; zeros where little."""
    base, _ = np.linalg.qr(table)
    left = curve - base @ (base.T @ curve)
    new = steps - base @ (base.T @ steps)
    energy = np.maximum(np.sum(new**2, axis=0), 1e-6 * np.sum(steps**2, axis=0))
    size = new.T @ left / energy
    explained = size**2 * energy
    best = int(np.argmax(explained))
    if explained[best] < (1 - LEFT**2) * float(left @ left):
        return np.zeros(len(curve))
    return np.asarray(size[best] * steps[:, best])


def _steps(since_s: Floats, *, close: bool) -> Floats:
    """Return what steps at any moment look like, shape (time, step); `close`: to power-on too."""
    moments = np.linspace(since_s[LEAST_SIDE], since_s[-LEAST_SIDE - 1], MOMENTS)
    about = np.linspace(-CLOSE_S, CLOSE_S, CLOSE_MOMENTS)
    moments = np.concatenate([moments[np.abs(moments) > CLOSE_S], about if close else []])
    late_s = np.maximum(since_s[:, None, None] - moments[:, None], 0.0)
    return np.asarray(-np.expm1(-late_s / np.array(LAGS_S))).reshape(len(since_s), -1)
