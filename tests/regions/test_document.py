"""Editing regions: steps, gestures, copies, names; any sequence of edits can be undone."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from thermview.errors import InputError, UsageError
from thermview.regions import Difference, Rectangle, RegionDocument, RegionSet, Spot


@pytest.fixture
def document() -> RegionDocument:
    document = RegionDocument()
    document.add(Rectangle(10, 10, 5, 5), "U3")
    document.add(Rectangle(30, 10, 5, 5), "U4")
    return document


def ids(document: RegionDocument) -> list[str]:
    return [region.id for region in document.current.regions]


def differences(document: RegionDocument) -> list[Difference]:
    return list(document.current.differences)


def names(document: RegionDocument) -> list[str]:
    return [region.name for region in document.current.regions]


def test_undo_and_redo(document: RegionDocument) -> None:
    calls: list[int] = []
    document.on_change.append(lambda: calls.append(len(document.current)))
    assert document.undo_label == "add U4"
    document.undo()
    assert names(document) == ["U3"]
    assert document.redo_label == "add U4"
    document.redo()
    assert names(document) == ["U3", "U4"]
    assert not document.can_redo
    document.undo()
    document.add(Spot(1, 1))
    assert names(document) == ["U3", "A1"]
    assert not document.can_redo
    assert calls == [1, 2, 1, 2]


def test_undo_with_nothing_to_undo_is_quiet() -> None:
    document = RegionDocument()
    document.undo()
    document.redo()
    assert not document.can_undo
    assert document.undo_label == ""


def test_drag_is_one_step(document: RegionDocument) -> None:
    first = ids(document)[0]
    before = document.current
    document.begin_gesture("move U3")
    for step in range(1, 20):
        document.set_shape(first, Rectangle(10 + step, 10, 5, 5))
    document.end_gesture()
    assert document.undo_label == "move U3"
    document.undo()
    assert document.current == before
    assert document.undo_label == "add U4"


def test_gesture_that_changes_nothing_is_no_step(document: RegionDocument) -> None:
    first = ids(document)[0]
    document.begin_gesture("move U3")
    document.move([first], 3, 0)
    document.move([first], -3, 0)
    document.end_gesture()
    assert document.undo_label == "add U4"


def test_cancelled_gesture_leaves_no_trace(document: RegionDocument) -> None:
    before = document.current
    document.begin_gesture("move U3")
    document.move(ids(document), 3, 0)
    document.cancel_gesture()
    assert document.current == before
    assert document.undo_label == "add U4"


def test_rename_keeps_names_unique(document: RegionDocument) -> None:
    first, second = ids(document)
    document.rename(first, "  regulator ")
    assert names(document) == ["regulator", "U4"]
    with pytest.raises(InputError, match="'regulator' is taken"):
        document.rename(second, "regulator")
    with pytest.raises(InputError, match="name must be"):
        document.rename(second, "   ")
    document.rename(second, "U4")
    assert document.undo_label == "rename U3 to regulator"


def test_names_are_found_for_new_and_copied(document: RegionDocument) -> None:
    document.add(Spot(1, 1), "U3")
    document.duplicate(ids(document)[:1])
    document.duplicate(ids(document)[-1:])
    assert names(document) == ["U3", "U4", "U3 2", "U3 3", "U3 4"]


def test_copies_to_an_equal_channel(document: RegionDocument) -> None:
    document.configure(ids(document)[0], emissivity=0.9, limit_k=350.0)
    shifted = document.copy_shifted(ids(document), 0, 40, suffix=" right")
    assert [region.name for region in shifted] == ["U3 right", "U4 right"]
    assert shifted[0].shape == Rectangle(10, 50, 5, 5)
    assert (shifted[0].emissivity, shifted[0].limit_k) == (0.9, 350.0)
    assert document.undo_label == "copy 2 regions"
    mirrored = document.copy_mirrored_x(ids(document)[:1], 50)
    assert mirrored[0].shape == Rectangle(85, 10, 5, 5)
    assert mirrored[0].name == "U3 B"
    mirrored = document.copy_mirrored_y(ids(document)[:1], 20)
    assert mirrored[0].shape == Rectangle(10, 25, 5, 5)
    document.undo()
    document.undo()
    document.undo()
    assert len(document.current) == 2


def test_deleting_a_region_deletes_its_differences(document: RegionDocument) -> None:
    first, second = ids(document)
    item = document.add_difference(first, second)
    assert item.name == "U3 − U4"
    document.add(Spot(3, 3), "can")
    document.remove([first])
    assert differences(document) == []
    assert names(document) == ["U4", "can"]
    document.undo()
    assert differences(document) == [item]
    document.remove([item.id])
    assert names(document) == ["U3", "U4", "can"]
    document.undo()
    document.rename(item.id, "U3 over U4")
    assert differences(document)[0].name == "U3 over U4"


def test_copies_are_of_regions_only(document: RegionDocument) -> None:
    item = document.add_difference(*ids(document))
    with pytest.raises(UsageError):
        document.duplicate([item.id])


def test_settings_out_of_range_change_nothing(document: RegionDocument) -> None:
    first = ids(document)[0]
    before = document.current
    for setting, value in [
        ("emissivity", 0.0),
        ("emissivity", 1.01),
        ("emissivity", float("nan")),
        ("limit_k", -1.0),
        ("reflected_k", 0.0),
        ("statistic", "median"),
    ]:
        with pytest.raises(InputError):
            document.configure(first, **{setting: value})
    assert document.current == before
    document.configure(first, statistic="mean")
    assert document.current.by_id(first).statistic == "mean"
    assert document.undo_label == "settings of U3"


def test_order_and_new_start(document: RegionDocument) -> None:
    document.reorder(ids(document)[0], 1)
    assert names(document) == ["U4", "U3"]
    document.load(RegionSet())
    assert len(document.current) == 0
    document.undo()
    assert names(document) == ["U4", "U3"]
    document.reset(RegionSet())
    assert not document.can_undo


def test_by_name_lists_what_there_is(document: RegionDocument) -> None:
    assert document.current.by_name("U4").id == ids(document)[1]
    with pytest.raises(InputError, match="no region 'U9'; regions here: U3, U4"):
        document.current.by_name("U9")


class Editing(RuleBasedStateMachine):
    """Any edits whatever: undoing all of them shows every earlier set again, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.document = RegionDocument()
        self.past = [self.document.current]

    def did(self, action: Callable[[], object]) -> None:
        before = self.document.current
        action()
        if self.document.current != before:
            self.past.append(self.document.current)

    def pick(self, number: int) -> str:
        regions = self.document.current.regions
        return regions[number % len(regions)].id

    @rule(x=st.floats(0, 100), name=st.sampled_from(["", "U1", "U1 2", "A1"]))
    def add(self, x: float, name: str) -> None:
        self.did(lambda: self.document.add(Spot(x, 5), name))

    @precondition(lambda self: len(self.document.current) > 0)
    @rule(number=st.integers(0, 9), action=st.sampled_from(["remove", "duplicate", "mirror"]))
    def change(self, number: int, action: str) -> None:
        actions: dict[str, Callable[[], object]] = {
            "remove": lambda: self.document.remove([self.pick(number)]),
            "duplicate": lambda: self.document.duplicate([self.pick(number)]),
            "mirror": lambda: self.document.copy_mirrored_x([self.pick(number)], 50),
        }
        self.did(actions[action])

    @precondition(lambda self: len(self.document.current) > 0)
    @rule(number=st.integers(0, 9), moves=st.lists(st.integers(-5, 5), max_size=4))
    def drag(self, number: int, moves: list[int]) -> None:
        def gesture() -> None:
            self.document.begin_gesture("move")
            for dx in moves:
                self.document.move([self.pick(number)], dx, 0)
            self.document.end_gesture()

        self.did(gesture)

    @precondition(lambda self: len(self.document.current) > 1)
    @rule(first=st.integers(0, 9), second=st.integers(0, 9))
    def difference(self, first: int, second: int) -> None:
        if self.pick(first) != self.pick(second):
            self.did(lambda: self.document.add_difference(self.pick(first), self.pick(second)))

    @rule()
    def undo_all_and_redo_all(self) -> None:
        last = self.document.current
        for expected in reversed(self.past[:-1]):
            self.document.undo()
            assert self.document.current == expected
        assert not self.document.can_undo
        while self.document.can_redo:
            self.document.redo()
        assert self.document.current == last

    @invariant()
    def names_differ(self) -> None:
        names = list(self.document.current.names.values())
        assert len(set(names)) == len(names)


Editing.TestCase.settings = settings(max_examples=30, stateful_step_count=20, deadline=None)
TestEditing = Editing.TestCase
