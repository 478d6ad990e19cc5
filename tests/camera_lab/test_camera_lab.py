"""A camera on a real kernel: what the program records of it, and what it makes of its troubles.

`THERMVIEW_REALKERNEL=1` runs it; the guest is built once, in the folder `THERMVIEW_LAB` (else
beside the user's other data of that kind). It takes about eight minutes, nearly all of them the
recordings' own length.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median

import evidence
import guest
import numpy as np
import platformdirs
import pytest
from evidence import DAMAGED, GAP_BEFORE, REPEATED, Evidence

ROOT = Path(__file__).resolve().parents[2]
EXACT = ("exact-y16-bulk", "exact-y16-isochronous", "exact-double-bulk", "exact-double-isochronous")
FAULTS = ("faults-bulk", "faults-isochronous")
LONGEST_S = 900.0
MOST_OTHERS = 0.1
"""Where other work takes a larger share of the processors, what is emulated falls behind."""

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not os.environ.get("THERMVIEW_REALKERNEL"), reason="THERMVIEW_REALKERNEL is not set"
    ),
    pytest.mark.skipif(bool(guest.missing()), reason=guest.missing() or "nothing is missing"),
]

Found = Callable[[str], Evidence]


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> guest.Outcome:
    """Run all scenarios in one guest."""
    given = os.environ.get("THERMVIEW_LAB")
    folder = Path(given) if given else platformdirs.user_cache_path("thermview") / "lab"
    out = tmp_path_factory.mktemp("lab")
    script = Path(__file__).with_name("scenarios.py")
    command = f"cd {ROOT} && {sys.executable} {script} {guest.OUT}"
    kernel = guest.kernel_in(folder)
    outcome = guest.run_in_guest(kernel, command, out, timeout_s=LONGEST_S)
    if outcome.others > MOST_OTHERS or outcome.stuck:
        why = "the guest's kernel hung" if outcome.stuck else "other work took the machine"
        print(f"{why} ({outcome.others:.0%} other work): all is run once more")
        out = tmp_path_factory.mktemp("lab")
        outcome = guest.run_in_guest(kernel, command, out, timeout_s=LONGEST_S)
    print(
        f"guest: status {outcome.status} after {outcome.seconds:.0f} s, other work took "
        f"{outcome.others:.0%} of the machine\n{outcome.log}"
    )
    return outcome


@pytest.fixture(scope="module")
def found(outcome: guest.Outcome) -> Found:
    """Return what gives the evidence of one scenario."""
    out = outcome.out

    def of(name: str) -> Evidence:
        if not (out / f"{name}.json").exists():
            pytest.fail(f"{name} did not come to an end; the guest said:\n{outcome.log[-3000:]}")
        result = Evidence.of(out, name)
        if "traceback" in result.facts:
            pytest.fail(f"{name} broke:\n{result.facts['traceback']}")
        return result

    return of


# -- whole and true --------------------------------------------------------------------


@pytest.mark.parametrize("name", EXACT)
def test_every_bit_of_1500_pictures(found: Found, name: str) -> None:
    evidence.is_bit_exact(found(name))


@pytest.mark.parametrize("name", EXACT)
def test_none_of_1500_pictures_is_lost(found: Found, name: str) -> None:
    evidence.has_all(found(name), 1500)


@pytest.mark.parametrize("name", EXACT)
def test_times_are_the_drivers_at_25_a_second(found: Found, name: str) -> None:
    film = found(name)
    evidence.has_the_drivers_times(film)
    assert np.median(np.diff(film.times_s)) == pytest.approx(0.04, abs=0.004)


def test_one_flipped_bit_on_the_wire_fails_the_bit_check_and_no_other(found: Found) -> None:
    """The negative control: what would go unnoticed if the checks could not fail."""
    flipped = found("flipped")
    with pytest.raises(AssertionError, match="1 wrong bits"):
        evidence.is_bit_exact(flipped)
    evidence.has_all(flipped, 90)
    evidence.has_the_drivers_times(flipped)


# -- the cable -------------------------------------------------------------------------------------


def test_twenty_replugs_are_one_recording_with_every_picture_that_came(found: Found) -> None:
    film = found("replugs")
    assert film.facts["status"] == 0
    evidence.has_all_that_came(film)
    evidence.has_the_drivers_times(film)
    evidence.marks_damage_and_nothing_else(film)
    evidence.is_bit_exact(film, (film.flags & DAMAGED) == 0)
    sequence = np.array([row.sequence for row in film.rows])
    restarts = (np.flatnonzero(np.diff(sequence) <= 0) + 1).tolist()
    assert len(restarts) == len(film.facts["pulls"]) == 20
    assert np.flatnonzero(film.flags & GAP_BEFORE).tolist() == restarts
    assert film.gap_marks_s == pytest.approx(film.times_s[restarts].tolist())


def test_an_unplugged_camera_is_noticed_in_a_tenth_of_a_second(found: Found) -> None:
    film = found("replugs")
    told = [at_s for at_s, line in film.facts["lines"] if "is gone" in line]
    delays_s = [at_s - pull_s for at_s, pull_s in zip(told, film.facts["pulls"], strict=True)]
    assert median(delays_s) < 0.1, delays_s


# -- a camera in trouble ---------------------------------------------------------------


@pytest.mark.parametrize("name", FAULTS)
def test_a_stall_is_told_after_a_second_and_nothing_is_lost_over_it(
    found: Found, name: str
) -> None:
    film = found(name)
    stalled_s, over_s = film.facts["times"]["stall"], film.facts["times"]["stall over"]
    told = [at_s for at_s, line in film.facts["lines"] if "no frame from" in line]
    assert len(told) == 1
    assert 0.9 < told[0] - stalled_s < 1.6
    longest_s = np.diff(film.times_s).max()
    assert longest_s == pytest.approx(over_s - stalled_s, abs=0.3)
    assert film.losses["late"] >= 1
    assert film.gap_marks_s == []
    evidence.has_all_that_came(film)
    evidence.has_the_drivers_times(film)


@pytest.mark.parametrize("name", FAULTS)
def test_half_and_flagged_pictures_are_all_caught_and_no_other(found: Found, name: str) -> None:
    film = found(name)
    evidence.marks_damage_and_nothing_else(film)
    shorts, errors = film.modes("short"), film.modes("error")
    assert np.count_nonzero(film.flags & DAMAGED) == len(shorts[0]) + len(errors[0])
    evidence.is_bit_exact(film, (film.flags & DAMAGED) == 0)


def test_pictures_that_the_driver_keeps_to_itself_are_counted_as_lost(found: Found) -> None:
    film = found("dropped")
    (short,) = film.modes("short")
    gaps = np.diff([row.sequence for row in film.received]) - 1
    assert film.losses["source_lost"] == gaps.sum() == len(short)
    gaps = gaps[: len(film.rows) - 1]
    places = np.flatnonzero(gaps) + 1
    assert np.flatnonzero(film.flags & GAP_BEFORE).tolist() == places.tolist()


@pytest.mark.parametrize("name", FAULTS)
def test_a_shutter_is_recognised(found: Found, name: str) -> None:
    film = found(name)
    (frozen,) = film.modes("freeze")
    first = film.numbers.tolist().index(frozen[0])
    still = np.arange(first + 1, first + len(frozen))
    assert np.flatnonzero(film.flags & REPEATED).tolist() == still.tolist()
    held = np.flatnonzero(film.shutter)
    assert held.tolist() == still[-len(held) :].tolist()
    open_s = film.times_s[held[0]] - film.times_s[first]
    assert open_s < 0.3


@pytest.mark.parametrize("name", FAULTS)
def test_a_second_program_is_refused_with_reason_and_harms_nothing(found: Found, name: str) -> None:
    film = found(name)
    second = film.facts["second"]
    assert second["status"] == 3
    (line,) = [line for _, line in second["lines"] if "error" in line]
    assert "is busy" in line
    assert "python" in line  # who holds it
    assert film.facts["status"] == 0


# -- finding, guessing, setting --------------------------------------------------------


def test_a_camera_is_listed_with_serial_port_formats_guess_and_controls(found: Found) -> None:
    facts = found("finding").facts
    (offer,) = facts["listed"]["answer"]["inputs"]  # the metadata node is left out
    assert offer["name"].startswith("Bench camera")
    assert offer["details"][0].startswith("serial LAB0001, port 1-1")
    assert any("256 × 384 at 25/s" in line for line in offer["details"])
    assert offer["layout"].startswith("layout double-height-lower-raw: ")
    assert "23 °C, as in a room" in offer["layout"]
    assert [control["name"] for control in offer["controls"]] == ["Brightness"]
    assert facts["brightness"] == 7  # as it arrived in the camera
    assert facts["gone"]["status"] == 3


def test_a_user_who_may_not_read_it_is_told_what_to_do(found: Found) -> None:
    barred = found("finding").facts["barred"]
    assert barred["status"] == 3
    (line,) = [line for _, line in barred["lines"] if "error" in line]
    assert "/dev/video0 may not be read by this user" in line
    assert "usermod -aG video" in line


def test_the_guessed_layout_records_true_temperatures(found: Found) -> None:
    film = found("finding")
    assert np.median(film.counts) / 64 == pytest.approx(296.15, abs=0.05)
    assert film.counts.shape[1:] == (192, 256)


def test_the_watch_tells_of_an_unplugged_camera_in_a_tenth_of_a_second(found: Found) -> None:
    assert found("finding").facts["noticed_s"] < 0.1


# -- the window ------------------------------------------------------------------------


def test_the_window_stays_responsive_through_it_all(found: Found) -> None:
    facts = found("window").facts
    phases = {phase["phase"]: phase for phase in facts["phases"]}
    usual_s = max(phases["quiet"]["longest_wait_s"], phases["quiet again"]["longest_wait_s"])
    for name in ("stall", "unplugged", "back", "damaged"):
        worst_s = max(p["longest_wait_s"] for p in facts["phases"] if p["phase"] == name)
        # a notice that comes or goes lays the whole window out anew
        limit_s = max(0.5, usual_s + 2 * facts["lay_out_s"])
        assert worst_s < limit_s, (name, worst_s, limit_s)
    assert not any("Bench camera" in words for words in phases["nothing plugged in"]["listed"])
    assert "Bench camera" in phases["plugged in"]["listed"][0]
    assert "stalled" in phases["stall"]["states"]
    assert "reconnecting" in phases["unplugged"]["states"]
    assert "running" in phases["end"]["states"]
    assert phases["end"]["frames_shown"] > 0
    assert facts["marks"].count("gap") == 3
    assert facts["brightness"] == 9  # set in the window while the pictures came


def test_the_window_closes_cleanly_with_the_camera_open(
    found: Found, outcome: guest.Outcome
) -> None:
    """A thread or a device left over would abort the process at its end."""
    assert found("window").facts["phases"][-1]["states"] == ["running"]
    assert outcome.status == 0
    assert "terminate called" not in outcome.log
