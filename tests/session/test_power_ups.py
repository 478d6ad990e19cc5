"""Every power-up of one recording, by marks and by the supply's log."""

import numpy as np

from thermview.frames import Mark, MarkKind, SupplyLog
from thermview.session.finding import power_ups


def log(*spans: tuple[float, float], until_s: float = 60.0) -> SupplyLog:
    time_s = np.arange(0.0, until_s, 0.1)
    on = np.zeros(len(time_s), dtype=bool)
    for start, end in spans:
        on |= (time_s >= start) & (time_s < end)
    return SupplyLog(time_s, 12.0 * on, 0.3 * on)


def told(found: object) -> list[tuple[float, float | None]]:
    assert isinstance(found, list)
    return [(round(c.on_s, 1), None if c.off_s is None else round(c.off_s, 1)) for c in found]


def test_two_power_ups_in_the_log() -> None:
    assert told(power_ups((), log((4.0, 20.0), (35.0, 60.0)))) == [(4.0, 20.0), (35.0, None)]


def test_a_short_gap_is_no_new_power_up() -> None:
    assert told(power_ups((), log((4.0, 20.0), (20.8, 60.0)))) == [(4.0, None)]


def test_marks_and_log_tell_of_the_same_once() -> None:
    marks = (Mark(4.6, MarkKind.POWER_ON), Mark(41.0, MarkKind.POWER_ON))
    found = power_ups(marks, log((4.0, 20.0)))
    assert told(found) == [(4.6, 20.0), (41.0, None)]
    assert [c.marked for c in found] == [True, True]


def test_marks_alone() -> None:
    marks = [Mark(t, k) for t, k in ((3.0, MarkKind.POWER_ON), (30.0, MarkKind.POWER_ON))]
    assert told(power_ups(marks, None)) == [(3.0, 30.0), (30.0, None)]
    assert power_ups((), None) == []
