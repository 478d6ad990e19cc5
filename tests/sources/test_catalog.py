"""One way to name a source, and every file kind opened by it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import h5py
import hdf5plugin  # noqa: F401
import numpy as np
import pytest
import tifffile

from thermview.errors import DeviceError, InputError, ThermviewError, UsageError
from thermview.frames import Footage
from thermview.sources import (
    OpenOptions,
    is_live,
    list_inputs,
    open_footage,
    open_source,
    parse_address,
)

VALUES = np.random.default_rng(4).integers(20000, 40000, (3, 6, 8), dtype=np.uint16)


@pytest.mark.parametrize(
    ("address", "live"),
    [
        ("camera:0", True),
        ("simulated", True),
        ("simulated:good", True),
        ("camera:SIM0001", True),
        ("replay:film.h5", True),
        ("film.h5", False),
        ("camera.h5", False),
        ("C:/films/one.h5", False),
    ],
)
def test_addresses(address: str, live: bool) -> None:
    assert is_live(address) is live


@pytest.mark.parametrize("address", ["camera:", "replay:", "simulated:nothing"])
def test_unknown_inputs_are_refused_with_what_there_is(address: str) -> None:
    with pytest.raises(UsageError, match=r"camera:0|simulated:short|replay:FILE"):
        parse_address(address)


def test_every_listed_simulated_board_opens() -> None:
    offers = [offer for offer in list_inputs() if offer.kind == "simulated"]
    assert offers
    for offer in offers:
        assert is_live(offer.address)
        source = open_source(offer.address, OpenOptions(seed=1, speed=1e6))
        try:
            assert source.info.live
            assert source.info.simulated
        finally:
            source.close()


def test_a_live_input_is_no_footage() -> None:
    with pytest.raises(UsageError, match="record it first"):
        open_footage("camera:0")


def test_a_missing_camera_is_a_missing_device() -> None:
    with pytest.raises(DeviceError, match="no camera:97") as caught:
        open_source("camera:97")
    assert caught.value.exit_code == 3


def test_something_unknown_lists_what_can_be_opened() -> None:
    with pytest.raises(InputError, match=r"recording .* camera:0, simulated:short"):
        open_source("no-such-thing")


# -- another program's recordings ---------------------------------------------------------


def test_another_programs_recordings_open_as_h5py_reads_them(samples: Path) -> None:
    films = sorted(samples.glob("*.h5"))
    assert films
    for film in films:
        with h5py.File(film) as file:
            counts = file["entry/thermal/counts"]
            numbers = [0, len(counts) // 2, len(counts) - 1]
            factor, offset = counts.attrs["scale_factor"], counts.attrs["add_offset"]
            expected = [counts[n].astype(np.float64) * factor + offset for n in numbers]
            times = file["entry/thermal/time"][:]
            has_supply = "supply" in file["entry"]
        footage = open_footage(str(film))
        try:
            assert isinstance(footage, Footage)
            np.testing.assert_array_equal(footage.times_s, times)
            for number, kelvin in zip(numbers, expected, strict=True):
                np.testing.assert_allclose(footage.frame(number).kelvin(), kelvin, atol=1e-9)
            assert (footage.supply is not None) is has_supply
            with pytest.raises(IndexError):
                footage.frame(len(footage))
        finally:
            footage.close()


# -- other HDF5 files -----------------------------------------------------------------------


def other_hdf5(path: Path, **datasets: Any) -> str:
    with h5py.File(path, "w") as file:
        for name, values in datasets.items():
            file[f"a/{name}"] = values
    return str(path)


def test_the_only_3d_dataset_is_found(tmp_path: Path) -> None:
    address = other_hdf5(tmp_path / "o.h5", film=VALUES, flat=np.zeros((4, 4)))
    footage = open_footage(address, OpenOptions(scale_k=0.01, offset_k=1.0, rate_hz=4.0))
    np.testing.assert_allclose(footage.frame(2).kelvin(), VALUES[2] * 0.01 + 1.0)
    assert footage.times_s.tolist() == [0.0, 0.25, 0.5]
    footage.close()


def test_among_several_datasets_one_must_be_named(tmp_path: Path) -> None:
    address = other_hdf5(tmp_path / "o.h5", one=VALUES, two=VALUES + 1)
    with pytest.raises(InputError, match=r"a/one, a/two; choose one with --dataset"):
        open_footage(address)
    with pytest.raises(InputError, match=r"no dataset 'a/three'; it has a/one, a/two"):
        open_footage(address, OpenOptions(dataset="a/three"))
    footage = open_footage(address, OpenOptions(dataset="/a/two"))
    np.testing.assert_array_equal(footage.frame(0).counts, VALUES[0] + 1)
    assert footage.info.scale.relative
    assert len(footage.info.notes) == 2  # no scale, no rate
    footage.close()


def test_celsius_numbers(tmp_path: Path) -> None:
    celsius = np.array([[[20.0, -40.0], [np.nan, 100.0]]])
    address = other_hdf5(tmp_path / "o.h5", film=celsius)
    footage = open_footage(address, OpenOptions(celsius=True, rate_hz=1.0))
    expected = [[293.15, 233.15], [np.nan, 373.15]]
    np.testing.assert_allclose(footage.frame(0).kelvin()[0:], expected, atol=1e-3)
    footage.close()


@pytest.mark.parametrize(
    "options",
    [
        OpenOptions(celsius=True, kelvin=True),
        OpenOptions(scale_k=0.1, celsius=True),
        OpenOptions(offset_k=3.0),
        OpenOptions(scale_k=-1.0),
        OpenOptions(scale_k=1.0, rate_hz=0.0),
        OpenOptions(scale_k=float("nan")),
    ],
)
def test_settings_that_make_no_sense(tmp_path: Path, options: OpenOptions) -> None:
    address = other_hdf5(tmp_path / "o.h5", film=VALUES)
    with pytest.raises(ThermviewError):
        open_footage(address, options)


def test_an_hdf5_file_without_pictures(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no pictures"):
        open_footage(other_hdf5(tmp_path / "o.h5", flat=np.zeros(3)))


def test_a_recording_without_scale_takes_the_users(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    with h5py.File(path, "w") as file:
        file["entry/thermal/counts"] = VALUES
        file["entry/thermal/time"] = [0.0, 0.5, 3.0]
    with pytest.raises(InputError, match="give --scale"):
        open_footage(str(path))
    footage = open_footage(str(path), OpenOptions(scale_k=0.01))
    assert footage.times_s.tolist() == [0.0, 0.5, 3.0]
    assert footage.info.scale.k_per_count == 0.01
    footage.close()


# -- stacks of pictures -----------------------------------------------------------------------


def tiff(folder: Path) -> Path:
    tifffile.imwrite(folder / "s.tif", VALUES, photometric="minisblack")
    return folder / "s.tif"


def tiff_pages_apart(folder: Path) -> Path:
    with tifffile.TiffWriter(folder / "p.tiff") as writer:
        for picture in VALUES:
            writer.write(picture, compression="zlib", photometric="minisblack")
    return folder / "p.tiff"


def npy(folder: Path) -> Path:
    np.save(folder / "s.npy", VALUES.astype(">u2"))
    return folder / "s.npy"


def pngs(folder: Path) -> Path:
    place = folder / "pngs"
    place.mkdir()
    for number, name in enumerate(("f2", "f10", "f100")):  # people's order, not the alphabet's
        cv2.imwrite(str(place / f"{name}.png"), VALUES[number])
    (place / "notes.txt").write_text("not a picture")
    return place


def tiffs(folder: Path) -> Path:
    place = folder / "tiffs"
    place.mkdir()
    for number, picture in enumerate(VALUES):
        tifffile.imwrite(place / f"{number}.tif", picture)
    return place


@pytest.mark.parametrize("make", [tiff, tiff_pages_apart, npy, pngs, tiffs])
def test_stacks(tmp_path: Path, make: Any) -> None:
    footage = open_footage(str(make(tmp_path)), OpenOptions(scale_k=0.01, rate_hz=2.0))
    assert isinstance(footage, Footage)
    assert footage.times_s.tolist() == [0.0, 0.5, 1.0]
    for number in (2, 0, 1):
        np.testing.assert_array_equal(footage.frame(number).counts, VALUES[number])
    assert footage.info.scale.k_per_count == 0.01
    footage.close()


def test_float_tiff_in_celsius(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "c.tif", np.full((2, 4, 5), 36.6, np.float32))
    footage = open_footage(str(tmp_path / "c.tif"), OpenOptions(celsius=True))
    np.testing.assert_allclose(footage.frame(1).kelvin(), 309.75, atol=1e-4)
    footage.close()


def test_one_picture_is_a_stack_of_one(tmp_path: Path) -> None:
    np.save(tmp_path / "one.npy", VALUES[0])
    cv2.imwrite(str(tmp_path / "one.png"), VALUES[0])
    for name in ("one.npy", "one.png"):
        footage = open_footage(str(tmp_path / name))
        assert len(footage) == 1
        np.testing.assert_array_equal(footage.frame(0).counts, VALUES[0])
        footage.close()


def test_8_bit_and_colour_pictures_are_brightness_whatever_is_said(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "grey.png"), (VALUES[0] >> 8).astype(np.uint8))
    cv2.imwrite(str(tmp_path / "colour.png"), np.full((4, 5, 3), 90, np.uint8))
    for name in ("grey.png", "colour.png"):
        footage = open_footage(str(tmp_path / name), OpenOptions(scale_k=0.01))
        assert footage.info.scale.relative
        assert any("brightness" in note for note in footage.info.notes)
        footage.close()


def test_pictures_of_two_sizes(tmp_path: Path) -> None:
    place = pngs(tmp_path)
    cv2.imwrite(str(place / "f200.png"), VALUES[0][:4])
    footage = open_footage(str(place))
    with pytest.raises(InputError, match="8 × 4 pixels, the first 8 × 6"):
        footage.frame(3)
    footage.close()


@pytest.mark.parametrize("suffix", [".tif", ".png", ".npy"])
@pytest.mark.parametrize("content", [b"", b"rubbish" * 99, b"\x93NUMPY", b"II*\0\xff\xff\xff\xff"])
def test_damaged_stacks_are_refused_in_one_line(
    tmp_path: Path, suffix: str, content: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"bad{suffix}"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        open_footage(str(path))
    assert "\n" not in str(caught.value)
    assert capfd.readouterr().err == ""


def test_a_stack_cut_short(tmp_path: Path) -> None:
    for make in (tiff, npy, pngs):
        path = make(tmp_path)
        victim = path if path.is_file() else path / "f2.png"
        victim.write_bytes(victim.read_bytes()[:90])
        with pytest.raises(InputError) as caught:
            open_footage(str(path)).frame(0)
        assert "\n" not in str(caught.value)


def test_claims_of_a_thousand_million_pixels_take_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "big.npy"
    np.lib.format.open_memmap(path, "w+", np.uint8, (1, 31623, 31623)).flush()
    with pytest.raises(InputError, match="31623 × 31623"):
        open_footage(str(path))


def test_objects_in_npy_are_not_run(tmp_path: Path) -> None:
    np.save(tmp_path / "o.npy", np.array([[{}]], dtype=object), allow_pickle=True)
    with pytest.raises(InputError):
        open_footage(str(tmp_path / "o.npy"))


def test_an_empty_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no PNG or TIFF"):
        open_footage(str(tmp_path))


def test_big_endian_tiff(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "big.tif", VALUES, byteorder=">", photometric="minisblack")
    footage = open_footage(str(tmp_path / "big.tif"))
    np.testing.assert_array_equal(footage.frame(1).counts, VALUES[1])
    footage.close()


def test_a_replay_is_a_live_camera_at_its_own_times(tmp_path: Path) -> None:
    np.save(tmp_path / "film.npy", VALUES)
    options = OpenOptions(scale_k=0.01, rate_hz=25.0, speed=1e6)
    source = open_source(f"replay:{tmp_path / 'film.npy'}", options)
    assert source.info.live
    frames = [source.read(1.0) for _ in range(3)]
    assert [f is not None and f.time_s for f in frames] == pytest.approx([0.0, 0.04, 0.08])
    source.close()
