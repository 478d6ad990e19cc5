"""What is told of a subject: nobody is accused who shows none of the heat."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.analysis.heat.watts import body_height_mm
from thermview.analysis.pair.align import Aligned, View
from thermview.analysis.pair.clock import WarmUp
from thermview.analysis.pair.plane import Subject
from thermview.analysis.pair.readings import Entry, compared

SUBJECT = Subject("C1", np.array([[10.0, 10.0], [18.0, 10.0], [18.0, 18.0], [10.0, 18.0]]))


def shown(inner_k: float, around_k: float = 5.0) -> WarmUp:
    rise_k = np.full((30, 30), around_k, np.float32)
    rise_k[10:18, 10:18] = inner_k
    nothing = np.zeros((1, 30, 30), np.float32)
    return WarmUp(nothing, 0.05, nothing[0], 0.01, rise_k)


@pytest.mark.parametrize(
    ("inner_k", "verdict"), [((9.0, 12.0), "hotter"), ((9.0, 1.0), "unreadable")]
)
def test_what_is_shiny_where_it_should_be_hot_is_not_accused(
    inner_k: tuple[float, float], verdict: str
) -> None:
    view = View(np.eye(3), 1.0, np.zeros((0, 2)), exact=True)
    aligned = Aligned(view, np.zeros((8, 8)), 0.0, 0.0)
    entry = Entry(0.1, 0.3, 0.02, 0.02, "hotter", 0.3)
    warm = [shown(k) for k in inner_k]
    assert compared(SUBJECT, True, entry, (aligned, aligned), warm).verdict == verdict


@pytest.mark.parametrize(("package", "tall_mm"), [("DPAK", 2.3), ("TO-252-2", 2.3)])
def test_a_flat_power_package_is_not_taken_for_a_tall_body(package: str, tall_mm: float) -> None:
    """JEDEC TO-252: 2.19 to 2.38 mm, from memory."""
    assert body_height_mm(package, 6.6, 6.1) == tall_mm
