"""Equal parts of one board among themselves, without a known-good board."""

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from thermview.analysis.pair.align import Aligned
from thermview.analysis.pair.alone import among_equals, compare_equal_regions
from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.plane import Plane
from thermview.analysis.pair.readings import Compared
from thermview.errors import InputError
from thermview.frames import Footage
from thermview.regions import Rectangle, Region, RegionSet

GROUP = ("U1", "U2", "U3", "U4")


def board(watts: dict[str, float], sigma_w: float = 0.005) -> Comparison:
    """Return what a board's parts dissipate by themselves."""
    subjects = tuple(
        Compared(name, 0, 0, 1.0, 50 * w, w, w, sigma_w, "alike", sigma_w)
        for name, w in watts.items()
    )
    aligned = cast(Aligned, SimpleNamespace())
    notes = ("good board: power-on found", "bad board: power-on found")
    nothing = np.zeros((2, 1, 1), np.float32)
    plane = cast(Plane, SimpleNamespace())
    return Comparison(subjects, 1.0, (0, 0), 20.0, (aligned, aligned), plane, nothing, notes)


def verdicts(found: Comparison) -> dict[str, str]:
    return {one.name: one.verdict for one in found.subjects}


def test_the_cold_one_of_four_against_the_others() -> None:
    watts = {"U1": 0.21, "U2": 0.19, "U3": 0.2, "U4": 0.01, "U9": 1.0}
    found = among_equals(board(watts), [GROUP])
    assert verdicts(found) == {"U1": "alike", "U2": "alike", "U3": "alike", "U4": "colder"}
    last = found.subjects[-1]
    assert last.power_good_w == pytest.approx(np.median([0.21, 0.19, 0.2, 0.01]))
    assert last.rise_good_k == pytest.approx(50 * last.power_good_w)
    # the median's and the part's own model error, added in squares (GUM 5.1.2)
    own, usual = 0.25 * 0.01, 0.25 * last.power_good_w * np.sqrt(np.pi / 2) / 2
    assert last.sigma_w == pytest.approx(np.sqrt(0.005**2 + own**2 + usual**2), rel=0.01)
    assert found.notes == ("bad board: power-on found",)


def test_one_four_times_hotter() -> None:
    found = among_equals(board({"U1": 0.1, "U2": 0.11, "U3": 0.09, "U4": 0.9}), [GROUP])
    assert verdicts(found)["U4"] == "hotter"


def test_a_model_error_accuses_nobody() -> None:
    found = among_equals(board({"U1": 0.2, "U2": 0.15, "U3": 0.26, "U4": 0.11}), [GROUP])
    assert set(verdicts(found).values()) == {"alike"}


def test_a_group_that_does_not_agree_is_left_undecided() -> None:
    found = among_equals(board({"U1": 0.2, "U2": 0.2, "U3": 0.004, "U4": 0.003}), [GROUP])
    assert "colder" not in verdicts(found).values()
    assert "unreadable" in verdicts(found).values()


def test_an_uncertain_part_is_not_called_alike() -> None:
    sure = board({"U1": 0.2, "U2": 0.2, "U3": 0.2})
    dim = board({"U4": 0.0}, sigma_w=0.12).subjects
    found = among_equals(replace(sure, subjects=sure.subjects + dim), [GROUP])
    assert verdicts(found)["U4"] == "unreadable"
    assert verdicts(found)["U1"] == "alike"


def test_twice_its_equals_is_not_sure_by_one_board_alone() -> None:
    found = among_equals(board({"U1": 0.1, "U2": 0.11, "U3": 0.09, "U4": 0.2}), [GROUP])
    assert verdicts(found)["U4"] == "unreadable"


def test_a_cold_group_is_alike() -> None:
    found = among_equals(board({"U1": 0.0, "U2": 0.001, "U3": 0.0, "U4": 0.0}), [GROUP])
    assert set(verdicts(found).values()) == {"alike"}


def test_two_are_no_group() -> None:
    with pytest.raises(InputError, match="three equal parts"):
        among_equals(board({"U1": 0.2, "U2": 0.1}), [GROUP])
    two = RegionSet((Region("a", Rectangle(1, 1, 3, 3)), Region("b", Rectangle(9, 1, 3, 3))))
    with pytest.raises(InputError, match="2 regions"):
        compare_equal_regions(cast(Footage, None), two)
