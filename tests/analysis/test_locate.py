"""Which part dissipates: on another program's recordings, and on small computed boards."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, special

from thermview.analysis.heat.locate import Located, Nature, analyse, locate
from thermview.analysis.heat.switching import Switching, course_of_switchings
from thermview.analysis.heat.watts import (
    BOARD_DOUBT,
    PART_DOUBT,
    SHARE,
    SHARE_LESS,
    within_supply,
)
from thermview.analysis.heat_model import CAPACITY, Footprint
from thermview.analysis.prepare import Shots, Take, anchored, take_of
from thermview.analysis.responses import Drive, Modes, nuisances, one_pole
from thermview.analysis.stabilise import steady
from thermview.analysis.waveform import course_of_log
from thermview.board import fit_homography, load_landmarks, load_placement
from thermview.errors import InputError
from thermview.frames import SupplyLog
from thermview.recording.reader import open_recording

Floats = NDArray[np.float64]

MM = 0.5
SHAPE = (96, 128)
TIMES = np.arange(0.0, 14.0, 0.1)


def sample(samples: Path, name: str, **options: float) -> tuple[Located, dict[str, object]]:
    truth = json.loads((samples / "truth.json").read_text())[name]
    parts = load_placement(samples / f"{name}.parts.csv")
    view = fit_homography(load_landmarks(samples / f"{name}.landmarks.json"))
    footage = open_recording(samples / f"{name}.h5")
    try:
        return locate(footage, parts, view, period_s=options.get("period_s")), truth
    finally:
        footage.close()


@pytest.mark.parametrize("name", ["ramp-strong", "ramp-mirror", "ramp-handheld"])
def test_another_programs_recordings(samples: Path, name: str) -> None:
    found, truth = sample(samples, name)
    assert found.heated
    first = found.suspects[0]
    assert first.part == truth["part"]
    assert first.nature is Nature.HEATING
    power_w = float(str(truth["power_W"]))
    assert power_w / 1.5 < first.power_w < power_w * 1.5
    heating = [s for s in found.suspects if s.nature is Nature.HEATING]
    assert len(heating) == 1


def test_another_programs_pulsed_recording(samples: Path) -> None:
    found, truth = sample(samples, "ramp-pulsed", period_s=2.0)
    assert found.suspects[0].part == truth["part"]
    power_w = float(str(truth["power_W"]))
    assert power_w / 2 < found.suspects[0].power_w < power_w * 2


def test_another_programs_pulsed_recording_without_a_list(samples: Path) -> None:
    truth = json.loads((samples / "truth.json").read_text())["ramp-pulsed"]
    parts = load_placement(samples / "ramp-pulsed.parts.csv")
    view = fit_homography(load_landmarks(samples / "ramp-pulsed.landmarks.json"))
    part = next(part for part in parts if part.designator == truth["part"])
    with closing(open_recording(samples / "ramp-pulsed.h5")) as footage:
        (place,) = locate(footage, period_s=2.0).elsewhere
    (expected,) = view.board_to_pixel(np.array([[part.x_mm, part.y_mm]]))
    assert (place.x_px, place.y_px) == pytest.approx(tuple(expected), abs=1.5)


def test_another_programs_quiet_recording(samples: Path) -> None:
    found, _ = sample(samples, "ramp-quiet")
    assert not found.heated
    assert all(s.nature is not Nature.HEATING for s in found.suspects)


def squares() -> list[Footprint]:
    """Parts of 2 × 1.5 mm in rows, pixels of 0.5 mm."""
    prints = []
    for i in range(24):
        x, y = 16.0 + 16 * (i % 6), 16.0 + 18 * (i // 6)
        corners = np.array([[x - 2, y - 1.5], [x + 2, y - 1.5], [x + 2, y + 1.5], [x - 2, y + 1.5]])
        prints.append(Footprint(f"R{i}", corners, 2e-3 * 1.5e-3, 0.5e-3))
    return prints


def heated_spot(
    rise: Floats, centre: tuple[float, float], power_w: float, course: Floats, kappa: float = 0.004
) -> None:
    """Add the closed solution of a Gaussian source on a thin sheet, by superposed steps.

    A step of P in a Gaussian of variance s² gives (P/4πκ)[E1(r²/(2s²+4at)) - E1(r²/2s²)]
    (Carslaw & Jaeger's continuous point source, started s²/2a earlier).
    """
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5
    r2 = ((x - centre[0]) ** 2 + (y - centre[1]) ** 2) * (MM * 1e-3) ** 2 + 1e-10
    size2 = (0.9e-3) ** 2
    for k, change in enumerate(np.diff(course, prepend=0.0)):
        if change:
            for n in range(k + 1, len(TIMES)):
                wide = 2 * size2 + 4 * kappa / CAPACITY * (TIMES[n] - TIMES[k])
                step = special.exp1(r2 / wide) - special.exp1(r2 / (2 * size2))
                rise[n] += change * power_w / (4 * np.pi * kappa) * step


def take(rise: Floats, seed: int = 0, noise_k: float = 0.04) -> Take:
    rng = np.random.default_rng(seed)
    pictures = (rise + 300.0 + rng.normal(0, noise_k, rise.shape)).astype(np.float32)
    return take_of(Shots(pictures, TIMES, np.zeros(len(TIMES), dtype=np.int64)))


def step(on_s: float) -> Floats:
    return (on_s <= TIMES).astype(np.float64)


@pytest.fixture(scope="module")
def warmed() -> Floats:
    rise = np.zeros((len(TIMES), *SHAPE))
    heated_spot(rise, (48.0, 34.0), 0.02, step(4.0))
    return rise


def test_closed_solution_is_found_with_its_power(warmed: Floats) -> None:
    found = analyse(take(0.92 * warmed), squares(), MM)
    assert found.heated
    assert found.suspects[0].part == "R8"
    assert found.power_on_from == "frames"
    assert found.power_on_s == pytest.approx(4.0, abs=0.3)
    assert 0.01 < found.suspects[0].power_w < 0.04


def test_log_gives_time_and_upper_limit(warmed: Floats) -> None:
    log = SupplyLog(TIMES, 2.0 * step(4.0), 0.012 * step(4.0))
    found = analyse(take(0.92 * warmed), squares(), MM, supply=log)
    assert found.power_on_from == "supply log"
    assert found.supply_w == pytest.approx(0.024, rel=0.01)
    assert found.suspects[0].part == "R8"
    assert found.suspects[0].power_w == pytest.approx(0.02, rel=0.35)
    assert found.suspects[0].power_w <= 0.024


def test_a_matt_patch_takes_the_drift_off_where_all_of_the_board_warms(warmed: Floats) -> None:
    """The rise put in is the check; 0.8 K of drift, and no place of the board stays cold."""
    drift = 0.2 * np.sin(TIMES / 2.2) - 0.06 * TIMES
    all_over = 1.5 * -np.expm1(-np.maximum(TIMES - 4.0, 0.0) / 6.0)
    rise = 0.92 * warmed + all_over[:, None, None]
    patch = np.zeros(SHAPE, bool)
    patch[80:88, 8:16] = True
    rise[:, patch] = 0.0
    seen = take(rise + drift[:, None, None])
    true_k = rise[-15:].mean(axis=0) - rise[TIMES < 3.95].mean(axis=0)
    with_it = analyse(anchored(seen, patch), squares(), MM)
    without = analyse(seen, squares(), MM)
    assert with_it.suspects[0].part == without.suspects[0].part == "R8"
    away = {name: found.rise_k - true_k for name, found in (("with", with_it), ("not", without))}
    assert abs(np.median(away["with"])) < 0.03
    assert abs(np.median(away["not"])) > 0.3
    told_k, hottest_k = with_it.suspects[0].rise_k, float(true_k.max())
    assert told_k == pytest.approx(hottest_k, rel=0.07)
    assert without.suspects[0].rise_k < 0.8 * hottest_k  # what all of the board does is missing
    assert any("draught" in note for note in without.notes)
    assert not any("draught" in note for note in with_it.notes)
    with pytest.raises(InputError, match="matt patch"):
        anchored(seen, patch & (np.arange(SHAPE[1]) < 9))


def test_marked_and_given_times_are_taken(warmed: Floats) -> None:
    given = analyse(take(0.92 * warmed), squares(), MM, power_on_s=4.0)
    assert given.power_on_from == "given"
    marked = analyse(take(0.92 * warmed), squares(), MM, marked_s=4.1)
    assert (marked.power_on_from, marked.power_on_s) == ("marked", 4.1)
    assert given.suspects[0].part == marked.suspects[0].part == "R8"


@pytest.mark.parametrize("size", [(24, 32), (62, 80)])
def test_small_pictures_tell_too(warmed: Floats, size: tuple[int, int]) -> None:
    rows, columns = size
    y, x = max(0, 34 - rows // 2), max(0, 48 - columns // 2)
    pictures = 300.0 + 0.92 * warmed[:, y : y + rows, x : x + columns]
    found = []
    for seed in range(4):
        noise = np.random.default_rng(seed).normal(0, 0.04, pictures.shape)
        kelvin = (pictures + noise).astype(np.float32)
        shots = Shots(kelvin, TIMES, np.zeros(len(TIMES), dtype=np.int64))
        found.append(analyse(steady(shots)[0], [], MM).elsewhere[0])
    assert {place.nature for place in found} == {Nature.HEATING}
    for place in found:
        assert (place.x_px, place.y_px) == pytest.approx((48.0 - x, 34.0 - y), abs=1.0)


def test_without_a_list_each_source_is_found_once(warmed: Floats) -> None:
    """Fifteen times apart in power; the stronger ones' flanks are no sources of their own."""
    places = [(48.0, 34.0), (90.0, 50.0), (30.0, 70.0)]
    rise = warmed.copy()
    heated_spot(rise, places[1], 0.3, step(4.0))
    heated_spot(rise, places[2], 0.1, step(4.0))
    found = analyse(take(0.92 * rise), [], MM).elsewhere
    assert {place.nature for place in found} == {Nature.HEATING}
    seen = sorted((place.x_px, place.y_px) for place in found)
    assert np.array(seen) == pytest.approx(np.array(sorted(places)), abs=0.7)


def test_noise_alone_heats_nothing() -> None:
    for seed in range(4):
        found = analyse(take(np.zeros((len(TIMES), *SHAPE)), seed), squares(), MM)
        assert not found.heated
        assert (found.power_on_s, found.power_on_from) == (None, "")  # nor does it tell a time


def test_a_wide_part_along_which_the_camera_drifts_does_not_heat() -> None:
    """A terminal block of 20 × 8 mm gathers drifts of millikelvins over 640 pixels."""
    x, y = np.meshgrid(np.arange(SHAPE[1]) + 0.5, np.arange(SHAPE[0]) + 0.5)
    corners = np.array([[44.0, 40.0], [84.0, 40.0], [84.0, 56.0], [44.0, 56.0]])
    block = Footprint("J1", corners, 20e-3 * 8e-3, 8e-3)
    bump = np.exp(-0.5 * (((x - 64) / 16) ** 2 + ((y - 48) / 7) ** 2))
    since = np.maximum(TIMES - 4.0, 0.0)
    log = SupplyLog(TIMES, 0.075 * step(4.0), 0.1 * step(4.0))
    for seed in range(4):
        course = 0.012 * -np.expm1(-since / 4.0)
        drift = course[:, None, None] * bump
        assert not analyse(take(drift, seed), [block, *squares()], MM, supply=log).heated
    # warmed for good: as heat that flows into the board under it and spreads there
    warm = np.zeros((len(TIMES), *SHAPE))
    for at in product(range(47, 84, 4), range(42, 56, 4)):
        heated_spot(warm, at, 0.01, step(4.0))
    log = SupplyLog(TIMES, step(4.0), step(4.0))
    found = analyse(take(warm), [block, *squares()], MM, supply=log)
    assert found.suspects[0].part == "J1"
    assert found.suspects[0].nature is Nature.HEATING


def test_what_is_faint_is_found_by_a_logged_step_and_noise_is_not(warmed: Floats) -> None:
    log = SupplyLog(TIMES, 2.0 * step(4.0), 0.001 * step(4.0))
    for seed in range(3):
        found = analyse(take(0.92 * warmed * 0.0008 / 0.02, seed), squares(), MM, supply=log)
        assert [s.part for s in found.suspects if s.nature is Nature.HEATING] == ["R8"]
        assert found.suspects[0].snr < 8
        assert not analyse(take(0.0 * warmed, seed), squares(), MM, supply=log).heated


def test_meant_to_be_warm_stands_last(warmed: Floats) -> None:
    rise = warmed.copy()
    heated_spot(rise, (80.0, 52.0), 0.2, step(4.0))
    found = analyse(take(0.92 * rise), squares(), MM, meant_warm=["R16"])
    assert [s.part for s in found.suspects if s.nature is Nature.HEATING] == ["R8", "R16"]
    assert [s.expected for s in found.suspects[:2]] == [False, True]
    assert [s.rank for s in found.suspects] == list(range(1, len(found.suspects) + 1))


def mirror(rise: Floats, place: tuple[int, int], coming: Floats) -> Floats:
    """Add a warm hand: dim and wide over the board, bright in a shiny part."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5
    blob = np.exp(-((x - place[1]) ** 2 + (y - place[0]) ** 2) / 2 / 30.0**2)
    shiny = np.full(SHAPE, 0.06)
    shiny[place[0] - 2 : place[0] + 2, place[1] - 2 : place[1] + 2] = 0.7
    return np.asarray(rise + 7.0 * coming[:, None, None] * blob * shiny)


def test_a_hand_that_comes_and_stays_is_a_reflection() -> None:
    rng = np.random.default_rng(8)
    coming = np.clip((TIMES - 5.0) / 1.2, 0, 1) * (1 + 0.05 * rng.normal(size=len(TIMES)))
    found = analyse(take(mirror(np.zeros((len(TIMES), *SHAPE)), (34, 48), coming)), squares(), MM)
    assert not found.heated
    told = {s.part: s.nature for s in found.suspects}
    assert told.get("R8", Nature.REFLECTION) is Nature.REFLECTION


def test_heat_under_a_brighter_reflection_is_found(warmed: Floats) -> None:
    coming = np.clip((TIMES - 6.0) / 0.8, 0, 1) * (TIMES < 10.0)
    log = SupplyLog(TIMES, 2.0 * step(4.0), 0.012 * step(4.0))
    seen = mirror(0.92 * warmed, (70, 80), coming)
    found = analyse(take(seen), squares(), MM, supply=log)
    assert found.heated
    assert found.suspects[0].part == "R8"
    assert all(s.nature is not Nature.HEATING for s in found.suspects[1:])


def test_heat_on_no_part_is_told_by_its_place(warmed: Floats) -> None:
    others = [p for p in squares() if p.name != "R8"]
    found = analyse(take(0.92 * warmed), others, MM, power_on_s=4.0)
    assert found.heated
    assert not [s for s in found.suspects if s.nature is Nature.HEATING]
    assert (found.elsewhere[0].x_px, found.elsewhere[0].y_px) == pytest.approx((48, 34), abs=1.0)


def test_without_parts_all_is_told_in_pixels(warmed: Floats) -> None:
    found = analyse(take(0.92 * warmed), [], MM)
    assert found.suspects == ()
    place = found.elsewhere[0]
    assert (place.x_px, place.y_px) == pytest.approx((48, 34), abs=1.0)
    assert place.x_mm is None
    assert place.power_w is None


def test_a_powered_beginning_is_said(warmed: Floats) -> None:
    log = SupplyLog(TIMES, np.full(len(TIMES), 2.0), np.full(len(TIMES), 0.012))
    found = analyse(take(0.92 * warmed), squares(), MM, supply=log)
    assert any("switch off for ten seconds" in note for note in found.notes)


def test_a_silent_log_heats_nothing(warmed: Floats) -> None:
    log = SupplyLog(TIMES, np.zeros(len(TIMES)), np.zeros(len(TIMES)))
    found = analyse(take(0.92 * warmed), squares(), MM, supply=log)
    assert not found.heated
    assert any("no power" in note for note in found.notes)


def test_shutter_jumps_are_bridged(warmed: Floats) -> None:
    rise = 0.92 * warmed
    rise[60:] += 0.4
    rise[100:] -= 0.7
    found = analyse(take(rise), squares(), MM)
    assert found.suspects[0].part == "R8"
    assert any("2 times" in note for note in found.notes)


def test_one_pole_is_exact_for_a_step() -> None:
    times = np.cumsum(np.random.default_rng(1).uniform(0.02, 0.3, 200))
    answer = one_pole(np.ones(200), times, np.array([0.3, 2.0]))
    since = times - times[0]
    expected = np.stack([-np.expm1(-rate * since) / rate for rate in (0.3, 2.0)], axis=1)
    assert answer == pytest.approx(expected, rel=1e-9)


def test_a_step_just_before_the_end_is_a_course_too() -> None:
    curve = np.where(step(13.4) > 0, 1.0, 0.0) * np.linspace(0.0, 3.0, len(TIMES))
    idle = np.full((len(TIMES), 1), len(TIMES) ** -0.5)
    late = Switching(13.4, "C1", 50.0, 5000.0, curve - curve.mean(), idle, calm=True)
    course = course_of_switchings([late], TIMES, 0.04)
    assert course.on_s == pytest.approx(13.4, abs=1.0)


def test_modes_span_the_answers() -> None:
    times = np.arange(0, 14, 0.08)
    drive = Drive.of((times > 3).astype(float), times)
    idle = nuisances(times, np.zeros(len(times), dtype=np.int64))
    modes = Modes.of(drive, idle)
    both = np.concatenate([modes.idle, modes.active], axis=1)
    assert both.T @ both == pytest.approx(np.eye(both.shape[1]), abs=1e-9)
    for answer in (drive.body[2], drive.sheet[1, :, 10]):
        left = answer - both @ (both.T @ answer)
        assert np.linalg.norm(left) < 0.01 * np.linalg.norm(answer)


def test_coarse_currents_take_their_course_from_the_voltage() -> None:
    """An ammeter that shows 0 or 1 mA tells no course; a short's power goes as V²."""
    volts = np.clip((TIMES - 3.0) / 2.0, 0, 1)
    course = course_of_log(SupplyLog(TIMES, volts, np.round(volts * 1e-3, 3)), TIMES)
    assert course is not None
    assert course.power == pytest.approx(volts**2, abs=0.02)
    assert course.level_w == pytest.approx(1.5e-3, rel=0.1)


def test_pulses_in_a_log_are_recognised() -> None:
    on = np.where(TIMES > 2.0, (np.mod(TIMES - 2.0, 2.0) < 1.0), False)
    course = course_of_log(SupplyLog(TIMES, 5.0 * on, 0.1 * on), TIMES)
    assert course is not None
    assert course.period_s == pytest.approx(2.0, abs=0.03)  # read every 0.1 s


def test_powers_stay_below_what_the_supply_gives() -> None:
    powers, _ = within_supply([0.3, 0.1], [0.1, 0.1], 0.2)
    assert sum(powers) <= 0.2
    far, sigmas = within_supply([0.001], [0.1], 1.0)  # the rest warms what is not in view
    assert far == pytest.approx([0.001])
    assert sigmas[0] > 0.25 * far[0]
    assert within_supply([], [], 1.0) == ([], [])


def test_powers_beside_the_supply_are_the_least_squares_of_both() -> None:
    """Against scipy's least squares on the logarithms, and its covariance."""
    powers, spreads, level = np.array([0.05, 0.02, 0.004]), np.array([0.1, 0.2, 0.4]), 0.11

    def residuals(x: Floats) -> Floats:
        """Logarithms of the powers, and the error that they share in units of its deviation."""
        own = (x[:3] - np.log(powers) - x[3] * BOARD_DOUBT) / np.hypot(PART_DOUBT, spreads)
        total = np.log(powers.sum()) + powers / powers.sum() @ (x[:3] - np.log(powers))
        return np.array([*own, x[3], (total - np.log(SHARE * level)) / SHARE_LESS])

    found = optimize.least_squares(residuals, np.array([*np.log(powers), 0.0]))
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    told, sigmas = within_supply(powers.tolist(), spreads.tolist(), level)
    assert told == pytest.approx(np.exp(found.x[:3]), rel=1e-4)
    assert sigmas == pytest.approx(np.exp(found.x[:3]) * np.sqrt(np.diag(covariance)[:3]), rel=1e-4)


def test_a_board_that_is_all_quiet_but_drifts(warmed: Floats) -> None:
    del warmed
    rng = np.random.default_rng(11)
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] / 96.0
    drift = 0.2 * np.sin(TIMES / 3)[:, None, None] * (x + y) + 0.1 * np.cumsum(
        rng.normal(0, 0.02, len(TIMES))
    )[:, None, None] * (x - y)
    base = take(drift)
    assert not analyse(base, squares(), MM).heated
    again = replace(base, rise_k=-base.rise_k)
    assert not analyse(again, squares(), MM).heated
