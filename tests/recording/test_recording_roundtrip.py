"""What goes into a recording comes out again; another program's readers see it too."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import h5py
import hdf5plugin  # noqa: F401
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from thermview.errors import InputError, OutputError
from thermview.frames import (
    Footage,
    Frame,
    FrameFlag,
    Mark,
    MarkKind,
    Scale,
    Scene,
    SourceInfo,
    SupplySample,
)
from thermview.recording.reader import open_recording
from thermview.recording.verify import verify
from thermview.recording.writer import Writer

START = datetime(2026, 3, 5, 9, 30, tzinfo=timezone(timedelta(hours=1)))


def info_of(rows: int = 6, columns: int = 8, **changes: Any) -> SourceInfo:
    fields: dict[str, Any] = {
        "name": "test camera",
        "address": "camera:0",
        "width_px": columns,
        "height_px": rows,
        "scale": Scale(0.01, 3.0),
        "live": True,
        "start_time": START,
        "rate_hz": 25.0,
    }
    return SourceInfo(**(fields | changes))


def frame_of(value: int, time_s: float, index: int = 0, **changes: Any) -> Frame:
    counts = np.full((6, 8), value, np.uint16)
    fields: dict[str, Any] = {"scale": Scale(0.01, 3.0)}
    return Frame(counts, time_s, index, **(fields | changes))


def write(path: Path, count: int = 5, **changes: Any) -> None:
    with Writer(path, info_of(**changes)) as writer:
        for n in range(count):
            writer.take(frame_of(29000 + n, n / 25, n))


@settings(
    deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    pictures=st.tuples(st.integers(1, 6), st.integers(1, 9), st.integers(1, 9)).flatmap(
        lambda shape: arrays(np.uint16, shape)
    ),
    scale=st.tuples(st.floats(1e-4, 1.0), st.floats(-300.0, 300.0)),
    steps=st.lists(st.floats(1e-4, 1e3), min_size=6, max_size=6),
    shutters=st.lists(st.booleans(), min_size=6, max_size=6),
    flags=st.lists(st.integers(0, 7), min_size=6, max_size=6),
)
def test_every_count_time_and_flag_comes_back(
    *,
    tmp_path: Path,
    pictures: Any,
    scale: tuple[float, float],
    steps: list[float],
    shutters: list[bool],
    flags: list[int],
) -> None:
    path = tmp_path / "r.h5"
    meaning = Scale(*scale)
    times = np.cumsum(steps)[: len(pictures)]
    info = info_of(pictures.shape[1], pictures.shape[2], scale=meaning)
    with Writer(path, info, force=True) as writer:
        for n, counts in enumerate(pictures):
            frame = Frame(counts, times[n], n, meaning, shutters[n], FrameFlag(flags[n]))
            writer.take(frame)
    with open_recording(path) as recording:
        assert recording.info.scale == meaning
        np.testing.assert_array_equal(recording.times_s, times)
        for n, counts in enumerate(pictures):
            frame = recording.frame(n)
            np.testing.assert_array_equal(frame.counts, counts)
            assert frame.counts.dtype == np.uint16
            assert (frame.shutter, int(frame.flags)) == (shutters[n], flags[n])
    assert verify(path) == []


def test_what_comes_with_the_frames_comes_back(tmp_path: Path) -> None:
    scene = Scene(
        0.93,
        295.5,
        296.5,
        0.88,
        (7.5, 13.0),
        response=((7.5, 9.0, 13.0), (0.0, 1.0, 0.25)),
        air_transmission=0.97,
    )
    path = tmp_path / "r.h5"
    info = info_of(scene=scene, title="Bench, Tuesday °C", netd_k=0.04, simulated=True)
    with Writer(path, info) as writer:
        writer.take(frame_of(1, 0.0))
        writer.add_mark(Mark(2.0, MarkKind.POWER_OFF, "aus"))
        writer.add_mark(Mark(1.0, MarkKind.POWER_ON, "Ω"))
        writer.take_supply([SupplySample(0.0, 1.0, 0.1), SupplySample(0.5, 1.5, 0.2)])
        writer.flush()
        writer.take_supply([SupplySample(0.5, 9.0, 9.0), SupplySample(1.0, 2.0, 0.3)])
        writer.set_board("Ref,X,Y\nU1,1,2\n", '{"landmarks": []}')
    with open_recording(path) as recording:
        assert recording.info.scene == scene
        assert recording.title == "Bench, Tuesday °C"
        assert recording.netd_k == 0.04
        assert recording.info.simulated
        assert recording.info.start_time == START
        assert recording.info.start_time.utcoffset() == timedelta(hours=1)
        assert [m.text for m in recording.marks] == ["Ω", "aus"]
        assert recording.marks[0].kind is MarkKind.POWER_ON
        assert recording.supply is not None
        assert recording.supply.voltage_v.tolist() == [1.0, 1.5, 2.0]
        assert recording.placement_csv == "Ref,X,Y\nU1,1,2\n"
        assert recording.landmarks_json == '{"landmarks": []}'
        assert isinstance(recording, Footage)


@pytest.mark.parametrize(
    "damaged",
    [np.ones((3, 4)), np.ones(5), np.array([[9.0, 8.0], [1.0, 1.0]]), np.full((2, 3), -1)],
)
def test_a_response_that_is_none_is_left_out(tmp_path: Path, damaged: Any) -> None:
    path = tmp_path / "r.h5"
    write(path, scene=Scene(0.9))
    with h5py.File(path, "r+") as file:
        file["entry/scene/response"] = damaged
    with open_recording(path) as recording:
        assert recording.info.scene == Scene(0.9)


def test_lost_frames_are_flagged(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    with Writer(path, info_of()) as writer:
        for index in (4, 5, 8):
            writer.take(frame_of(1, index / 25, index))
    with open_recording(path) as recording:
        assert [int(recording.frame(n).flags) for n in range(3)] == [0, 0, 4]


def test_floating_point_pictures_keep_their_temperature_and_their_holes(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    celsius = np.array([[20.0, np.nan, -273.15, 750.0], [np.inf, 751.0, 36.6, -40.0]], np.float32)
    meaning = Scale(1.0, 273.15)
    with Writer(path, info_of(2, 4, scale=meaning)) as writer:
        writer.take(Frame(celsius, 0.0, 0, meaning))
        live = writer.frame(0)
        with pytest.raises(InputError, match="another type"):
            writer.take(Frame(np.zeros((2, 4), np.uint16), 1.0, 1, meaning))
    with open_recording(path) as recording:
        frame = recording.frame(0)
        np.testing.assert_array_equal(frame.counts, live.counts)
        assert frame.counts.dtype == np.float32
        kelvin = frame.kelvin()
    holes = np.array([[False, True, True, False], [True, True, False, False]])
    np.testing.assert_array_equal(np.isnan(kelvin), holes)
    error = np.abs(kelvin - (celsius.astype(float) + 273.15))[~holes]
    assert error.max() <= 1 / 128  # half a step of 1/64 K


def test_brightness_stays_brightness(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    meaning = Scale(1.0, 0.0, relative=True)
    with Writer(path, info_of(scale=meaning)) as writer:
        writer.take(frame_of(77, 0.0, scale=meaning))
    with open_recording(path) as recording, h5py.File(path) as file:
        assert recording.info.scale == meaning
        assert any("no temperatures" in note for note in recording.info.notes)
        assert file["entry/thermal/counts"].attrs["units"] == "1"


@pytest.mark.parametrize(
    ("frame", "words"),
    [
        (frame_of(1, 0.04), "must increase"),
        (frame_of(1, 0.01), "must increase"),
        (frame_of(1, float("nan")), "must increase"),
        (frame_of(1, 1.0, scale=Scale(0.02, 3.0)), "start a new recording"),
        (Frame(np.zeros((5, 8), np.uint16), 1.0, 1, Scale(0.01, 3.0)), "does not fit"),
    ],
)
def test_a_frame_that_does_not_fit_is_refused_and_the_rest_goes_on(
    tmp_path: Path, frame: Frame, words: str
) -> None:
    path = tmp_path / "r.h5"
    with Writer(path, info_of()) as writer:
        writer.take(frame_of(1, 0.04))
        with pytest.raises(InputError, match=words):
            writer.take(frame)
        writer.take(frame_of(2, 2.0, 1))
    with open_recording(path) as recording:
        assert recording.times_s.tolist() == [0.04, 2.0]


def test_nothing_is_overwritten_without_force(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    path.write_bytes(b"precious")
    with pytest.raises(OutputError, match="exists already"):
        Writer(path, info_of())
    assert path.read_bytes() == b"precious"
    Writer(path, info_of(), force=True).close()
    assert path.stat().st_size > 8
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("name", ["missing/r.h5", "."])
def test_a_place_that_takes_no_file_leaves_nothing(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError):
        Writer(tmp_path / name, info_of())
    assert list(tmp_path.iterdir()) == []


def test_a_growing_recording_is_read_from_another_thread(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    wrong: list[str] = []
    written = threading.Event()
    with Writer(path, info_of(), flush_every_s=0.01) as writer:
        writer.take(frame_of(1000, 0.0))

        def look() -> None:
            rng = np.random.default_rng(1)
            while not written.is_set():
                number = int(rng.integers(len(writer)))
                if writer.frame(number).counts[0, 0] != 1000 + number:
                    wrong.append(f"frame {number}")

        watcher = threading.Thread(target=look)
        watcher.start()
        for n in range(1, 400):
            writer.take(frame_of(1000 + n, n / 25, n))
        written.set()
        watcher.join()
        assert len(writer.times_s) == 400
    assert wrong == []
    with pytest.raises(InputError, match="closed"):
        writer.frame(0)


def test_another_program_reads_kelvin_and_time(tmp_path: Path) -> None:
    """Through h5py alone: CF scaling and dimension scales (HDF5 Dimension Scales spec.)."""
    path = tmp_path / "r.h5"
    write(path)
    with h5py.File(path) as file:
        counts = file["entry/thermal/counts"]
        kelvin = counts[:] * counts.attrs["scale_factor"] + counts.attrs["add_offset"]
        np.testing.assert_allclose(kelvin[3], 29003 * 0.01 + 3.0)
        axes = [counts.dims[n] for n in range(3)]
        assert [d.keys()[0] for d in axes] == ["time", "y", "x"]
        np.testing.assert_allclose(axes[0][0][:], np.arange(5) / 25)
        np.testing.assert_allclose(axes[2][0][:], np.arange(8) + 0.5)
        assert counts.chunks == (1, 6, 8)


def test_nexus_finds_its_default_plot_and_scaling(tmp_path: Path) -> None:
    """NeXus: default → signal → axes and their indices (NXdata, NXDL 2026.01).

    NXdata's FIELDNAME_scaling_factor and _offset: value = (count + offset) × factor.
    """
    path = tmp_path / "r.h5"
    write(path, scene=Scene(emissivity=0.9))
    with h5py.File(path) as file:
        entry = file[file.attrs["default"]]
        data = entry[entry.attrs["default"]]
        counts = data[data.attrs["signal"]]
        assert [g.attrs["NX_class"] for g in (file, entry, data)] == ["NXroot", "NXentry", "NXdata"]
        for axis, name in enumerate(data.attrs["axes"]):
            assert data.attrs[f"{name}_indices"] == axis
            assert data[name].shape[0] == counts.shape[axis]
        value = (counts[2, 0, 0] + data["counts_offset"][()]) * data["counts_scaling_factor"][()]
        assert value == pytest.approx(29002 * 0.01 + 3.0)
        every_group_has_a_class: list[bool] = []
        file.visititems(
            lambda _, item: (
                every_group_has_a_class.append("NX_class" in item.attrs)
                if isinstance(item, h5py.Group)
                else None
            )
        )
        assert all(every_group_has_a_class)


@pytest.fixture
def rewritten(tmp_path: Path) -> Callable[[Callable[[Any], None]], Path]:
    """Return a maker of a recording changed by h5py."""

    def make(change: Callable[[Any], None]) -> Path:
        path = tmp_path / "changed.h5"
        write(path)
        with h5py.File(path, "r+") as file:
            change(file)
        return path

    return make


def test_a_crashed_recording_counts_by_the_shorter_length(
    rewritten: Callable[[Callable[[Any], None]], Path],
) -> None:
    path = rewritten(lambda file: file["entry/thermal/time"].resize(3, axis=0))
    with open_recording(path) as recording:
        assert len(recording) == 3
    assert verify(path) == ["5 pictures but 3 times: 3 frames count (cut off while recording?)"]


def test_a_picture_that_never_reached_the_file_is_flagged(
    rewritten: Callable[[Callable[[Any], None]], Path],
) -> None:
    def stretch(file: Any) -> None:
        file["entry/thermal/counts"].resize(7, axis=0)
        file["entry/thermal/time"].resize(7, axis=0)
        file["entry/thermal/time"][5:] = (1.0, 2.0)

    path = rewritten(stretch)
    with open_recording(path) as recording:
        assert not recording.frame(4).held
        assert recording.frame(5).held
    assert verify(path) == ["frames 5–6 never reached the file"]


def test_start_time_without_offset_is_told(
    rewritten: Callable[[Callable[[Any], None]], Path],
) -> None:
    def change(file: Any) -> None:
        del file["entry/start_time"]
        file["entry/start_time"] = "2026-01-02T03:04:05"

    with open_recording(rewritten(change)) as recording:
        assert recording.info.start_time == datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
        assert any("UTC" in note for note in recording.info.notes)
