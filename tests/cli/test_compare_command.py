"""`thermview compare` as its users meet it."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from cli_kit import command

from thermview.job.shelf import Shelf

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


@pytest.fixture
def shelved(samples: Path, monkeypatch: Patch, tmp_path: Path) -> Path:
    """Two recordings of the known-good board on a shelf of the test's own."""
    monkeypatch.setenv("THERMVIEW_HOME", str(tmp_path / "home"))
    for title in ("first", "second"):
        Shelf().add(samples / "pair-good.h5", "model A", title=title)
    return samples / "pair-bad.h5"


def test_against_the_shelf(
    shelved: Path, samples: Path, monkeypatch: Patch, capsys: Output
) -> None:
    assert run(monkeypatch, shelved, "--shelf", "model A", "--format", "json") == 0
    document = json.loads(capsys.readouterr().out)
    truth = json.loads((samples / "truth.json").read_text())["pair"]
    cold = [p["part"] for p in document["parts"] if p["verdict"] == "colder"]
    assert sorted(cold) == sorted(truth["colder"])
    assert document["against"] == "shelf"
    assert sorted(document["goods"]) == ["first", "second"]
    first = document["parts"][0]
    assert first["goods_W"][0] <= first["power_good_W"] <= first["goods_W"][1]


def test_equal_regions_without_a_good_board(
    samples: Path, monkeypatch: Patch, capsys: Output, tmp_path: Path
) -> None:
    """Three places of one board are compared among themselves."""
    shapes = [
        {"shape": "rectangle", "width": 8, "height": 8, "y": 60, "x": x} for x in (30, 60, 90)
    ]
    regions = [{"name": f"r{n}", **shape} for n, shape in enumerate(shapes)]
    drawn = tmp_path / "regions.json"
    drawn.write_text(json.dumps({"version": 1, "regions": regions}))
    code = run(
        monkeypatch, samples / "pair-bad.h5", "--equals", "--regions", drawn, "--format", "json"
    )
    assert code == 0
    document = json.loads(capsys.readouterr().out)
    assert document["against"] == "equals"
    assert sorted(p["part"] for p in document["parts"]) == ["r0", "r1", "r2"]
    usual = {p["power_good_W"] for p in document["parts"]}
    assert len(usual) == 1  # the group's median stands for the good board


@pytest.mark.parametrize(
    "case",
    [
        (("{bad}",), "one recording is given"),
        (("{bad}", "{bad}", "--equals"), "alone"),
        (("{bad}", "--shelf", "model B"), "it has model A"),
        (("{bad}", "--shelf", "model A", "--power-on-good", "1"), "--power-on-good"),
        (("{bad}", "--shelf", "model A", "--regions", "r.json"), "leave --regions out"),
        (("{bad}", "--equals", "--parts", "p.csv"), "belong together"),
        (("{bad}", "--equals", "--shelf", "model A"), "not allowed with"),
    ],
)
def test_asked_wrongly_of_the_shelf_or_of_equals(
    shelved: Path, monkeypatch: Patch, capsys: Output, case: tuple[tuple[str, ...], str]
) -> None:
    arguments, words = case
    assert run(monkeypatch, *[a.format(bad=shelved) for a in arguments]) == 2
    error = capsys.readouterr().err
    assert error.startswith("thermview: error: ")
    assert error.count("\n") == 1
    assert words in error


def test_missing_file(monkeypatch: Patch, capsys: Output, tmp_path: Path) -> None:
    assert run(monkeypatch, tmp_path / "a.h5", tmp_path / "b.h5") == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_scipy_is_not_loaded(samples: Path) -> None:
    """It takes longer to load than all that it would do here."""
    board = ["--parts", samples / "pair-bad.parts.csv"]
    for name in ("good", "bad"):
        board += [f"--landmarks-{name}", samples / f"pair-{name}.landmarks.json"]
    script = (
        "import sys; from thermview.cli.main import run; run(['compare', *sys.argv[1:]]); "
        "print([name for name in sys.modules if name.split('.')[0] == 'scipy'])"
    )
    pair = [samples / "pair-good.h5", samples / "pair-bad.h5"]
    done = subprocess.run(
        [sys.executable, "-c", script, *map(str, [*pair, *board])],
        check=True, text=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == "[]"
