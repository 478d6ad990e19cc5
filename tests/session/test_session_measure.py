"""The numbers of the pipeline against plain numpy, on a computed picture."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from session_fakes import SCALE, Film, frame_at

from thermview.frames import Frame, FrameFlag, Scale, Scene
from thermview.radiometry import object_temperature, setting_for
from thermview.recording.reader import open_recording
from thermview.regions import Ellipse, Polygon, Rectangle, Region, RegionSet, Spot, pixel_mask
from thermview.session.batch import measure_footage, measuring_notes
from thermview.session.measure import STATISTICS, MeasureKey, Meter

REGIONS = (
    Region("spot", Spot(3.2, 4.9)),
    Region("box", Rectangle(2, 1, 20, 12), emissivity=0.6),
    Region("oval", Ellipse(30, 20, 9, 5), emissivity=0.95, reflected_k=310.0),
    Region("fin", Polygon(((5, 25), (40, 22), (25, 33)))),
    Region("away", Rectangle(500, 500, 4, 4)),
)


def plain(frame: Frame, region: Region, scene: Scene) -> list[float]:
    """Mask the picture and compute, as a user's own script would."""
    kelvin: NDArray[np.float64] = frame.counts * frame.scale.k_per_count + frame.scale.offset_k
    setting = setting_for(region.emissivity, region.reflected_k, scene)
    inside = kelvin[pixel_mask(region.shape, frame.shape)]
    if inside.size == 0:
        return [np.nan] * 3
    if setting is not None:
        inside = object_temperature(inside, setting)
    return [inside.min(), inside.mean(), inside.max()]


@given(seed=st.integers(0, 2**32 - 1))
def test_table_equals_plain_numpy(seed: int) -> None:
    counts = np.random.default_rng(seed).integers(29000, 36000, (36, 48), dtype=np.uint16)
    frame, scene = Frame(counts, 0.0, 0, SCALE), Scene()
    meter = Meter([MeasureKey.of(r, scene, SCALE) for r in REGIONS], frame.shape, SCALE)
    table = meter.measure(frame.counts)
    assert table.shape == (len(REGIONS), len(STATISTICS))
    for row, region in zip(table, REGIONS, strict=True):
        np.testing.assert_allclose(row[:3], plain(frame, region, scene), atol=1e-4)
        if not np.isnan(row[2]):
            places = row[3:].reshape(2, 2)
            hottest, coldest = (counts[int(y), int(x)] for x, y in places)
            mask = pixel_mask(region.shape, frame.shape)
            assert hottest == counts[mask].max()
            assert coldest == counts[mask].min()


def test_brightness_stays_in_counts() -> None:
    scale = Scale(0.5, 20.0, relative=True)
    counts = np.full((36, 48), 77, dtype=np.uint16)
    keys = [MeasureKey.of(r, Scene(emissivity=0.5), scale) for r in REGIONS[:2]]
    table = Meter(keys, (36, 48), scale).measure(counts)
    np.testing.assert_array_equal(table[:, :3], 77)


def test_every_frame_is_in_a_row_held_ones_too() -> None:
    frames = [frame_at(0), frame_at(1, shutter=True), frame_at(2, flags=FrameFlag.DAMAGED)]
    rows = list(measure_footage(Film(frames), RegionSet((Region("a", Spot(1, 1)),))))
    assert [r.number for r in rows] == [0, 1, 2]
    assert [r.held for r in rows] == [False, True, True]
    np.testing.assert_allclose([r.table[0, 1] for r in rows], 300.0)


def test_notes_say_what_was_assumed() -> None:
    film = Film([frame_at(0)])
    notes = measuring_notes(film, RegionSet(REGIONS))
    assert notes == [
        "apparent temperature, no emissivity is stated: spot, fin, away",
        "reflected temperature not stated, 23 °C assumed: box",
    ]
    stated = Scene(emissivity=0.9, reflected_k=300)
    assert measuring_notes(film, RegionSet(REGIONS), stated) == []


def test_recordings_of_another_program(samples: Path) -> None:
    """Equal an independent numpy computation on the files' raw numbers to 1 mK."""
    paths = sorted(samples.glob("*.h5"))
    assert paths
    for path in paths:
        compare(path)


def compare(path: Path) -> None:
    with h5py.File(path) as file:
        stored = file["entry/thermal/counts"]
        counts, factor, offset = stored[...], *map(stored.attrs.get, ("scale_factor", "add_offset"))
    rows = counts.shape[1]
    regions = (
        Region("part", Rectangle(40.5, 30.5, 17, 9)),
        Region("rim", Rectangle(-5, rows - 3, 30, 30)),
        Region("out", Spot(-1, 5)),
    )
    with open_recording(path) as film:
        measured = np.array([r.table[:, :3] for r in measure_footage(film, RegionSet(regions))])
        scene = film.info.scene
    assert len(measured) == len(counts)
    for number in range(0, len(counts), 25):
        frame = Frame(counts[number], 0.0, 0, Scale(float(factor), float(offset)))
        wanted = [plain(frame, region, scene) for region in regions]
        np.testing.assert_allclose(measured[number], wanted, atol=1e-3)
