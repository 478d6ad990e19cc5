"""What numbers are worth: the judge, and the curve table's columns made by it."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.cli.main import run as main
from thermview.errors import InputError, UsageError
from thermview.frames import Frame, Scale, Scene, SourceInfo
from thermview.job.films import film_pictures
from thermview.job.pictures import RegionWords
from thermview.radiometry import (
    CameraProfile,
    Setting,
    apparent_temperature,
    profile_of,
    profile_text,
)
from thermview.radiometry.calibration import ContactPoint, fit_calibration
from thermview.radiometry.emissivity import LACQUER_NOTE, materials
from thermview.radiometry.shiny import ShinyMap
from thermview.radiometry.size import Spread, recovery
from thermview.radiometry.touch import METAL_NOTE
from thermview.recording.reader import open_recording
from thermview.recording.repair import repair
from thermview.recording.writer import Writer
from thermview.regions import (
    Ellipse,
    Line,
    Rectangle,
    Region,
    RegionSet,
    Spot,
    load_regions,
    save_regions,
)
from thermview.session.curve_table import write_curve_table
from thermview.session.judging import judge_of
from thermview.session.profiles import keep_profile, kept_profile
from thermview.session.remarks import surface_remarks
from thermview.session.session import Session
from thermview.session.worth import Judge, pixel_count
from thermview.units import TemperatureUnit

SCALE = Scale(0.001, 273.15)
BOX = Rectangle(4.0, 4.0, 8.0, 8.0)
PROFILE = CameraProfile("lab", accuracy_k=0.5, netd_k=0.001)


def write(
    path: Path,
    celsius: NDArray[np.float64],
    *,
    scene: Scene | None = None,
    profile: CameraProfile | None = None,
    frames: int = 3,
) -> Path:
    """Record some frames of one picture, °C, shape (row, column)."""
    info = SourceInfo(
        name="invented",
        address="",
        width_px=celsius.shape[1],
        height_px=celsius.shape[0],
        scale=SCALE,
        live=True,
        start_time=datetime(2026, 1, 1, tzinfo=UTC),
        scene=scene or Scene(),
    )
    with Writer(path, info) as writer:
        if profile is not None:
            writer.set_profile(profile_text(profile))
        for number in range(frames):
            counts = np.rint(celsius * 1000).astype(np.uint16)
            writer.take(Frame(counts, number / 25, number, SCALE))
    return path


def even(celsius: float) -> NDArray[np.float64]:
    return np.full((24, 32), celsius)


def table_of(path: Path, regions: RegionSet, judge: Judge | None = None) -> tuple[list[str], dict]:  # type: ignore[type-arg]
    """Return comments, and columns by their heads."""
    stream = io.StringIO()
    footage = open_recording(path)
    list(write_curve_table(footage, regions, stream, judge=judge or judge_of(footage)))
    footage.close()
    lines = stream.getvalue().splitlines()
    heads, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    first = next(n for n, line in enumerate(lines) if not line.startswith("#"))
    assert lines[first].startswith("time_s,frame"), "the first row under the comments is the header"
    notes = [line for line in lines if line.startswith("#")]
    assert len(notes) == first
    return notes, dict(zip(heads, np.array(rows, dtype=float).T, strict=True))


def region(**settings: object) -> Region:
    return replace(Region("U3", BOX), **settings)  # type: ignore[arg-type]


def test_uncertainty_is_that_of_an_independent_propagation(tmp_path: Path) -> None:
    """CHECKS 5 (GTC 1.5 and 2e6 Monte Carlo trials): T 60, T_refl 23±2, T_app ±.5, ε .95±.02."""
    path = write(tmp_path / "a.h5", even(58.3822), profile=PROFILE)
    stated = region(emissivity=0.95, emissivity_u=0.02, reflected_k=296.15, reflected_u_k=2.0)
    notes, columns = table_of(path, RegionSet((stated,)))
    np.testing.assert_allclose(columns["U3_mean_C"], 60.0, atol=2e-3)
    for statistic in ("min", "mean", "max"):
        np.testing.assert_allclose(columns[f"U3_{statistic}_u_K"], 0.8576, atol=2e-3)
    assert not any("not readable:" in note for note in notes)


def test_low_emissivity_is_not_readable_and_says_why(tmp_path: Path) -> None:
    """CHECKS 5: ε .30±.05 gives about 7 K; a limit of 5 K refuses it, one of 10 K does not."""
    path = write(tmp_path / "a.h5", even(35.3315), profile=PROFILE)
    stated = region(emissivity=0.30, emissivity_u=0.05, reflected_k=296.15, reflected_u_k=2.0)
    notes, columns = table_of(path, RegionSet((stated,)))
    assert np.isnan(columns["U3_max_C"]).all()
    assert np.isnan(columns["U3_max_u_K"]).all()
    (why,) = [note for note in notes if "not readable: U3" in note]
    assert "uncertain, mostly emissivity" in why
    footage = open_recording(path)
    judge = replace(judge_of(footage), limit_k=10.0)
    footage.close()
    _, columns = table_of(path, RegionSet((stated,)), judge)
    np.testing.assert_allclose(columns["U3_max_C"], 60.0, atol=5e-3)
    # Monte Carlo: 95 % interval 49.60 … 77.14, so a half-width of 7.03 in standard uncertainties
    np.testing.assert_allclose(columns["U3_max_u_K"], (77.14 - 49.60) / 3.92, rtol=0.03)


def test_command_adds_the_columns_only_when_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "a.h5", even(35.3315), profile=PROFILE)
    file = tmp_path / "r.json"
    save_regions(file, RegionSet((region(emissivity=0.30, emissivity_u=0.05),)))
    assert main(["curve", str(path), "--regions", str(file)]) == 0
    plain = capsys.readouterr().out
    assert "_u_K" not in plain
    assert ",60.0" in plain or ",59.99" in plain
    assert main(["curve", str(path), "--regions", str(file), "--uncertainty"]) == 0
    sure = capsys.readouterr().out
    assert "U3_min_u_K,U3_mean_u_K,U3_max_u_K" in sure
    assert "nan,nan,nan" in sure
    assert main(["curve", str(path), "--regions", str(file), "--uncertainty", "--limit", "9"]) == 0
    assert "nan" not in capsys.readouterr().out.splitlines()[-1]
    with pytest.raises(UsageError, match="above 0"):
        main(["curve", str(path), "--regions", str(file), "--uncertainty", "--limit", "0"])


def noisy(path: Path, frames: int = 40, noise_k: float = 0.2) -> Path:
    """Record an even scene of 40 °C with noise, by a camera that is otherwise perfect."""
    rng = np.random.default_rng(2)
    info = SourceInfo("invented", "", 32, 24, SCALE, True, datetime(2026, 1, 1, tzinfo=UTC))
    with Writer(path, info) as writer:
        writer.set_profile(profile_text(CameraProfile("lab", accuracy_k=0.0)))
        for number in range(frames):
            celsius = 40.0 + noise_k * rng.standard_normal((24, 32))
            counts = np.rint(celsius * 1000).astype(np.uint16)
            writer.take(Frame(counts, number / 25, number, SCALE))
    return path


def test_noise_of_few_frames_has_few_degrees_of_freedom_and_the_table_says_so(
    tmp_path: Path,
) -> None:
    """The quiet second holds 26 frames; 2 degrees go to the drift's line."""
    path = noisy(tmp_path / "a.h5")
    notes, columns = table_of(path, RegionSet((region(),)))
    np.testing.assert_allclose(columns["U3_max_u_K"], 0.2, rtol=0.1)
    (why,) = [note for note in notes if "degrees of freedom" in note]
    assert why.endswith("(effective degrees of freedom, at the least: U3 24)")
    assert "up to 2.06" in why  # Student's t of 24: 2.064, JCGM 100 table G.2
    rough = replace(PROFILE, netd_k=None)  # ± 0.5 K rules over noise of 26 frames
    footage = open_recording(path)
    judge = replace(judge_of(footage), profile=rough)
    footage.close()
    notes, _ = table_of(path, RegionSet((region(),)), replace(judge, netd_k=0.001))
    assert not any("degrees of freedom" in note for note in notes)
    sure = write(tmp_path / "b.h5", even(40.0), profile=PROFILE)  # its noise is stated
    notes, _ = table_of(sure, RegionSet((region(),)))
    assert not any("degrees of freedom" in note for note in notes)


def test_lacquer_and_metal_are_told_in_every_export(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coat = region(emissivity=0.9, emissivity_from="material: lacquer")
    assert any(row.name == "lacquer" for row in materials()), "a name of the table"
    can = Region("can", BOX, emissivity=0.1)
    plain = Region("plain", BOX, emissivity=0.9)
    told = surface_remarks((coat, can, plain))
    assert told == [f"can: {METAL_NOTE}", f"U3: {LACQUER_NOTE}"]
    path = write(tmp_path / "a.h5", even(40.0), profile=PROFILE)
    file = tmp_path / "r.json"
    save_regions(file, RegionSet((coat, can, plain)))
    for more in ((), ("--uncertainty",)):
        assert main(["curve", str(path), "--regions", str(file), *more]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert [f"# {words}" in lines for words in told] == [True, True]
    footage = open_recording(path)
    words = RegionWords(footage, RegionSet((coat, can, plain)), TemperatureUnit.CELSIUS)
    assert words.remarks == told
    pictures = [
        next(iter(film_pictures(footage, RegionSet((one,)))))
        for one in (plain, replace(plain, emissivity=0.1))
    ]
    footage.close()
    foot = pictures[0].shape[0] // 12
    ink = [int((picture[-foot:] < 128).sum()) for picture in pictures]
    assert ink[0] < ink[1], "a line of words more stands below"


def test_rise_is_surer_than_the_temperature_it_comes_from() -> None:
    """The camera's error cancels: 1.3 K of a temperature, little more than noise of a rise."""
    judge = Judge(Scene(), SCALE, netd_k=0.05)
    stated = region(emissivity=0.95)
    now_k, zero_k = 303.0, 300.0
    temperature = judge.temperature(stated, "max", now_k)
    rise = judge.rise(stated, "max", now_k, zero_k)
    assert temperature.u_k > 1.0
    assert rise.u_k < 0.15
    assert rise.value_k == pytest.approx(3.0)
    assert not judge.rise(stated, "max", now_k, math.nan).readable


def test_apparent_readings_doubt_camera_and_noise_only() -> None:
    """Nobody stated an emissivity: the number is a black body's, and as sure as the camera."""
    reading = Judge(Scene(), SCALE, PROFILE).temperature(region(), "max", 310.0)
    assert reading.u_k == pytest.approx(0.5, abs=1e-3)
    assert reading.dominant == "camera"


def test_noise_of_a_mean_falls_with_the_region_s_pixels() -> None:
    judge = Judge(Scene(), SCALE, CameraProfile(accuracy_k=0.0), netd_k=0.8)
    assert judge.temperature(region(), "max", 310.0).u_k == pytest.approx(0.8, rel=1e-3)
    assert judge.temperature(region(), "mean", 310.0).u_k == pytest.approx(0.1, rel=1e-3)


@pytest.mark.parametrize("kelvin", [0.01, 0.0, 3.6, -5.0, 1e6])
def test_what_no_camera_reads_is_no_reading(kelvin: float) -> None:
    judge = Judge(Scene(), SCALE)
    assert not judge.temperature(region(), "max", kelvin).readable
    assert not judge.rise(region(), "max", kelvin, 300.0).readable
    assert not judge.rise(region(), "max", 300.0, kelvin).readable


def shiny_over(*where: tuple[slice, slice]) -> ShinyMap:
    mask = np.zeros((24, 32), dtype=np.bool_)
    for place in where:
        mask[place] = True
    return ShinyMap(mask, np.full(mask.shape, np.nan), True, "by invention")


def test_shiny_regions_are_not_readable() -> None:
    """Unless they state themselves how little they emit: then their uncertainty decides."""
    all_of_it = shiny_over((slice(0, 24), slice(0, 32)))
    judge = Judge(Scene(emissivity=0.95), SCALE, shiny=all_of_it)
    reading = judge.temperature(region(), "max", 300.0)
    assert not reading.readable
    assert reading.reason.startswith("shiny")
    assert not judge.rise(region(), "max", 301.0, 300.0).readable
    known = judge.temperature(region(emissivity=0.4, emissivity_u=0.02), "max", 300.0)
    assert "shiny" not in known.reason


def test_a_shiny_corner_spoils_only_the_numbers_that_stand_on_it() -> None:
    judge = Judge(Scene(emissivity=0.95), SCALE, shiny=shiny_over((slice(4, 6), slice(4, 6))))
    assert judge.shiny_share(region()) == pytest.approx(4 / 64)
    assert not judge.temperature(region(), "max", 300.0, place=(4.5, 5.5)).readable
    assert judge.temperature(region(), "max", 300.0, place=(9.5, 9.5)).readable
    assert judge.temperature(region(), "mean", 300.0).readable


def test_small_part_in_the_export_is_corrected_by_what_its_size_took(tmp_path: Path) -> None:
    """A part of 2 × 2 px at +20 K, blurred by the model's own share, is given back."""
    spread, body = Spread(0.8, 0.02), (2.0, 2.0)
    share = recovery(*body, spread).share
    celsius = even(30.0)
    celsius[8, 8] = 30.0 + 20.0 * share
    profile = replace(PROFILE, spread=spread, accuracy_k=0.05)
    path = write(tmp_path / "a.h5", celsius, profile=profile)
    small = Region("C1", Rectangle(6.0, 6.0, 5.0, 5.0), body_mm=(1.0, 1.0))
    footage = open_recording(path)
    judge = replace(judge_of(footage), mm_per_px=0.5)
    footage.close()
    _, columns = table_of(path, RegionSet((small,)), judge)
    np.testing.assert_allclose(columns["C1_max_C"], 50.0, atol=0.1)
    assert (columns["C1_max_u_K"] > 0.5).all()
    tiny = replace(small, body_mm=(0.2, 0.2))
    notes, columns = table_of(path, RegionSet((tiny,)), judge)
    assert np.isnan(columns["C1_max_C"]).all()
    assert any("too small, reads low" in note for note in notes)


def test_profile_travels_with_the_recording_and_counts_stay_raw(tmp_path: Path) -> None:
    """A camera that reads 1.5 K high, told so by one contact reading."""
    calibration = fit_calibration([ContactPoint(301.5, 300.0)])
    profile = CameraProfile("lab", calibration=calibration, bad_pixels=(5,))
    path = write(tmp_path / "a.h5", even(31.5), profile=profile)
    footage = open_recording(path)
    assert footage.frame(0).kelvin()[0, 0] == pytest.approx(304.65)
    assert footage.profile_json is not None
    assert profile_of(footage.profile_json, "") == profile
    session = Session.replay(footage)
    session.start()
    session.set_regions(RegionSet((region(),)))
    assert session.wait_measured(10)
    (only,) = session.regions.regions
    np.testing.assert_allclose(session.curves.column(only.id, "max"), 303.15, atol=2e-3)
    session.set_profile(None)
    assert session.wait_measured(10)
    np.testing.assert_allclose(session.curves.column(only.id, "max"), 304.65, atol=2e-3)
    session.close()
    notes, columns = table_of(path, RegionSet((region(),)))
    np.testing.assert_allclose(columns["U3_mean_C"], 30.0, atol=1e-3)
    assert any("1 contact reading" in note for note in notes)
    repair(path, tmp_path / "b.h5")
    mended = open_recording(tmp_path / "b.h5")
    assert mended.profile_json == footage.profile_json
    mended.close()


def test_emissivity_applied_inside_the_camera_is_not_applied_twice(tmp_path: Path) -> None:
    """The camera shows 60 °C, having applied ε .95 itself; our own ε .95 gives 60 °C again."""
    inside = Setting(emissivity=0.95, reflected_k=296.15)
    profile = CameraProfile("lab", applied=inside, accuracy_k=0.5)
    path = write(tmp_path / "a.h5", even(60.0), profile=profile)
    stated = region(emissivity=0.95, reflected_k=296.15)
    _, columns = table_of(path, RegionSet((stated,)))
    np.testing.assert_allclose(columns["U3_max_C"], 60.0, atol=2e-3)
    _, columns = table_of(path, RegionSet((region(),)))
    expected = float(apparent_temperature(333.15, inside)) - 273.15
    assert expected == pytest.approx(58.3822, abs=1e-3)  # CHECKS 2
    np.testing.assert_allclose(columns["U3_max_C"], expected, atol=2e-3)


def test_bad_pixels_are_filled_for_readings_and_can_be_left(tmp_path: Path) -> None:
    celsius = even(30.0)
    celsius[6, 6] = 60.0
    profile = replace(PROFILE, bad_pixels=(6 * 32 + 6,))
    path = write(tmp_path / "a.h5", celsius, profile=profile)
    session = Session.replay(open_recording(path))
    session.start()
    session.set_regions(RegionSet((region(),)))
    assert session.wait_measured(10)
    (only,) = session.regions.regions
    np.testing.assert_allclose(session.curves.column(only.id, "max"), 303.15, atol=2e-3)
    session.set_profile(profile, repair=False)
    assert session.wait_measured(10)
    np.testing.assert_allclose(session.curves.column(only.id, "max"), 333.15, atol=2e-3)
    assert session.footage.frame(0).kelvin()[6, 6] == pytest.approx(333.15)
    session.close()


def test_a_calibration_is_believed_less_outside_its_range() -> None:
    points = [ContactPoint(290.0 + t, 291.0 + t, 0.2) for t in (0.0, 30.0, 60.0)]
    judge = Judge(Scene(), SCALE, CameraProfile(calibration=fit_calibration(points)))
    inside, outside = judge.accuracy_k(320.0), judge.accuracy_k(400.0)
    assert inside is not None
    assert outside is not None
    assert inside < 0.3
    assert outside > 0.5


def test_camera_s_profile_is_kept_by_its_name() -> None:
    info = SourceInfo("cam", "camera:0", 32, 24, SCALE, True, datetime.now(UTC), camera="Lens 12/B")
    assert kept_profile(info) is None
    path = keep_profile(info, PROFILE)
    assert path.is_file()
    assert kept_profile(info) == PROFILE
    assert kept_profile(replace(info, camera="another")) is None


def test_regions_file_keeps_what_a_measured_emissivity_is_worth(tmp_path: Path) -> None:
    kept = region(
        emissivity=0.7,
        emissivity_u=0.03,
        emissivity_from="contact thermometer 60.0 °C",
        reflected_k=295.15,
        reflected_u_k=0.5,
        body_mm=(1.6, 0.8),
    )
    save_regions(tmp_path / "r.json", RegionSet((kept,)))
    (back,) = load_regions(tmp_path / "r.json").regions
    assert replace(back, id=kept.id) == kept
    for wrong in ('"emissivity_uncertainty": -1', '"body_mm": [1]', '"body_mm": [0, 1]'):
        (tmp_path / "w.json").write_text(
            '{"version": 1, "regions": [{"name": "a", "shape": "spot", "x": 1, "y": 2, '
            + wrong
            + "}]}"
        )
        with pytest.raises(InputError, match="region 1"):
            load_regions(tmp_path / "w.json")


def test_exported_pictures_say_what_each_number_is_worth(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", even(58.3822), profile=PROFILE)
    regions = RegionSet(
        (
            region(emissivity=0.95, emissivity_u=0.02, reflected_k=296.15, reflected_u_k=2.0),
            Region("can", BOX, emissivity=0.1),
            Region("bare", BOX),
            Region("gone", BOX.moved(100.0, 0.0)),
        )
    )
    footage = open_recording(path)
    words = RegionWords(footage, regions, TemperatureUnit.CELSIUS).of(footage.frame(0))
    footage.close()
    told = [words[r.id] for r in regions.regions]
    assert told[0] == "60.0 ± 0.9 °C"  # CHECKS 5
    assert told[1].startswith("not readable: uncertain by")
    assert told[2] == "58.4 ± 0.5 °C apparent"
    assert told[3] == "out of view"


def test_films_carry_each_frame_s_own_numbers(tmp_path: Path) -> None:
    """Only one pixel changes, far from the region's label: the label changes with it."""

    path = tmp_path / "film.h5"
    info = SourceInfo("invented", "", 32, 24, SCALE, True, datetime.now(UTC))
    with Writer(path, info) as writer:
        writer.set_profile(profile_text(PROFILE))
        for number in range(3):
            counts = np.full((24, 32), 30_000, np.uint16)
            counts[20, 12] += 5000 * number
            writer.take(Frame(counts, number / 25, number, SCALE))
    tall = RegionSet((Region("tall", Rectangle(8.0, 6.0, 10.0, 16.0)),))
    footage = open_recording(path)
    changed = {}
    for name, regions in (("with", tall), ("without", RegionSet())):
        first, second = list(film_pictures(footage, regions))[:2]
        differs = (first != second).any(axis=2)
        rows = differs.shape[0]
        changed[name] = differs[rows // 8 : rows * 4 // 10, : differs.shape[1] * 3 // 4].any()
    footage.close()
    assert changed == {"with": True, "without": False}


def test_a_mean_s_noise_goes_by_its_pixels_and_not_by_the_box_around_them() -> None:
    line = Line(5.0, 5.0, 200.0, 150.0)
    # steps to columns and rows; at grid corners both are one
    assert pixel_count(line) == 195 + 145 + 1 - 5
    assert pixel_count(Rectangle(4.0, 4.0, 8.0, 6.0)) == 48
    assert pixel_count(Ellipse(50.0, 50.0, 30.0, 20.0)) == pytest.approx(np.pi * 600, rel=0.01)
    assert pixel_count(Spot(3.2, 4.7)) == 1
    judge = Judge(Scene(), SCALE, netd_k=0.5)
    mean = judge.doubt(Region("a", line), Setting(), "mean", 300.0).noise_k
    assert mean == pytest.approx(0.5 / np.sqrt(pixel_count(line)))
