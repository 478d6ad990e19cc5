"""The commands as their users meet them: results, exit codes, one line for each error."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import cv2
import h5py
import numpy as np
import pytest
import tifffile
from cli_kit import command
from numpy.typing import NDArray

from thermview.paths import sample_recordings

Table = NDArray[np.float64]
Patch = pytest.MonkeyPatch
Output = pytest.CaptureFixture[str]

REGIONS = {
    "version": 1,
    "regions": [
        {"name": "spot", "shape": "spot", "x": 80.5, "y": 60.2},
        {"name": "box", "shape": "rectangle", "x": 10, "y": 20, "width": 30, "height": 15},
        {"name": "away", "shape": "rectangle", "x": -100, "y": 20, "width": 30, "height": 15},
    ],
}


@pytest.fixture
def regions(tmp_path: Path) -> Path:
    path = tmp_path / "regions.json"
    path.write_text(json.dumps(REGIONS))
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A recording as a user's own script would write it: plain h5py, nothing optional."""
    rng = np.random.default_rng(5)
    path = tmp_path / "plain.h5"
    with h5py.File(path, "w") as file:
        file.create_dataset("entry/title", data="plain")
        file.create_dataset("entry/start_time", data="2026-01-02T03:04:05+01:00")
        file.create_dataset("entry/program_name", data="script")
        counts = file.create_dataset(
            "entry/thermal/counts", data=rng.integers(18000, 20000, (9, 96, 128)).astype(np.uint16)
        )
        counts.attrs["scale_factor"] = 0.0156
        counts.attrs["add_offset"] = 1.5
        counts.attrs["units"] = "K"
        file.create_dataset("entry/thermal/time", data=np.arange(9) * 0.11)
        file.create_dataset("entry/thermal/y", data=np.arange(96) + 0.5)
        file.create_dataset("entry/thermal/x", data=np.arange(128) + 0.5)
    return path


def read_curve(
    text: str,
) -> tuple[list[str], list[str], Table]:
    lines = text.splitlines()
    comments = [line for line in lines if line.startswith("#")]
    header, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    return comments, header, np.array(rows, dtype=np.float64)


def plain_numbers(path: Path) -> Table:
    """Measure `REGIONS` as the contract defines them, by pixel centres, in plain numpy, °C."""
    with h5py.File(path) as file:
        counts = file["entry/thermal/counts"]
        kelvin = counts[:] * float(counts.attrs["scale_factor"]) + float(counts.attrs["add_offset"])
    celsius = kelvin - 273.15
    spot = celsius[:, 60, 80]
    box = celsius[:, 20:35, 10:40].reshape(len(celsius), -1)
    nothing = np.full(len(celsius), np.nan)
    columns = [spot, spot, spot, box.min(1), box.mean(1), box.max(1), nothing, nothing, nothing]
    return np.stack(columns, axis=1)


def check_curve(text: str, path: Path) -> None:
    comments, header, table = read_curve(text)
    assert any("apparent" in comment for comment in comments)
    assert header[:5] == ["time_s", "frame", "spot_min_C", "spot_mean_C", "spot_max_C"]
    with h5py.File(path) as file:
        times_s = file["entry/thermal/time"][:]
    np.testing.assert_allclose(table[:, 0], times_s, atol=1e-6)
    np.testing.assert_array_equal(table[:, 1], np.arange(len(times_s)))
    np.testing.assert_allclose(table[:, 2:], plain_numbers(path), atol=1e-3)


def test_curve_equals_plain_numpy_on_a_script_s_file(
    recording: Path,
    regions: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    assert command(monkeypatch, "curve", recording, "--regions", regions) == 0
    check_curve(capsys.readouterr().out, recording)


def test_curve_equals_plain_numpy_on_another_program_s_files(
    samples: Path,
    regions: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    for path in sorted(samples.glob("*.h5")):
        assert command(monkeypatch, "curve", path, "--regions", regions) == 0
        check_curve(capsys.readouterr().out, path)


def test_curve_in_other_units_and_as_json(
    recording: Path,
    regions: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    arguments = ("curve", recording, "--regions", regions, "--unit", "F", "--format", "json")
    assert command(monkeypatch, *arguments) == 0
    document = json.loads(capsys.readouterr().out)
    fahrenheit = np.array(document["columns"]["box_mean_F"])
    np.testing.assert_allclose(fahrenheit, plain_numbers(recording)[:, 4] * 1.8 + 32, atol=2e-3)
    assert document["columns"]["away_max_F"] == [None] * 9


def test_curve_with_an_emissivity_says_what_it_assumed(
    recording: Path,
    tmp_path: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    # ε 0.6, reflected 23 °C: an apparent 46.4869 °C is an object at 60 °C, 8–14 µm (closed series,
    # confirmed with astropy and scipy).
    with h5py.File(recording, "r+") as file:
        counts = file["entry/thermal/counts"]
        counts.attrs["scale_factor"], counts.attrs["add_offset"] = 0.001, 300.0
        counts[...] = round((46.4869 + 273.15 - 300) / 0.001)
    path = tmp_path / "r.json"
    spot = {"name": "U3", "shape": "spot", "x": 5, "y": 5, "emissivity": 0.6}
    path.write_text(json.dumps({"version": 1, "regions": [spot]}))
    assert command(monkeypatch, "curve", recording, "--regions", path) == 0
    comments, _, table = read_curve(capsys.readouterr().out)
    assert any("23 °C assumed" in comment for comment in comments)
    np.testing.assert_allclose(table[:, 2:], 60.0, atol=2e-3)


@pytest.mark.parametrize("suffix", ["png", "tiff", "csv", "npz"])
def test_export_of_a_frame(
    suffix: str, recording: Path, tmp_path: Path, monkeypatch: Patch
) -> None:
    out = tmp_path / f"frame.{suffix}"
    extra = ("--raw",) if suffix == "png" else ()
    assert command(monkeypatch, "export", recording, out, "--frame", 4, *extra) == 0
    with h5py.File(recording) as file:
        counts = file["entry/thermal/counts"][4]
    match suffix:
        case "png":
            got = cv2.imread(str(out), cv2.IMREAD_UNCHANGED)
            np.testing.assert_array_equal(got, counts)
        case "tiff":
            np.testing.assert_array_equal(tifffile.imread(out), counts)
        case "csv":
            celsius = counts * 0.0156 + 1.5 - 273.15
            np.testing.assert_allclose(np.loadtxt(out, delimiter=","), celsius, atol=1e-4)
        case "npz":
            with np.load(out) as archive:
                np.testing.assert_array_equal(archive["counts"], counts)


def test_export_of_all_frames(
    recording: Path, regions: Path, tmp_path: Path, monkeypatch: Patch
) -> None:
    with h5py.File(recording) as file:
        counts = file["entry/thermal/counts"][:]
    for name in ("all.tiff", "all.npz", "all.mp4", "last.png"):
        out = tmp_path / name
        assert command(monkeypatch, "export", recording, out, "--regions", regions) == 0
    np.testing.assert_array_equal(tifffile.imread(tmp_path / "all.tiff"), counts)
    with np.load(tmp_path / "all.npz") as archive:
        np.testing.assert_array_equal(archive["counts"], counts)
        np.testing.assert_allclose(archive["time_s"], np.arange(9) * 0.11)
    film = cv2.VideoCapture(str(tmp_path / "all.mp4"))
    assert int(film.get(cv2.CAP_PROP_FRAME_COUNT)) == 9
    film.release()
    picture = cv2.imread(str(tmp_path / "last.png"))
    assert picture is not None
    assert picture.shape[1] == 1100


def test_nothing_is_overwritten_without_force(
    recording: Path,
    tmp_path: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    out = tmp_path / "frame.csv"
    out.write_text("mine")
    assert command(monkeypatch, "export", recording, out) == 2
    assert out.read_text() == "mine"
    assert "--force" in capsys.readouterr().err
    assert command(monkeypatch, "export", recording, out, "--force") == 0
    assert out.read_text() != "mine"


def test_info_tells_what_is_in_it(samples: Path, monkeypatch: Patch, capsys: Output) -> None:
    assert command(monkeypatch, "info", samples / "ramp-strong.h5", "--format", "json") == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["frames"], facts["width_px"], facts["height_px"]) == (175, 256, 192)
    assert facts["supply_samples"] == 175


def test_record_some_seconds_of_the_simulated_board(
    tmp_path: Path, monkeypatch: Patch, capsys: Output
) -> None:
    out = tmp_path / "new.h5"
    arguments = ("record", "simulated:good", out, "--seconds", 1, "--speed", 4, "--format", "json")
    assert command(monkeypatch, *arguments) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["losses"]["queue_dropped"] == facts["dropped"] == 0
    with h5py.File(out) as file:
        assert len(file["entry/thermal/time"]) == facts["frames"] >= 25
        assert np.all(np.diff(file["entry/thermal/time"]) > 0)


def test_record_by_a_trigger_keeps_what_came_before(
    tmp_path: Path, monkeypatch: Patch, capsys: Output
) -> None:
    out = tmp_path / "new.h5"
    arguments = ("record", "simulated:short", out, "--speed", 20, "--pre-trigger", 0.5)
    assert command(monkeypatch, *arguments, "--seconds", 1, "--trigger", "nonsense rule") == 2
    assert not out.exists()
    assert "thermview: error:" in capsys.readouterr().err
    fires = "picture departs by 8 sigma"
    assert command(monkeypatch, *arguments, "--seconds", 1, "--trigger", fires) == 0
    with h5py.File(out) as file:
        first_s = float(file["entry/thermal/time"][0])
        marks_s = file["entry/marks/time"][:]
    assert first_s < marks_s.min() <= first_s + 1.0


def test_verify_and_repair(
    recording: Path,
    tmp_path: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    assert command(monkeypatch, "verify", recording) == 0
    with h5py.File(recording, "r+") as file:
        file["entry/thermal/time"][5] = 0.0
    assert command(monkeypatch, "verify", recording) == 1
    assert "time" in capsys.readouterr().out
    mended = tmp_path / "mended.h5"
    assert command(monkeypatch, "repair", recording, mended) == 0
    assert command(monkeypatch, "verify", mended) == 0


def test_the_worked_example_without_a_display(
    tmp_path: Path, monkeypatch: Patch, capsys: Output
) -> None:
    if not (sample_recordings() / "short.h5").is_file():
        pytest.fail("the worked example's recording is missing from sample_recordings/")
    folder = tmp_path / "report"
    assert command(monkeypatch, "demo", "--headless", folder) == 0
    said = capsys.readouterr().out
    assert said.startswith("C12 ")
    assert "dissipates" in said
    page = (folder / "report.html").read_text()
    assert "simulated" in page
    assert "± one standard uncertainty" in page
    for name in ("before", "after", "rise", "findings"):
        assert cv2.imread(str(folder / f"{name}.png")) is not None
    assert command(monkeypatch, "demo", "--headless", folder) == 2  # a report stands there


BAD_FILES = {
    "empty.h5": b"",
    "text.h5": b"this is no recording\n" * 40,
    "cut.h5": b"\x89HDF\r\n\x1a\n" + bytes(600),
    "empty.png": b"",
    "text.tif": b"II*\x00nonsense",
    "empty.npy": b"",
}


@pytest.mark.parametrize("name", [*BAD_FILES, "missing.h5", "."])
@pytest.mark.parametrize(
    "words", [("info",), ("curve", "--regions", "r.json"), ("export", "o.csv")]
)
def test_bad_input_is_one_line(
    name: str,
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: Patch,
    capsys: Output,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "r.json").write_text(json.dumps(REGIONS))
    folder = tmp_path / "bad"
    folder.mkdir()
    for bad, content in BAD_FILES.items():
        (folder / bad).write_bytes(content)
    target = folder / "nothing" if name == "." else folder / name
    if name == ".":
        target.mkdir()
    assert command(monkeypatch, words[0], target, *words[1:]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("thermview: error: ")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("regions", "word"),
    [
        ("", "JSON"),
        ('{"version": 1}', "regions"),
        ('{"version": 1, "regions": [{"name": "U3", "shape": "blob"}]}', "blob"),
        ('{"version": 1, "regions": [{"name": "U3", "shape": "spot", "x": "a", "y": 2}]}', "U3"),
    ],
)
def test_bad_regions_are_one_line(
    regions: str, word: str, recording: Path, monkeypatch: Patch, capsys: Output
) -> None:
    path = recording.with_name("bad.json")
    path.write_text(regions)
    assert command(monkeypatch, "curve", recording, "--regions", path) == 2
    err = capsys.readouterr().err
    assert word in err
    assert err.count("\n") == 1


def test_usage_errors_are_one_line(
    monkeypatch: Patch,
    capsys: Output,
    recording: Path,
    tmp_path: Path,
) -> None:
    for arguments in (
        ("curve",),
        ("curve", recording, "--regions", "nowhere.json"),
        ("export", recording, tmp_path / "o.csv", "--frame", 99),
        ("export", recording, tmp_path / "o.docx"),
        ("record", "simulated:nothing", tmp_path / "o.h5"),
        ("record", "simulated:good", tmp_path / "o.h5", "--seconds", -1),
        ("info", recording, "--scale", "nan"),
    ):
        assert command(monkeypatch, *arguments) == 2, arguments
        err = capsys.readouterr().err
        assert err.startswith("thermview: error: "), arguments
        assert err.count("\n") == 1, arguments


def test_a_missing_camera_is_exit_3(tmp_path: Path, monkeypatch: Patch, capsys: Output) -> None:
    assert command(monkeypatch, "record", "camera:97", tmp_path / "o.h5") == 3
    assert "camera" in capsys.readouterr().err
    assert not (tmp_path / "o.h5").exists()


def test_interrupted_recording_is_kept(tmp_path: Path) -> None:
    out = tmp_path / "kept.h5"
    arguments = ["record", "simulated:good", str(out), "--seconds", "600"]
    # what is ignored, as by tests run in the background, a new process ignores too
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    process = subprocess.Popen(
        [sys.executable, "-m", "thermview", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    signal.signal(signal.SIGINT, before)
    deadline = time.monotonic() + 60
    while not out.exists() and time.monotonic() < deadline:
        time.sleep(0.1)
    time.sleep(2.0)
    process.send_signal(signal.SIGINT)
    said, complained = process.communicate(timeout=60)
    assert process.returncode == 130, complained
    assert b"frames" in said
    with h5py.File(out) as file:
        assert len(file["entry/thermal/time"]) > 5


def test_commands_start_without_qt() -> None:
    code = (
        "import sys; from thermview.cli.main import command_parser; command_parser(); "
        "import thermview.session, thermview.sources, thermview.job.films; "
        "print([m for m in sys.modules if m.startswith(('PySide6', 'pyqtgraph'))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", ["info", "verify"])
def test_a_command_in_a_process_of_its_own(name: str) -> None:
    """The file is tried out on a thread while the program loads: neither disturbs the other."""
    code = f"import sys; sys.argv[1:] = {[name, str(sample_recordings() / 'good.h5')]!r}; "
    code += "from thermview.cli.main import main; main()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout
