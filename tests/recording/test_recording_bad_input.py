"""No file, however damaged, crashes or hangs the reader: one line says what is wrong."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from thermview.errors import InputError, ThermviewError
from thermview.frames import Frame, Mark, Scale, SourceInfo, SupplySample
from thermview.recording.generic import open_hdf5
from thermview.recording.probe import trust
from thermview.recording.reader import open_recording
from thermview.recording.repair import repair
from thermview.recording.verify import verify


def plain(path: Path, counts: Any = None, times: Any = None, **attributes: Any) -> Path:
    """Write a recording with h5py alone, with only what a recording must have."""
    if counts is None:
        counts = np.arange(4 * 3 * 5, dtype=np.uint16).reshape(4, 3, 5) + 29000
    with h5py.File(path, "w") as file:
        file["entry/thermal/counts"] = counts
        file["entry/thermal/time"] = np.arange(len(counts)) / 10 if times is None else times
        scale = {"scale_factor": 0.01, "add_offset": 0.0, "units": "K"} | attributes
        for name, value in scale.items():
            if value is not None:
                file["entry/thermal/counts"].attrs[name] = value
        file["entry/start_time"] = "2026-03-05T09:30:00+01:00"
    trust(path)  # it is sound HDF5: spare the child process that tries unknown files out
    return path


def refusal(path: Path) -> str:
    """Return the one line with which the file is refused."""
    with pytest.raises(InputError) as caught:
        open_recording(path)
    line = str(caught.value)
    assert "\n" not in line
    assert str(path) in line
    return line


def test_files_that_are_none(tmp_path: Path) -> None:
    assert "does not exist" in refusal(tmp_path / "none.h5")
    assert "is a folder" in refusal(tmp_path)
    empty = tmp_path / "empty.h5"
    empty.touch()
    assert "is empty" in refusal(empty)
    wrong = tmp_path / "wrong.h5"
    wrong.write_bytes(os.urandom(5000))
    assert "not an HDF5 file" in refusal(wrong)
    os.mkfifo(tmp_path / "pipe.h5")
    assert "no regular file" in refusal(tmp_path / "pipe.h5")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = plain(tmp_path / "r.h5")
    path.chmod(0)
    assert "may not be read" in refusal(path)


def test_a_file_cut_short_anywhere_is_refused_or_read(tmp_path: Path) -> None:
    whole = plain(tmp_path / "r.h5").read_bytes()
    path = tmp_path / "cut.h5"
    for size in (9, 100, 600, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:size])
        refusal(path)


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ([0.0, 2.0, 1.0, 3.0], "times must increase, but frame 2"),
        ([0.0, 1.0, 1.0, 2.0], "frame 2 is at 1 s after 1 s"),
        ([0.0, np.nan, 1.0, 2.0], "time of frame 1 is nan"),
        ([0.0, 1.0, 2.0, np.inf], "time of frame 3 is inf"),
        ([], "no frames"),
        ([b"a", b"b", b"c", b"d"], "no usable times"),
        (np.zeros((4, 2)), "no usable times"),
    ],
)
def test_unusable_times(tmp_path: Path, times: Any, words: str) -> None:
    assert words in refusal(plain(tmp_path / "r.h5", times=times))


@pytest.mark.parametrize(
    ("attributes", "words"),
    [
        ({"scale_factor": np.nan}, "nan K per count"),
        ({"scale_factor": 0.0}, "must be above 0"),
        ({"scale_factor": np.inf}, "finite"),
        ({"scale_factor": "one"}, "nan K per count"),
        ({"add_offset": -np.inf}, "finite"),
        ({"scale_factor": None}, "give --scale"),
        ({"units": "volt"}, "'volt'"),
    ],
)
def test_unusable_scale(tmp_path: Path, attributes: dict[str, Any], words: str) -> None:
    assert words in refusal(plain(tmp_path / "r.h5", **attributes))


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        (np.zeros((0, 3, 5), np.uint16), "no frames"),
        (np.zeros((4, 15), np.uint16), "2 dimensions"),
        (np.zeros((4, 3, 5), np.complex64), "real numbers"),
        (np.full((4, 3, 5), b"x"), "real numbers"),
        (np.zeros((4, 0, 5), np.uint16), "5 × 0 pixels"),
    ],
)
def test_counts_that_are_no_pictures(tmp_path: Path, counts: Any, words: str) -> None:
    assert words in refusal(plain(tmp_path / "r.h5", counts))


@pytest.mark.parametrize(
    ("shape", "chunks", "words"),
    [
        ((3, 31623, 31623), (1, 512, 512), "at most 16777216 pixels"),  # 1e9 pixels
        ((10**12, 512, 640), (1, 512, 640), "1000000000000 frames"),
        ((4000, 512, 640), (4000, 512, 640), "store it anew"),
    ],
)
def test_claims_nobody_films_are_refused_without_memory(
    tmp_path: Path, shape: tuple[int, ...], chunks: tuple[int, ...], words: str
) -> None:
    path = tmp_path / "r.h5"
    with h5py.File(path, "w") as file:
        counts = file.create_dataset("entry/thermal/counts", shape, "u2", chunks=chunks)
        counts.attrs["scale_factor"] = 0.01
        file.create_dataset("entry/thermal/time", (shape[0],), "f8", chunks=(3,))
    assert words in refusal(path)


def test_another_hdf5_file_is_told_how_to_open(tmp_path: Path) -> None:
    path = tmp_path / "other.h5"
    with h5py.File(path, "w") as file:
        file["x"] = np.zeros((2, 3, 4))
    assert "--dataset" in refusal(path)


@pytest.mark.parametrize(
    "dtype", [">u2", "u1", "i2", "i4", ">i4", "u4", "i8", "f2", "f4", ">f4", "f8"]
)
def test_any_type_of_count_gives_the_same_kelvin(tmp_path: Path, dtype: str) -> None:
    values = np.arange(60).reshape(4, 3, 5)
    path = plain(tmp_path / "r.h5", values.astype(dtype), scale_factor=0.5, add_offset=270.0)
    with open_recording(path) as recording:
        for n in range(4):
            np.testing.assert_allclose(
                recording.frame(n).kelvin(), values[n] * 0.5 + 270, atol=1e-3
            )


@pytest.mark.parametrize("chunks", [None, (1, 3, 5), (3, 3, 5), (4, 2, 2), (2, 3, 3)])
@pytest.mark.parametrize("packing", ["none", "gzip", "lzf", "bitshuffle", "zstd", "blosc"])
def test_any_chunks_and_filters(
    tmp_path: Path, chunks: tuple[int, int, int] | None, packing: str
) -> None:
    import hdf5plugin

    if chunks is None and packing != "none":
        pytest.skip("only chunks are packed")
    packings: dict[str, dict[str, Any]] = {
        "none": {},
        "gzip": {"compression": "gzip", "shuffle": True, "fletcher32": True},
        "lzf": {"compression": "lzf"},
        "bitshuffle": dict(hdf5plugin.Bitshuffle()),
        "zstd": dict(hdf5plugin.Zstd()),
        "blosc": dict(hdf5plugin.Blosc()),
    }
    values = np.random.default_rng(1).integers(0, 65536, (7, 3, 5), dtype=np.uint16)
    path = tmp_path / "r.h5"
    with h5py.File(path, "w") as file:
        counts = file.create_dataset(
            "entry/thermal/counts", data=values, chunks=chunks, **packings[packing]
        )
        counts.attrs["scale_factor"] = 0.01
        file["entry/thermal/time"] = np.arange(7.0)
        file["entry/other/extra"] = "kept and ignored"
    trust(path)
    with open_recording(path) as recording:
        for n in (6, 0, 3, 5, 1, 2, 4):
            np.testing.assert_array_equal(recording.frame(n).counts, values[n])
    assert verify(path) == []


def test_holes_stated_by_cf_become_nan(tmp_path: Path) -> None:
    """`_FillValue` as in the CF conventions, section 2.5.1."""
    counts = np.full((2, 2, 2), 100, np.uint16)
    counts[1, 0, 1] = 65535
    path = plain(tmp_path / "r.h5", counts, _FillValue=np.uint16(65535))
    with open_recording(path) as recording:
        assert np.isnan(recording.frame(1).kelvin()[0, 1])
        assert np.isfinite(recording.frame(0).kelvin()).all()


def full(path: Path, count: int = 12) -> Path:
    """Write a recording of ours with everything in it."""
    from thermview.recording.writer import Writer

    info = SourceInfo("c", "c", 32, 24, Scale(0.01), True, datetime.now(UTC), 60.0)
    rng = np.random.default_rng(0)
    with Writer(path, info) as writer:
        for n in range(count):
            counts = (29615 + rng.normal(0, 5, (24, 32))).astype(np.uint16)
            writer.take(Frame(counts, n / 60, n, info.scale))
        writer.take_supply([SupplySample(n / 10, 1.0, 2.0) for n in range(5)])
        writer.add_mark(Mark(0.1, text="a"))
        writer.set_board("Ref,X,Y\n", '{"landmarks": []}')
    return path


def chunk_place(path: Path, number: int) -> tuple[int, int]:
    with h5py.File(path) as file:
        info = file["entry/thermal/counts"].id.get_chunk_info_by_coord((number, 0, 0))
        return int(info.byte_offset), int(info.size)


def flip(path: Path, place: int) -> None:
    data = bytearray(path.read_bytes())
    data[place] ^= 0x10
    path.write_bytes(data)


def test_one_flipped_bit_in_a_picture_is_found_and_the_rest_is_saved(tmp_path: Path) -> None:
    path = full(tmp_path / "r.h5")
    place, size = chunk_place(path, 7)
    flip(path, place + size // 2)
    assert verify(path) == ["frame 7 cannot be read"]
    with open_recording(path) as recording:
        with pytest.raises(InputError, match="frame 7 cannot be read"):
            recording.frame(7)
        good = recording.frame(8).counts
        supply = recording.supply
    saved = tmp_path / "saved.h5"
    summary = repair(path, saved)
    assert (summary.frames_saved, summary.frames_lost) == (11, 1)
    assert verify(saved) == []
    with open_recording(saved) as recording:
        assert len(recording) == 11
        np.testing.assert_array_equal(recording.frame(7).counts, good)
        assert int(recording.frame(7).flags) == 4  # a gap before it
        assert recording.supply is not None
        assert supply is not None
        assert len(recording.supply) == len(supply)
        assert [m.text for m in recording.marks] == ["a"]
        assert recording.placement_csv == "Ref,X,Y\n"


def test_a_damaged_length_inside_a_foreign_chunk_does_no_harm(tmp_path: Path) -> None:
    """Without a checksum the decompressor would walk out of the chunk and crash."""
    import hdf5plugin

    path = tmp_path / "r.h5"
    values = np.random.default_rng(1).integers(0, 50, (6, 48, 64), dtype=np.uint16)
    with h5py.File(path, "w") as file:
        counts = file.create_dataset(
            "entry/thermal/counts", data=values, chunks=(2, 48, 64), **hdf5plugin.Bitshuffle()
        )
        counts.attrs["scale_factor"] = 0.01
        file["entry/thermal/time"] = np.arange(6.0)
    place, _ = chunk_place(path, 2)
    for offset in (0, 7, 8, 11, 12, 14):  # size of the picture, of a block, of the first block
        data = bytearray(path.read_bytes())
        data[place + offset] ^= 0x40
        broken = tmp_path / f"{offset}.h5"
        broken.write_bytes(data)
        assert verify(broken) == ["frames 2–3 cannot be read"]


def test_a_cut_recording_is_saved_as_far_as_it_goes(tmp_path: Path) -> None:
    path = full(tmp_path / "r.h5", 200)
    data = path.read_bytes()
    place, size = chunk_place(path, 190)
    path.write_bytes(data[: place + size])
    assert "cut short" in verify(path)[0]
    summary = repair(path, tmp_path / "saved.h5")
    assert summary.frames_saved >= 180
    assert "too early" in str(summary)
    assert verify(tmp_path / "saved.h5") == []


def test_times_out_of_order_cost_only_the_frames_they_belong_to(tmp_path: Path) -> None:
    counts = np.arange(8 * 15, dtype=np.uint16).reshape(8, 3, 5)
    times = [0.0, 1.0, 99.0, 2.0, 2.0, np.nan, 3.0, 4.0]
    path = plain(tmp_path / "r.h5", counts, times)
    assert len(verify(path)) == 2
    summary = repair(path, tmp_path / "saved.h5")
    assert (summary.frames_saved, summary.frames_lost) == (5, 3)
    with open_recording(tmp_path / "saved.h5") as recording:
        assert recording.times_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert recording.frame(3).counts[0, 0] == 6 * 15


def test_repair_never_touches_what_it_reads_or_finds(tmp_path: Path) -> None:
    path = full(tmp_path / "r.h5")
    before = path.read_bytes()
    with pytest.raises(ThermviewError, match="itself"):
        repair(path, path, force=True)
    other = tmp_path / "other.h5"
    other.write_text("precious")
    with pytest.raises(ThermviewError, match="exists already"):
        repair(path, other)
    hopeless = tmp_path / "hopeless.h5"
    hopeless.write_bytes(before[:2000])
    with pytest.raises(InputError):
        repair(hopeless, other, force=True)
    assert other.read_text() == "precious"
    assert path.read_bytes() == before


@pytest.mark.slow
def test_a_file_on_which_the_library_never_ends_is_given_up(tmp_path: Path) -> None:
    """An object of number 0 and size 0 in the heap of texts: HDF5 1.14 steps over it for ever."""
    path = full(tmp_path / "r.h5")
    data = bytearray(path.read_bytes())
    place = data.index(b"GCOL") + 16
    data[place : place + 16] = bytes(16)
    path.write_bytes(data)
    with pytest.raises(InputError, match="does not come to an end"):
        open_recording(path)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(40))
def test_random_damage_ends_in_frames_or_in_one_line(tmp_path: Path, seed: int) -> None:
    pick = random.Random(seed)
    path = full(tmp_path / "r.h5")
    data = bytearray(path.read_bytes())
    for _ in range(pick.randrange(1, 30)):
        place = pick.randrange(len(data))
        width = pick.choice([1, 1, 1, 8, 64])
        data[place : place + width] = pick.randbytes(min(width, len(data) - place))
    path.write_bytes(data)
    attempts: list[Callable[[], Any]] = [
        lambda: verify(path),
        lambda: repair(path, tmp_path / "saved.h5"),
        lambda: open_hdf5(path).close(),
    ]
    for attempt in attempts:
        try:
            attempt()
        except ThermviewError as error:
            assert "\n" not in str(error)  # noqa: PT017
