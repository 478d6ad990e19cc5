"""A frame in open formats, read back by general libraries."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from session_fakes import SCALE
from skimage.io import imread

from thermview.errors import OutputError, UsageError
from thermview.frames import Frame, Scale
from thermview.session.export import colour, export_frame
from thermview.units import TemperatureUnit

COUNTS = np.random.default_rng(0).integers(29000, 33000, (12, 17), dtype=np.uint16)
FRAME = Frame(COUNTS, 1.25, 31, SCALE)
GREYS = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)


def test_png_in_16_bits_and_in_colours(tmp_path: Path) -> None:
    export_frame(FRAME, tmp_path / "raw.png")
    np.testing.assert_array_equal(imread(tmp_path / "raw.png"), COUNTS)
    coloured = colour(FRAME, GREYS * np.array([1, 0, 0], np.uint8), 290.0, 330.0)
    export_frame(FRAME, tmp_path / "seen.png", coloured=coloured)
    seen = imread(tmp_path / "seen.png")
    np.testing.assert_array_equal(seen, coloured)
    wanted = np.rint((FRAME.kelvin() - 290) / 40 * 255)
    np.testing.assert_array_equal(seen[:, :, 0], wanted)


def test_tiff_says_its_scale(tmp_path: Path) -> None:
    export_frame(FRAME, tmp_path / "a.tiff")
    with tifffile.TiffFile(tmp_path / "a.tiff") as file:
        np.testing.assert_array_equal(file.asarray(), COUNTS)
        assert '"scale_factor": 0.01' in file.pages[0].description


@pytest.mark.parametrize("unit", TemperatureUnit)
def test_csv(tmp_path: Path, unit: TemperatureUnit) -> None:
    export_frame(FRAME, tmp_path / "a.csv", unit=unit)
    table = np.loadtxt(tmp_path / "a.csv", delimiter=",")
    wanted = np.vectorize(unit.from_kelvin)(FRAME.kelvin())
    np.testing.assert_allclose(table, wanted, atol=6e-5)
    assert unit.symbol in (tmp_path / "a.csv").read_text().splitlines()[0]


def test_npz_and_brightness(tmp_path: Path) -> None:
    export_frame(FRAME, tmp_path / "a.npz")
    with np.load(tmp_path / "a.npz") as file:
        np.testing.assert_allclose(file["kelvin"], FRAME.kelvin(), atol=1e-4)
        assert (file["time_s"], file["index"]) == (1.25, 31)
    bright = Frame(COUNTS, 0.0, 0, Scale(1.0, relative=True))
    export_frame(bright, tmp_path / "b.npz")
    with np.load(tmp_path / "b.npz") as file:
        assert "kelvin" not in file


def test_colours_of_a_picture_with_holes() -> None:
    counts = np.full((3, 4), 300.0, dtype=np.float32)
    counts[1, 1] = np.nan
    seen = colour(Frame(counts, 0.0, 0, Scale(1.0)), GREYS)
    assert seen.shape == (3, 4, 3)


def test_refusals_leave_nothing(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(b"mine")
    with pytest.raises(OutputError, match="exists already"):
        export_frame(FRAME, tmp_path / "a.png")
    assert (tmp_path / "a.png").read_bytes() == b"mine"
    export_frame(FRAME, tmp_path / "a.png", force=True)
    with pytest.raises(UsageError, match=r"\.tiff"):
        export_frame(FRAME, tmp_path / "a.gif")
    with pytest.raises(OutputError, match="cannot be written"):
        export_frame(FRAME, tmp_path / "no such folder" / "a.csv")
    floating = Frame(COUNTS.astype(np.float32), 0.0, 0, SCALE)
    with pytest.raises(UsageError, match="16-bit"):
        export_frame(floating, tmp_path / "b.png")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.png"]
