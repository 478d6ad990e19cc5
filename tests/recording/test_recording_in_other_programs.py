"""A recording in programs that know nothing of ours: xarray (CF) and a NeXus validator."""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from thermview.frames import Frame, Mark, Scale, Scene, SourceInfo, SupplySample
from thermview.recording.writer import Writer


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "r.h5"
    scale = Scale(0.01, 3.0)
    scene = Scene(0.9, 295.0, 296.0, 0.9)
    info = SourceInfo(
        "c", "c", 8, 6, scale, True, datetime.now(UTC), 25.0, netd_k=0.04, scene=scene
    )
    with Writer(path, info) as writer:
        for n in range(5):
            writer.take(Frame(np.full((6, 8), 29000 + n, np.uint16), n / 25, n, scale))
        writer.take_supply([SupplySample(0.1, 1.0, 2.0)])
        writer.add_mark(Mark(0.1, text="x"))
        writer.set_board("Ref,X,Y\n", '{"landmarks": []}')
    return path


def test_xarray_gets_kelvin_with_time_and_pixel_coordinates(film: Path) -> None:
    with xarray.open_dataset(film, engine="h5netcdf", group="entry/thermal") as data:
        counts = data["counts"]
        assert counts.dims == ("time", "y", "x")
        np.testing.assert_allclose(counts.isel(time=3), 29003 * 0.01 + 3.0)
        np.testing.assert_allclose(data["time"], np.arange(5) / 25)
        np.testing.assert_allclose(data["x"], np.arange(8) + 0.5)
        assert counts.attrs["units"] == "K"


def test_xarray_gets_nan_for_a_pixel_without_value(tmp_path: Path) -> None:
    path = tmp_path / "f.h5"
    celsius = np.array([[20.0, np.nan]], np.float32)
    scale = Scale(1.0, 273.15)
    info = SourceInfo("c", "c", 2, 1, scale, True, datetime.now(UTC), 25.0)
    with Writer(path, info) as writer:
        writer.take(Frame(celsius, 0.0, 0, scale))
    with xarray.open_dataset(path, engine="h5netcdf", group="entry/thermal") as data:
        np.testing.assert_allclose(data["counts"][0, 0], [293.15, np.nan], atol=1 / 128)


def nexus_findings(path: Path) -> tuple[int, int, str]:
    """Return the validator's number of errors and of warnings, and its text."""
    nxcheck = Path(sys.executable).with_name("nxcheck")
    done = subprocess.run([nxcheck, path], capture_output=True, text=True, check=True)
    text = re.sub(r"\x1b\[[0-9;]*m", "", done.stdout)
    totals = [re.search(rf"Total number of {what}: (\d+)", text) for what in ("errors", "warnings")]
    errors, warnings = (int(total[1]) for total in totals if total is not None)
    return errors, warnings, text


def test_the_nexus_validator_objects_only_to_our_additions(film: Path) -> None:
    """nxvalidate with the NeXus definitions it carries; its exit code is always 0."""
    errors, warnings, text = nexus_findings(film)
    assert (errors, warnings) == (0, 4), text
    for ours in ('"@thermview_schema"', "camera/netd", "camera/shutter", "camera/flags"):
        assert ours in text


def test_the_nexus_validator_would_see_a_wrong_signal_or_class(film: Path) -> None:
    with h5py.File(film, "r+") as file:
        file["entry/thermal"].attrs["signal"] = "nothing"
    assert nexus_findings(film)[:2] == (0, 5)
    with h5py.File(film, "r+") as file:
        file["entry/thermal"].attrs["NX_class"] = "NXnothing"
    assert nexus_findings(film)[0] == 1
