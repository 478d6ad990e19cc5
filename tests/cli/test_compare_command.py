"""`thermview compare` as its users meet it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cli_kit import command

Patch = pytest.MonkeyPatch
Output = pytest.CaptureFixture[str]


def run(patch: Patch, *arguments: object) -> int:
    return command(patch, "compare", *arguments)


def test_json_and_plot(samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path) -> None:
    plot = tmp_path / "plot.png"
    pair = (samples / "pair-good.h5", samples / "pair-bad.h5")
    assert run(monkeypatch, *pair, "--format", "json", "--plot", plot) == 0
    document = json.loads(capsys.readouterr().out)
    truth = json.loads((samples / "truth.json").read_text())["pair"]
    said = {p["part"]: p["verdict"] for p in document["parts"]}
    assert sorted(n for n, v in said.items() if v == "colder") == sorted(truth["colder"])
    assert [n for n, v in said.items() if v == "hotter"] == truth["hotter"]
    wanted = {"part", "rise_good_K", "rise_bad_K", "power_good_W", "power_bad_W", "sigma_W"}
    assert wanted | {"verdict"} <= set(document["parts"][0])
    assert plot.read_bytes()[:4] == b"\x89PNG"


def test_words_with_files_named(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    for name in ("good", "bad"):  # alone, without anything beside them
        shutil.copyfile(samples / f"pair-{name}.h5", tmp_path / f"{name}.h5")
    code = run(
        monkeypatch,
        tmp_path / "good.h5",
        tmp_path / "bad.h5",
        "--parts",
        samples / "pair-bad.parts.csv",
        "--landmarks-good",
        samples / "pair-good.landmarks.json",
        "--landmarks-bad",
        samples / "pair-bad.landmarks.json",
        "--power-on-good",
        "3.4",
        "--output",
        tmp_path / "said.txt",
    )
    assert code == 0
    said = (tmp_path / "said.txt").read_text()
    assert "U10  colder" in said
    assert "bad board: power-on found from the frames" in said
    assert "good board: power-on found" not in said
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    "case",
    [
        (("--parts", "{samples}/pair-bad.parts.csv"), "belong together"),
        (("--tolerance", "2,1"), "--tolerance"),
        (("--tolerance", "x"), "--tolerance"),
        (("--power-on-bad", "999"), "lasts from"),
        (("--power-on-bad", "nan"), "lasts from"),
        (("--regions", "{here}/none.json"), "none.json"),
        (("--matching", "{here}/few.json"), "four or more"),
        (("--matching", "{here}/text.json"), "good_pixel"),
        (("--matching", "{here}/empty.json"), "unmoved"),
    ],
)
def test_errors_are_one_line(
    samples: Path,
    monkeypatch: Patch,
    capsys: Output,
    tmp_path: Path,
    case: tuple[tuple[str, ...], str],
) -> None:
    arguments, words = case
    pair = {"good_pixel": [1, 2], "bad_pixel": [1, 2]}
    (tmp_path / "few.json").write_text(json.dumps({"matching": [pair]}))
    (tmp_path / "empty.json").write_text(json.dumps({"matching": []}))
    (tmp_path / "text.json").write_text("{")
    filled = [a.format(samples=samples, here=tmp_path) for a in arguments]
    files = (samples / "pair-good.h5", samples / "pair-bad.h5")
    assert run(monkeypatch, *files, *filled) == 2
    error = capsys.readouterr().err
    assert error.startswith("thermview: error: ")
    assert error.count("\n") == 1
    assert words in error


def test_missing_file(monkeypatch: Patch, capsys: Output, tmp_path: Path) -> None:
    assert run(monkeypatch, tmp_path / "a.h5", tmp_path / "b.h5") == 2
    assert capsys.readouterr().err.count("\n") == 1
