"""The record of the work: the same numbers as everywhere, each with its worth."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.cli.main import run as main
from thermview.errors import OutputError, UsageError
from thermview.frames import Frame, Mark, MarkKind, Scale, Scene, SourceInfo
from thermview.radiometry import CameraProfile, Setting, apparent_temperature, profile_text
from thermview.radiometry.emissivity import LACQUER_NOTE
from thermview.radiometry.touch import METAL_NOTE
from thermview.recording.writer import Writer
from thermview.regions import Rectangle, Region, RegionSet, save_regions

SCALE = Scale(0.001, 273.15)
ROOM_K = 296.15
REGIONS = RegionSet(
    (
        Region(
            "U3",
            Rectangle(4.0, 4.0, 8.0, 8.0),
            emissivity=0.95,
            emissivity_u=0.02,
            reflected_k=ROOM_K,
            reflected_u_k=2.0,
        ),
        Region("can", Rectangle(16.0, 4.0, 6.0, 6.0), emissivity=0.1),
        Region(
            "coat",
            Rectangle(16.0, 14.0, 6.0, 6.0),
            emissivity=0.9,
            emissivity_from="material: lacquer",
        ),
        Region("gone", Rectangle(100.0, 4.0, 6.0, 6.0)),
    )
)


def write(path: Path, *, title: str = "a <strange> board") -> Path:
    """Record a part that goes from the room's temperature to 60 °C at 2 s, no noise."""
    info = SourceInfo(
        "invented", "", 32, 24, SCALE, True, datetime(2026, 1, 1, tzinfo=UTC), title=title,
        scene=Scene(reflected_k=ROOM_K), simulated=True,
    )  # fmt: skip
    hot = float(apparent_temperature(333.15, Setting(0.95, ROOM_K)))
    with Writer(path, info) as writer:
        writer.set_profile(profile_text(CameraProfile("lab", accuracy_k=0.5, netd_k=0.001)))
        for number in range(100):
            kelvin: NDArray[np.float64] = np.full((24, 32), ROOM_K)
            if number >= 50:
                kelvin[4:12, 4:12] = hot
            counts = np.rint((kelvin - 273.15) * 1000).astype(np.uint16)
            writer.take(Frame(counts, number / 25, number, SCALE))
        writer.add_mark(Mark(2.0, MarkKind.POWER_ON, "by key"))
    return path


def cells(page: str) -> dict[str, list[str]]:
    """Return the readings' table by region."""
    rows = re.findall(r"<tr>(<td>.*?)</tr>", page)
    found = [re.findall(r"<td>(.*?)</td>", row) for row in rows]
    return {row[0]: row[1:] for row in found}


def test_report_of_a_recording_with_its_regions_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "job.h5")
    save_regions(tmp_path / "job.regions.json", REGIONS)
    out = tmp_path / "job.html"
    assert main(["report", str(path), str(out)]) == 0
    assert capsys.readouterr().out.strip() == str(out)
    page = out.read_text()
    assert "a &lt;strange&gt; board (simulated)" in page
    assert "2.00 s power on by key" in page
    found = cells(page)
    emissivity, highest, _, rise, _ = found["U3"]
    assert emissivity == "0.95 ± 0.02"
    assert highest.startswith("60.0 ± 0.9 °C (95 %: 58.")  # CHECKS 5: u = .858
    assert re.match(r"\+37\.\d+ ± \d\.\d+ K", rise)  # 60 °C above a board at 23 °C
    assert float(rise.split()[2]) < 0.95  # a rise is surer than the temperature
    assert found["can"][1].startswith("not readable: uncertain by")
    assert METAL_NOTE in found["can"][4]
    assert found["gone"][1:3] == ["out of view"] * 2
    assert f"coat: {html.escape(LACQUER_NOTE)}" in page
    assert page.count("data:image/png;base64,") == 2
    assert "Boards under test can hurt" in page
    with pytest.raises(OutputError, match="--force"):
        main(["report", str(path), str(out)])


def test_another_frame_limit_and_unit(tmp_path: Path) -> None:
    path = write(tmp_path / "job.h5", title="simulated, plainly")
    file = tmp_path / "r.json"
    save_regions(file, REGIONS)
    out = tmp_path / "a.html"
    arguments = ["report", str(path), str(out), "--regions", str(file), "--frame", "10"]
    assert main([*arguments, "--unit", "F"]) == 0
    page = out.read_text()
    assert "plainly (simulated)" not in page  # said once
    assert cells(page)["U3"][1].startswith("73.4 ± ")  # 23 °C
    assert main([*arguments, "--limit", "0.1", "--force"]) == 0
    assert cells(out.read_text())["U3"][1].startswith("not readable: uncertain by")
    for wrong in (["--limit", "0"], ["--frame", "100", "--force"], ["--unit", "R"]):
        with pytest.raises(UsageError):
            main([*arguments, *wrong])
    with pytest.raises(UsageError, match=r"\.html or \.pdf"):
        main(["report", str(path), str(tmp_path / "a.txt")])


def test_report_for_printing(tmp_path: Path) -> None:
    path = write(tmp_path / "job.h5")
    save_regions(tmp_path / "job.regions.json", REGIONS)
    out = tmp_path / "job.pdf"
    assert main(["report", str(path), str(out)]) == 0
    data = out.read_bytes()
    assert data.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", data)) == 4  # words, picture, table, curves


def test_without_regions_the_picture_is_reported(tmp_path: Path) -> None:
    path = write(tmp_path / "job.h5")
    out = tmp_path / "a.html"
    assert main(["report", str(path), str(out)]) == 0
    page = out.read_text()
    assert "No regions." in page
    assert page.count("data:image/png;base64,") == 1
