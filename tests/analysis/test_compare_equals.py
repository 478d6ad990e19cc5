from types import SimpleNamespace
from typing import cast

import pytest

from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.equals import consensus, equal_parts, odd_ones
from thermview.analysis.pair.readings import Compared
from thermview.board import Part


def compared(name: str, bad_w: float, good_w: float = 0.1, verdict: str = "alike") -> Compared:
    return Compared(name, 0, 0, 1.0, 1.0, good_w, bad_w, 0.005, verdict)


def comparison(*subjects: Compared) -> Comparison:
    return cast(Comparison, SimpleNamespace(subjects=subjects))


def driver(name: str, out: str, package: str = "SOIC-16") -> Part:
    return Part(name, package, 0, 0, value="driver", nets=("GND", "+24V", out, f"IN_{out}"))


DRIVERS = [driver(f"U{n}", f"OUT{n}") for n in range(1, 5)]
RAILS = [Part(f"C{n}", "C_0603", 0, 0, value="100n", nets=("GND", "+24V")) for n in range(9)]


def test_equals_have_one_package_and_one_pattern_of_nets() -> None:
    other = Part("U9", "SOIC-16", 0, 0, value="driver", nets=("GND", "+24V", "A", "B", "C"))
    groups = equal_parts([*DRIVERS, *RAILS, other])
    assert ("U1", "U2", "U3", "U4") in groups
    assert all("U9" not in group for group in groups)


def test_without_nets_only_chips_are_taken_for_equals() -> None:
    chips = [Part(f"U{n}", "SOIC-8", 0, 0, value="x") for n in range(3)]
    resistors = [Part(f"R{n}", "R_0603", 0, 0, value="10k") for n in range(3)]
    unnamed = [Part(f"Q{n}", "SOT-23", 0, 0) for n in range(3)]  # a package alone tells nothing
    assert equal_parts([*chips, *resistors, *unnamed]) == [("U0", "U1", "U2")]


def test_three_of_four_drivers_warm() -> None:
    found = odd_ones(
        comparison(*(compared(f"U{n}", w) for n, w in ((1, 0.21), (2, 0.19), (3, 0.2), (4, 0.01)))),
        equal_parts(DRIVERS),
    )
    assert [(odd.name, odd.verdict) for odd in found] == [("U4", "colder")]
    assert found[0].words == "3 of 4 equal parts warm (U1, U2, U3), U4 does not"


@pytest.mark.parametrize("watts", [(0.2, 0.21, 0.19, 0.17), (0.3, 0.01, 0.02, 0.25), (0, 0, 0, 0)])
def test_nobody_is_odd_where_the_group_does_not_agree(watts: tuple[float, ...]) -> None:
    listed = (compared(f"U{n}", w) for n, w in enumerate(watts, 1))
    assert odd_ones(comparison(*listed), equal_parts(DRIVERS)) == []


def test_several_good_boards_outvote_one() -> None:
    def against(good_w: float, verdict: str) -> Comparison:
        return comparison(
            compared("U1", 0.055, good_w, verdict), compared("U2", 0.0, 0.1, "colder")
        )

    first, second = consensus(
        [against(0.06, "alike"), against(0.055, "alike"), against(0.1, "colder")]
    )
    assert (first.verdict, second.verdict) == ("alike", "colder")
    assert first.power_good_w == pytest.approx(0.06)
    assert first.sigma_w > 0.02  # the good boards differ, and that counts
    assert second.sigma_w == pytest.approx(0.005)
