"""Does what a part shows follow the power at all? What is mirrored in metal follows the room.

A window opened or a lamp switched on changes what shiny parts mirror, as a step at any moment; what
warms begins with the power. Of a part and its close surroundings, each picture gives one
difference: where a step at another moment explains its course better than all that heat can do,
the part says nothing about its power.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import View
from thermview.analysis.pair.clock import Courses, table_of
from thermview.analysis.pair.plane import Subject
from thermview.analysis.pair.readings import inner_and_ring
from thermview.analysis.prepare import Take
from thermview.analysis.responses import one_pole
from thermview.analysis.waveform import step_at

Floats = NDArray[np.float64]

LAGS_S = (0.3, 2.0, 8.0)
APART_S = 1.5
"""A step so close to power-on cannot be told from it."""
MOMENTS = 40
LEAST_SIDE = 3  # frames before and after a step


def apart_from_power(
    subject: Subject, view: View, take: Take, on_s: float, courses: Courses
) -> bool:
    """Tell whether a subject's course in a recording is a step of the room rather than heat."""
    inner, ring = inner_and_ring(subject, view, take.shape)
    if not inner.any() or not ring.any():
        return False
    since_s = take.times_s - on_s
    kept = slice(int(np.count_nonzero(since_s <= courses.times_s[-1])))
    since_s, segment, rise_k = since_s[kept], take.segment[kept], take.rise_k[kept]
    curve = rise_k[:, inner].mean(axis=1) - rise_k[:, ring].mean(axis=1)
    table = table_of(courses, since_s, segment)
    offsets = table[:, courses.count :]
    by_heat = _left(table, curve)
    moments = np.linspace(since_s[LEAST_SIDE], since_s[-LEAST_SIDE - 1], MOMENTS)
    for moment in moments[np.abs(moments) > APART_S]:
        course = step_at(since_s, np.array([moment]))
        steps = one_pole(np.repeat(course, len(LAGS_S), axis=1), since_s, 1 / np.array(LAGS_S))
        for step in steps.T:
            if _left(np.column_stack([step, offsets]), curve) < by_heat:
                return True
    return False


def _left(table: Floats, curve: Floats) -> float:
    """Return what a table's columns leave of a curve, K²."""
    fitted = table @ np.linalg.lstsq(table, curve, rcond=1e-6)[0]
    return float(np.sum((curve - fitted) ** 2))
