"""`thermview locate` and `thermview pulse` as their users meet them."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from cli_kit import command

Patch = pytest.MonkeyPatch
Output = pytest.CaptureFixture[str]


def beside(samples: Path, name: str) -> tuple[object, ...]:
    stem = samples / name
    return (
        stem.with_suffix(".h5"),
        "--parts",
        stem.with_suffix(".parts.csv"),
        "--landmarks",
        stem.with_suffix(".landmarks.json"),
    )


def test_json_and_plot(samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path) -> None:
    plot = tmp_path / "plot.png"
    files = beside(samples, "ramp-strong")
    assert command(monkeypatch, "locate", *files, "--format", "json", "--plot", plot) == 0
    found = json.loads(capsys.readouterr().out)
    truth = json.loads((samples / "truth.json").read_text())["ramp-strong"]
    first = found["suspects"][0]
    assert (found["heated"], first["part"], first["nature"], first["rank"]) == (
        True,
        truth["part"],
        "heating",
        1,
    )
    assert first["power_W"] == pytest.approx(truth["power_W"], rel=0.35)
    assert {"rise_K", "power_sigma_W", "onset_s", "snr"} <= set(first)
    assert plot.read_bytes()[:4] == b"\x89PNG"


def test_a_board_seen_from_below(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    """The same picture told as the board's other side: x counted from the other edge."""
    stem = samples / "ramp-strong"
    width_mm = 120.0
    with stem.with_suffix(".parts.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["X(mm)"], row["Side"] = str(width_mm - float(row["X(mm)"])), "bottom"
    parts, landmarks = tmp_path / "p.csv", tmp_path / "l.json"
    with parts.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    document = json.loads(stem.with_suffix(".landmarks.json").read_text())
    for landmark in document["landmarks"]:
        landmark["board_mm"][0] = width_mm - landmark["board_mm"][0]
    landmarks.write_text(json.dumps(document))
    files = (stem.with_suffix(".h5"), "--parts", parts, "--landmarks", landmarks)
    assert command(monkeypatch, "locate", *files, "--format", "json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["suspects"][0]["part"] == "C8"

    top = stem.with_suffix(".parts.csv")  # nothing of this list can be in the picture
    wrong = (stem.with_suffix(".h5"), "--parts", top, "--landmarks", landmarks)
    assert command(monkeypatch, "locate", *wrong) == 2
    assert "side" in capsys.readouterr().err


def test_without_parts_places_are_told_in_pixels(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    recording = tmp_path / "alone.h5"
    recording.write_bytes((samples / "ramp-strong.h5").read_bytes())
    assert command(monkeypatch, "locate", recording, "--format", "json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["suspects"] == []
    assert found["heated"]
    assert found["elsewhere"][0]["x_px"] == pytest.approx(23.5, abs=3.0)  # C8, seen in the picture
    assert found["elsewhere"][0]["y_px"] == pytest.approx(78.0, abs=3.0)


def test_what_is_meant_to_be_warm_comes_last(
    samples: Path, monkeypatch: Patch, capsys: Output
) -> None:
    files = beside(samples, "ramp-strong")
    assert command(monkeypatch, "locate", *files, "--meant-warm", "C8", "--format", "json") == 0
    last = json.loads(capsys.readouterr().out)["suspects"][-1]
    assert (last["part"], last["expected"]) == ("C8", True)


def test_pulse_writes_its_images(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    out = tmp_path / "pulse.npz"
    recording = samples / "ramp-pulsed.h5"
    assert command(monkeypatch, "pulse", recording, out, "--period", 2.0) == 0
    with np.load(out) as images:
        assert set(images) == {"amplitude", "phase", "noise", "periods"}
        assert images["amplitude"].shape == images["phase"].shape == (192, 256)
        assert np.abs(images["phase"]).max() <= np.pi
        assert images["periods"] > 15
    assert command(monkeypatch, "pulse", recording, out, "--period", 2.0) == 2  # it stands there
    assert "--force" in capsys.readouterr().err


def test_bad_usage_is_one_line(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    recording, *files = beside(samples, "ramp-strong")
    empty = tmp_path / "empty.h5"
    empty.touch()
    nonsense = tmp_path / "nonsense.csv"
    nonsense.write_text("a,b\n1,2\n")
    out = tmp_path / "o.npz"
    for arguments in (
        ("locate", empty),
        ("locate", recording, *files[:2]),
        ("locate", recording, "--parts", nonsense, *files[2:]),
        ("locate", recording, *files, "--power-on", 99),
        ("locate", recording, *files, "--period", "nan"),
        ("locate", recording, *files, "--meant-warm", "Z99"),
        ("locate", recording, *files, "--meant-warm", "4000:20"),
        ("locate", recording, *files, "--matt-patch", "300:20"),
        ("locate", recording, *files, "--matt-patch", "tape"),
        ("locate", recording, *files, "--meant-warm", "20:-300"),
        ("locate", recording, "--meant-warm", "257:10"),
        ("pulse", empty, out, "--period", 2),
        ("pulse", recording, out, "--period", 0),
        ("pulse", recording, out, "--period", 1e9),
        ("pulse", recording, tmp_path / "o.txt", "--period", 2),
    ):
        assert command(monkeypatch, *arguments) == 2, arguments
        err = capsys.readouterr().err
        assert err.startswith("thermview: error: "), arguments
        assert err.count("\n") == 1, arguments
        assert not out.exists()


@pytest.mark.parametrize("size", [(8, 8), (1, 256), (23, 40)])
def test_too_small_pictures_are_one_line(
    tmp_path: Path, monkeypatch: Patch, capsys: Output, size: tuple[int, int]
) -> None:
    path = tmp_path / "small.h5"
    with h5py.File(path, "w") as file:
        counts = np.random.default_rng(0).integers(29000, 29100, (30, *size), dtype=np.uint16)
        file["entry/thermal/counts"] = counts
        file["entry/thermal/counts"].attrs["scale_factor"] = 0.01
        file["entry/thermal/time"] = np.arange(30) / 10
    assert command(monkeypatch, "locate", path) == 2
    said = capsys.readouterr().err
    assert f"{size[1]} x {size[0]} pixels are too small" in said
    assert said.count("\n") == 1


def test_what_is_meant_to_be_warm_is_remembered_of_the_model(
    samples: Path, monkeypatch: Patch, capsys: Output
) -> None:
    files = beside(samples, "ramp-strong")
    part = json.loads((samples / "truth.json").read_text())["ramp-strong"]["part"]

    def expected(*more: str) -> bool:
        assert command(monkeypatch, "locate", *files, "--format", "json", *more) == 0
        suspects = json.loads(capsys.readouterr().out)["suspects"]
        return bool(next(s for s in suspects if s["part"] == part).get("expected"))

    assert not expected()
    assert expected("--meant-warm", part)
    assert not expected(), "nothing is remembered unasked"
    assert expected("--meant-warm", part, "--remember")
    assert expected()
    assert not expected("--unremembered")


def test_a_place_is_meant_to_be_warm_and_remembered(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    """The part that heats is taken out of the list: its heat is then on no listed part."""
    recording, _, parts, _, landmarks = beside(samples, "ramp-strong")
    part = json.loads((samples / "truth.json").read_text())["ramp-strong"]["part"]
    fewer = tmp_path / "fewer.csv"
    lines = Path(str(parts)).read_text().splitlines(keepends=True)
    fewer.write_text("".join(line for line in lines if line.split(",")[0].strip('"') != part))

    def elsewhere(*more: object) -> list[dict[str, object]]:
        files = (recording, "--parts", fewer, "--landmarks", landmarks)
        assert command(monkeypatch, "locate", *files, "--format", "json", *more) == 0
        places: list[dict[str, object]] = json.loads(capsys.readouterr().out)["elsewhere"]
        return places

    first = elsewhere()[0]
    assert first["expected"] is False
    named = f"{first['x_mm']}:{first['y_mm']}"
    last = elsewhere("--meant-warm", named, "--remember")[-1]
    assert (last["x_mm"], last["expected"]) == (first["x_mm"], True)
    assert elsewhere()[-1]["expected"] is True
    assert not any(place["expected"] for place in elsewhere("--unremembered"))
    bad = (recording, "--parts", fewer, "--landmarks", landmarks, "--meant-warm", "3:x")
    assert command(monkeypatch, "locate", *bad) == 2
    assert "X:Y in mm" in capsys.readouterr().err


def test_the_leads_share_is_taken_off_the_limit(
    samples: Path, monkeypatch: Patch, capsys: Output
) -> None:
    files = beside(samples, "ramp-strong")

    def answer(*more: object) -> dict[str, Any]:
        assert command(monkeypatch, "locate", *files, "--format", "json", *more) == 0
        document: dict[str, Any] = json.loads(capsys.readouterr().out)
        return document

    plain = answer()
    if plain["supply_W"] is None:
        pytest.skip("this recording has no supply's log")
    with h5py.File(samples / "ramp-strong.h5") as file:
        amps = float(np.percentile(file["entry/supply/current"], 90))
    ohm = 0.4 * plain["supply_W"] / amps**2
    told = answer("--lead-ohm", ohm)
    assert 0.4 * plain["supply_W"] < told["supply_W"] < 0.8 * plain["supply_W"]
    assert sum(s["power_W"] for s in told["suspects"] if s["nature"] == "heating") <= (
        told["supply_W"] * 1.001
    )
    assert any("leads of" in note for note in told["notes"])
    assert command(monkeypatch, "locate", *files, "--lead-ohm", -1) == 2
    assert "--lead-ohm is -1" in capsys.readouterr().err


def test_the_period_is_found(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    """The log is taken away: the pictures alone tell."""
    bare = tmp_path / "bare.h5"
    shutil.copy(samples / "ramp-pulsed.h5", bare)
    with h5py.File(bare, "r+") as file:
        if "entry/supply" in file:
            del file["entry/supply"]
    out = tmp_path / "o.npz"
    arguments = ("pulse", bare, out, "--period", "auto", "--format", "json")
    assert command(monkeypatch, *arguments) == 0
    period_s = json.loads(capsys.readouterr().out)["period_s"]
    logged = ("pulse", samples / "ramp-pulsed.h5", out, "--period", "auto", "--force")
    assert command(monkeypatch, *logged, "--format", "json") == 0
    assert period_s == pytest.approx(json.loads(capsys.readouterr().out)["period_s"], rel=0.01)
    assert command(monkeypatch, "locate", bare, "--period", "auto", "--format", "json") == 0
    assert json.loads(capsys.readouterr().out)["period_s"] == pytest.approx(period_s)
    board = [samples / f"ramp-pulsed.{kind}" for kind in ("parts.csv", "landmarks.json")]
    listed = ("--parts", board[0], "--landmarks", board[1], "--format", "json")
    assert command(monkeypatch, "locate", bare, *listed) == 0
    unasked = json.loads(capsys.readouterr().out)  # a long recording is looked through for pulses
    truth = json.loads((samples / "truth.json").read_text())["ramp-pulsed"]
    assert unasked["suspects"][0]["part"] == truth["part"]
    assert unasked["suspects"][0]["nature"] == "heating"
    assert "the pictures show that the supply pulses every 2 s" in unasked["notes"]
    still = ("locate", samples / "ramp-quiet.h5", "--period", "auto")
    assert command(monkeypatch, *still) == 2
    assert "no period" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["ramp-faint", "ramp-handheld", "ramp-quiet"])
def test_nothing_is_loaded_that_is_not_needed(samples: Path, name: str) -> None:
    """SciPy takes longer to load than all that it would do here."""
    files = [str(one) for one in beside(samples, name)]
    script = (
        "import sys; from thermview.cli.main import run; run(['locate', *sys.argv[1:]]); "
        "print([name for name in sys.modules if name.split('.')[0] == 'scipy'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *files], check=True, text=True, stdout=subprocess.PIPE
    )
    assert done.stdout.splitlines()[-1] == "[]"
