"""Shiny places of any footage: found, kept in recordings, remembered, heeded by every command."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest
from numpy.typing import NDArray
from session_fakes import ScriptedSource, frame_at, info_of

from thermview.analysis.heat.findings import Located, Suspect
from thermview.analysis.heat.nature import Nature
from thermview.board import Landmark, Part, format_landmarks, format_placement
from thermview.cli.main import run as main
from thermview.frames import Frame, Mark, MarkKind, Scale, Scene, SourceInfo
from thermview.job.pictures import RegionWords
from thermview.radiometry.shiny import ShinyMap
from thermview.recording.reader import open_recording
from thermview.recording.repair import repair
from thermview.recording.writer import Writer
from thermview.regions import Rectangle, Region, RegionSet, save_regions
from thermview.session.judging import judge_of
from thermview.session.session import Session
from thermview.session.shiny_places import kept_shiny, remember_shiny, shiny_of, unpowered
from thermview.units import TemperatureUnit

SCALE = Scale(0.01, 0.0)
ROWS, COLUMNS = 48, 64
ROOM_K, POWER_S, RATE_HZ = 296.15, 3.0, 25
CAN = (slice(10, 20), slice(10, 24))
REGIONS = RegionSet(
    (
        Region("can", Rectangle(11.0, 11.0, 8.0, 8.0)),
        Region("dull", Rectangle(40.0, 30.0, 8.0, 8.0)),
    )
)
Picture = Callable[[float, NDArray[np.float64]], None]


def hand_passes(time_s: float, kelvin: NDArray[np.float64]) -> None:
    """Once, a second long, mirrored in the can."""
    kelvin[CAN] += 6.0 * max(0.0, math.sin(math.pi * (time_s - 1.0))) * (1.0 <= time_s <= 2.0)


def cools(time_s: float, kelvin: NDArray[np.float64]) -> None:
    """A part is warm from an earlier test."""
    kelvin[CAN] += 6.0 * math.exp(-time_s)


def hand_in_view(time_s: float, kelvin: NDArray[np.float64]) -> None:
    """A finger itself comes in from the left and goes out again."""
    reach = int(30 * max(0.0, math.sin(math.pi * (time_s - 1.0)))) * (1.0 <= time_s <= 2.0)
    kelvin[22:32, :reach] = 306.15


def comes_to_stay(time_s: float, kelvin: NDArray[np.float64]) -> None:
    """Something mirrored appears and stays: from a warming part it cannot be told."""
    kelvin[CAN] += 6.0 * (time_s > 1.5)


def write(path: Path, happens: Picture, *, marked: bool = True, board: bool = False) -> Path:
    """Record five seconds; from the third on everything warms."""
    rng = np.random.default_rng(5)
    info = SourceInfo(
        "lab",
        "",
        COLUMNS,
        ROWS,
        SCALE,
        True,
        datetime(2026, 1, 1, tzinfo=UTC),
        scene=Scene(emissivity=0.95, reflected_k=ROOM_K),
    )
    with Writer(path, info) as writer:
        for number in range(5 * RATE_HZ):
            time_s = number / RATE_HZ
            kelvin = ROOM_K + 0.03 * rng.standard_normal((ROWS, COLUMNS))
            happens(time_s, kelvin)
            kelvin[28:36, 38:50] += 8.0 * max(0.0, time_s - POWER_S)
            kelvin[CAN] += 3.0 * max(0.0, time_s - POWER_S)
            counts = np.rint(kelvin / SCALE.k_per_count).astype(np.uint16)
            writer.take(Frame(counts, time_s, number, SCALE))
        if marked:
            writer.add_mark(Mark(POWER_S, MarkKind.POWER_ON))
        if board:
            writer.set_board(*board_texts())
    return path


def board_texts() -> tuple[str, str]:
    """A millimetre is two pixels; the board's y points up."""
    parts = (
        Part("Y1", "XTAL", 8.5, 16.5, width_mm=6.0, height_mm=4.0),
        Part("U1", "SOIC-8", 22.0, 8.0, width_mm=6.0, height_mm=4.0),
    )
    corners = ((0.0, 0.0), (32.0, 0.0), (32.0, 24.0), (0.0, 24.0))
    marks = [Landmark((x, y), (2 * x, 48.0 - 2 * y)) for x, y in corners]
    return format_placement(parts), format_landmarks(marks)


def some_map(rows: int = ROWS, columns: int = COLUMNS) -> ShinyMap:
    mask = np.zeros((rows, columns), np.bool_)
    mask[2:5, 3:7] = True
    emissivity = np.where(mask, 0.25, np.nan)
    return ShinyMap(mask, emissivity, True, "by a contact reading")


def found_in(path: Path) -> ShinyMap | None:
    footage = open_recording(path)
    try:
        return shiny_of(footage)
    finally:
        footage.close()


# ---- found ---------------------------------------------------------------------------------


def test_what_passed_in_a_mirror_before_the_power_is_found(tmp_path: Path) -> None:
    found = found_in(write(tmp_path / "a.h5", hand_passes))
    assert found is not None
    expected = np.zeros((ROWS, COLUMNS), np.bool_)
    expected[CAN] = True
    np.testing.assert_array_equal(found.mask, expected)
    assert "changed while nothing was powered" in found.how


@pytest.mark.parametrize("happens", [cools, hand_in_view, comes_to_stay])
def test_what_may_be_no_mirror_is_left_alone(tmp_path: Path, happens: Picture) -> None:
    found = found_in(write(tmp_path / "a.h5", happens))
    assert found is None or not found.mask.any()


def test_without_a_sign_of_power_nothing_is_unpowered(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", hand_passes, marked=False)
    footage = open_recording(path)
    assert unpowered(footage, ()) is None
    assert shiny_of(footage) is None
    told = shiny_of(footage, power_on_s=POWER_S)  # as the frames may tell
    assert told is not None
    assert told.mask[CAN].all()
    assert unpowered(footage, (Mark(2.0, MarkKind.POWER_ON),), POWER_S) == (0.0, 1.8)
    assert unpowered(footage, (Mark(0.1, MarkKind.POWER_ON),)) is None
    footage.close()


# ---- kept ----------------------------------------------------------------------------------


def test_map_is_kept_in_a_recording_whose_counts_stay_raw(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", cools)
    with h5py.File(path) as file:
        raw = file["entry/thermal/counts"][:]
    footage = open_recording(path)
    assert footage.shiny is None
    info = replace(footage.info, address="")
    with Writer(tmp_path / "b.h5", info) as writer:
        for number in range(len(footage)):
            writer.take(footage.frame(number))
        writer.set_shiny(some_map())
        writer.set_shiny(some_map())  # the later one holds
    footage.close()
    repair(tmp_path / "b.h5", tmp_path / "c.h5")
    for name in ("b.h5", "c.h5"):
        with h5py.File(tmp_path / name) as file:
            np.testing.assert_array_equal(file["entry/thermal/counts"][:], raw)
            assert file["entry/shiny"].attrs["NX_class"] == "NXdata"
            assert list(file["entry/shiny"].attrs["axes"]) == ["y", "x"]
        back = found_in(tmp_path / name)
        assert back is not None
        np.testing.assert_array_equal(back.mask, some_map().mask)
        np.testing.assert_allclose(back.emissivity, some_map().emissivity, rtol=1e-6)
        assert back.how == "by a contact reading"


@pytest.mark.parametrize("spoil", ["shape", "text", "nothing"])
def test_a_damaged_map_is_no_map(tmp_path: Path, spoil: str) -> None:
    path = write(tmp_path / "a.h5", cools)
    with h5py.File(path, "r+") as file:
        group = file.create_group("entry/shiny")
        if spoil == "shape":
            group["mask"] = np.ones((3, 4), np.uint8)
        elif spoil == "text":
            group["mask"] = "shiny"
    footage = open_recording(path)
    assert footage.shiny is None
    assert len(footage) == 5 * RATE_HZ
    footage.close()


def test_a_live_session_s_recordings_carry_its_map(tmp_path: Path) -> None:
    source = ScriptedSource(info=info_of((8, 10)))
    session = Session.live(source)
    session.start()
    session.set_shiny(some_map(8, 10))
    session.start_recording(tmp_path / "a.h5")
    source.feed(*(frame_at(number) for number in range(5)))
    source.end()
    session.wait(5)
    session.stop_recording()
    session.start_recording(tmp_path / "b.h5")
    session.set_shiny(None)  # while it runs
    session.stop_recording()
    session.close()
    with h5py.File(tmp_path / "a.h5") as file:
        np.testing.assert_array_equal(file["entry/shiny/mask"][:] != 0, some_map(8, 10).mask)
    with h5py.File(tmp_path / "b.h5") as file:
        assert "shiny" not in file["entry"]


def test_a_finished_recording_s_map_is_remembered_beside_it(tmp_path: Path) -> None:
    path = write(tmp_path / "a.h5", hand_passes)
    before = path.read_bytes()
    session = Session.replay(open_recording(path))
    assert session.shiny is None
    session.set_shiny(some_map())
    session.close()
    assert path.read_bytes() == before
    again = Session.replay(open_recording(path))
    assert again.shiny is not None
    np.testing.assert_array_equal(again.shiny.mask, some_map().mask)
    again.set_shiny(None)  # taken back, and not found anew by itself
    again.close()
    found = found_in(path)
    assert found is not None
    assert not found.known
    footage = open_recording(path)
    remember_shiny(footage, some_map())
    footage.close()
    path.unlink()
    other = open_recording(write(path, cools))
    assert kept_shiny(other) is not None  # the same place, beginning and size
    other.close()


# ---- heeded --------------------------------------------------------------------------------


def test_every_command_says_not_readable_of_a_shiny_region(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "a.h5", hand_passes)
    file = tmp_path / "r.json"
    save_regions(file, REGIONS)
    assert main(["curve", str(path), "--regions", str(file), "--uncertainty"]) == 0
    lines = capsys.readouterr().out.splitlines()
    notes = [line for line in lines if line.startswith("#")]
    heads, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    last = dict(zip(heads, map(float, rows[-1]), strict=True))
    assert all(math.isnan(last[f"can_{name}"]) for name in ("mean_C", "max_C", "mean_u_K"))
    assert last["dull_max_C"] == pytest.approx(39.4, abs=1.0)  # 8 K/s for 2 s, ε .95
    assert any("not readable: can: shiny: 100% of it mirrors" in note for note in notes)
    assert any("changed while nothing was powered" in note for note in notes)
    assert main(["curve", str(path), "--regions", str(file)]) == 0
    assert "nan" not in capsys.readouterr().out  # only what is asked to be judged is judged
    footage = open_recording(path)
    words = RegionWords(footage, REGIONS, TemperatureUnit.CELSIUS).of(footage.frame(120))
    assert judge_of(footage).shiny is not None
    footage.close()
    can, dull = (words[region.id] for region in REGIONS.regions)
    assert can.startswith("not readable: shiny")
    assert dull.endswith("°C")


def test_locate_says_which_suspect_is_shiny(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was found is invented here: only the words about it matter."""
    path = write(tmp_path / "a.h5", hand_passes, board=True)
    nothing = np.zeros(3)
    suspects = [
        Suspect(
            name, rank, Nature.HEATING, 1.0, 0.02, 0.004, 3.0, 50.0, 0.9, False, "rises", 0.0, 0.0,
            nothing, nothing,
        )
        for rank, name in enumerate(("U1", "Y1"), 1)
    ]  # fmt: skip
    answer = Located(
        POWER_S, "mark", True, tuple(suspects), (), (), nothing, np.zeros((3, 4), np.float32), None
    )
    monkeypatch.setattr("thermview.analysis.heat.locate.locate", lambda *_, **__: answer)
    assert main(["locate", str(path)]) == 0
    found = capsys.readouterr().out
    assert "of it is shiny: its watts come from the board around" in found.split("Y1")[1]
    assert "of it is shiny" not in found.split("Y1")[0]
