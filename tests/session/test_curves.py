"""Curves that grow: rows, views, rises, rates, differences."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np
import pytest

from thermview.analysis.trend import rates
from thermview.errors import UsageError
from thermview.frames import Scene
from thermview.regions import Difference, Region, Spot
from thermview.session.curves import CurveStore
from thermview.session.measure import STATISTICS, MeasureKey

A, B = Region("a", Spot(1, 1), id="A"), Region("b", Spot(2, 2), id="B")
KEYS = {r.id: MeasureKey(r.shape, None) for r in (A, B)}


def row(*values: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.repeat(np.array(values)[:, None], len(STATISTICS), axis=1)


def filled(count: int, capacity: int = 4) -> CurveStore:
    store = CurveStore(capacity=capacity)
    store.set_columns(KEYS, (Difference("d", "A", "B", id="D"),))
    for number in range(count):
        store.append(number * 0.1, held=False)
        store.write(number, KEYS.values(), row(300 + number, 290))
    return store


def test_rows_survive_growing_and_views_stay_what_they_were() -> None:
    store = filled(3)
    early = store.column("A", "max")
    for number in range(3, 100):
        store.append(number * 0.1, held=number == 50)
        store.write(number, KEYS.values(), None if number == 50 else row(300 + number, 290))
    np.testing.assert_array_equal(early, [300, 301, 302])
    late = store.column("A", "max")
    assert len(late) == len(store) == len(store.times_s) == 100
    assert np.flatnonzero(np.isnan(late)).tolist() == [50]
    assert np.flatnonzero(store.held).tolist() == [50]
    with pytest.raises(ValueError, match="read-only"):
        late[0] = 0


def test_a_changed_region_is_measured_anew_and_the_others_keep_their_rows() -> None:
    store = filled(10)
    assert store.missing(0, 10).size == 0
    revision = store.revision
    moved = MeasureKey(Spot(5, 5), None)
    store.set_columns({"A": moved, "B": KEYS["B"]})
    assert store.revision > revision
    assert np.isnan(store.column("A", "min")).all()
    np.testing.assert_array_equal(store.column("B", "min"), 290)
    assert store.missing(2, 10).tolist() == list(range(2, 10))
    assert store.unmeasured(3) == (moved,)
    store.write(3, [KEYS["A"]], row(1.0))  # a late result for the old place: not wanted any more
    assert np.isnan(store.column("A", "min")).all()


def test_rise_is_over_the_columns_own_mean_in_the_interval() -> None:
    store = filled(20)
    assert np.isnan(store.rise("A", "max")).all()
    store.set_baseline((0.15, 0.65))
    np.testing.assert_allclose(store.rise("A", "max"), np.arange(20) - 4.0)
    np.testing.assert_allclose(store.rise("B", "max"), 0.0)
    np.testing.assert_allclose(store.difference("D", "mean"), 10 + np.arange(20))


def test_unknown_names_are_refused() -> None:
    store = filled(1)
    calls: tuple[Callable[[], object], ...] = (
        lambda: store.column("?", "max"),
        lambda: store.column("A", "median"),
        lambda: store.difference("?", "max"),
    )
    for call in calls:
        with pytest.raises(UsageError):
            call()


def test_rate_is_that_of_the_analysis() -> None:
    store = filled(100)
    rate = store.rate("A", "max", 1.0)
    np.testing.assert_allclose(rate[-50:], 10.0, rtol=1e-4)
    np.testing.assert_allclose(rate, rates(store.times_s, store.column("A", "max"), 1.0))


def test_readers_see_whole_rows_while_one_writes() -> None:
    store, broken = filled(1), threading.Event()
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            column, times = store.column("A", "max"), store.times_s
            known = column[~np.isnan(column)]
            if len(times) < len(column) or (np.diff(known) != 1).any():
                broken.set()

    readers = [threading.Thread(target=read) for _ in range(2)]
    for reader in readers:
        reader.start()
    for number in range(1, 3000):
        store.append(number * 0.1, held=False)
        store.write(number, KEYS.values(), row(300 + number, 290))
    done.set()
    for reader in readers:
        reader.join()
    assert not broken.is_set()


def test_scene_is_part_of_the_key() -> None:
    from session_fakes import SCALE

    assert MeasureKey.of(A, Scene(), SCALE) != MeasureKey.of(A, Scene(emissivity=0.9), SCALE)
