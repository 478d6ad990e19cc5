"""The pulse test over footage: which frames, and what its phase counts from."""

from __future__ import annotations

import numpy as np

from thermview.analysis.lockin import Harmonic, LockIn
from thermview.analysis.prepare import Looks, Progress
from thermview.analysis.waveform import course_of_log
from thermview.frames import Footage, MarkKind, SupplyLog


def pulse(
    footage: Footage,
    period_s: float,
    *,
    on_s: float | None = None,
    progress: Progress | None = None,
) -> tuple[Harmonic, float, str]:
    """Fit the first harmonic to all frames since the supply first switched on.

    Parameters
    ----------
    footage : Footage
    period_s : float
        Of the pulsed supply.
    on_s : float, optional
        When it switched on; unless given, a mark or the supply's log tells, else the
        recording's start stands in and the phase has no meaning beside comparison.

    Returns
    -------
    Harmonic
    on_s : float
    how : str
        "given", "marked", "supply log" or "recording's start".

    Raises
    ------
    UsageError
        Too few periods or pictures.
    """
    on_s, how = _switched_on(footage, period_s, on_s)
    lockin = LockIn(period_s, on_s)
    segment, looks = 0, Looks()
    numbers = range(footage.first, len(footage))
    for number in numbers:
        if progress is not None:
            progress(number - footage.first, len(numbers))
        if footage.times_s[number] < on_s:
            continue
        frame, time_s = footage.frame(number), float(footage.times_s[number])
        if not looks.new(frame, time_s):
            continue
        segment += looks.gap
        lockin.take(frame.kelvin(), time_s, segment)
    return lockin.result(), on_s, how


def _switched_on(footage: Footage, period_s: float, on_s: float | None) -> tuple[float, str]:
    if on_s is not None:
        return on_s, "given"
    marked = [mark.time_s for mark in footage.marks if mark.kind is MarkKind.POWER_ON]
    if marked:
        return min(marked), "marked"
    if footage.supply is not None and (edge_s := _first_edge(footage.supply, period_s)) is not None:
        return edge_s, "supply log"
    return float(footage.times_s[footage.first]), "recording's start"


def _first_edge(log: SupplyLog, period_s: float) -> float | None:
    """Return when a log's power first rises, sharpened by all its edges of that period."""
    course = course_of_log(log, log.time_s)
    if course is None:
        return None
    on = course.power > 0.5
    rises = np.flatnonzero(on[1:] & ~on[:-1])
    if not len(rises):
        return course.on_s
    edges = (log.time_s[rises] + log.time_s[rises + 1]) / 2
    turn = np.exp(2j * np.pi * (edges - edges[0]) / period_s).mean()
    return float(edges[0] + np.angle(turn) / (2 * np.pi) * period_s)
