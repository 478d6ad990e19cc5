"""The stream layout is guessed from what a camera offers and what its picture looks like."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thermview.errors import InputError, UsageError
from thermview.frames import Scale
from thermview.sources.grabber import Stream
from thermview.sources.guessing import BRIGHTNESS, guess_layout, stream_to_ask
from thermview.sources.kept_layouts import forget_layout, keep_layout, kept_layout
from thermview.sources.layouts import Lens, layout_named, read_layout
from thermview.sources.v4l2_node import PictureFormat, PictureSize


def room_k(warm_k: float = 20.0, noise_k: float = 0.05) -> Any:
    """Return a room's temperatures, K, shape (192, 256): 23 °C, a warm spot, noise."""
    y, x = np.mgrid[:192, :256]
    spot = warm_k * np.exp(-((x - 100) ** 2 + (y - 80) ** 2) / 300)
    return 296.15 + spot + np.random.default_rng(1).normal(0, noise_k, x.shape)


def counts(kelvin: Any, k_per_count: float) -> Any:
    return np.rint(kelvin / k_per_count).astype("<u2")


def double(raw: Any, *, lower: bool) -> Any:
    """Return packed video of twice the height, one half raw, the other a grey picture."""
    grey = np.full((*raw.shape, 2), 128, np.uint8)
    grey[..., 0] = np.clip((raw.astype(int) - 18900) / 8, 0, 255)
    packed = raw.view(np.uint8).reshape(*raw.shape, 2)
    return np.vstack([grey, packed] if lower else [packed, grey])


@pytest.mark.parametrize(
    ("k_per_count", "name"),
    [(1 / 64, "y16-linear"), (0.01, "y16-centikelvin"), (0.1, "y16-decikelvin")],
)
@pytest.mark.parametrize("warm_k", [0.0, 20.0, 300.0])
def test_the_scale_under_which_a_room_is_a_room(
    k_per_count: float, name: str, warm_k: float
) -> None:
    guess = guess_layout(counts(room_k(warm_k), k_per_count))
    assert guess.layout.name == name
    assert f"at {k_per_count:g} K a count is 23 °C" in guess.reason or warm_k > 100
    assert "°C … " in guess.reason, "and why it is none of the others"


@pytest.mark.parametrize("lower", [True, False])
def test_the_raw_half_of_a_double_picture(lower: bool) -> None:
    picture = double(counts(room_k(), 1 / 64), lower=lower)
    name = "double-height-lower-raw" if lower else "double-height-upper-raw"
    assert guess_layout(picture).layout.name == name


@pytest.mark.parametrize(
    "picture",
    [
        np.random.default_rng(2).integers(0, 65536, (192, 256), dtype=np.uint16),
        np.full((192, 256), 40000, np.uint16),
        counts(room_k(), 1 / 64).byteswap(),
    ],
)
def test_counts_that_make_no_room_are_brightness_with_the_reason(picture: Any) -> None:
    guess = guess_layout(picture)
    assert guess.layout.scale is None
    assert "no known scale" in guess.reason
    assert "y16-linear: " in guess.reason


@pytest.mark.parametrize("shape", [(192, 256, 2), (192, 256, 3), (192, 256)])
def test_plain_video_has_no_raw_counts(shape: tuple[int, ...]) -> None:
    guess = guess_layout(np.full(shape, 100, np.uint8))
    assert guess.layout is BRIGHTNESS
    assert "no raw counts" in guess.reason


# -- what to ask a camera for ------------------------------------------------------------------

WIDE, TALL = PictureSize(256, 192, (25.0,)), PictureSize(256, 384, (25.0,))
YUYV = PictureFormat("YUYV", "packed", (WIDE, TALL))


@pytest.mark.parametrize(
    ("formats", "profile", "asked"),
    [
        ([YUYV, PictureFormat("Y16", "raw", (WIDE,))], None, Stream("Y16", 0, 0)),
        ([YUYV], None, Stream("YUYV", 256, 384)),
        ([PictureFormat("YUYV", "packed", (WIDE,))], None, Stream("YUYV", 0, 0)),
        ([PictureFormat("MJPG", "", (WIDE,)), YUYV], "y16-linear", Stream("Y16", 0, 0)),
        ([YUYV], "double-height-upper-raw", Stream("YUYV", 256, 384)),
        ([PictureFormat("MJPG", "", (WIDE,))], None, Stream("", 0, 0)),
        ([], None, Stream("", 0, 0)),
    ],
)
def test_the_stream_that_is_asked_for(
    formats: list[PictureFormat], profile: str | None, asked: Stream
) -> None:
    layout = layout_named(profile) if profile else None
    assert stream_to_ask(layout, formats, None) == asked


# -- a layout's file, and the user's own ---------------------------------------------------------

MINE = """
note = "bench camera"
format = "YUYV"
width = 256
height = 384
raw_rows = "lower"
byte_order = "little"
k_per_count = 0.02
offset_k = 10.0
band_um = [8, 14]
netd_k = 0.04
accuracy_k = 2.0
corrected = ["emissivity 0.95"]

[shutter]
control = "Flat Field"
value = 1
shortest_s = 0.2

[[lens]]
name = "macro"
mm_per_px = 0.1
"""


def test_all_that_a_layout_can_say(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(MINE)
    layout = read_layout(tmp_path / "mine.toml")
    assert layout.scale == Scale(0.02, 10.0)
    assert layout.band_um == (8.0, 14.0)
    assert (layout.netd_k, layout.accuracy_k) == (0.04, 2.0)
    assert layout.lenses == (Lens("macro", 0.1),)
    assert (layout.shutter.control, layout.shutter.shortest_s) == ("Flat Field", 0.2)
    assert layout.remarks() == [
        "bench camera",
        "the camera has corrected already: emissivity 0.95",
        "accuracy stated for the camera: ±2 K",
        "macro: 0.1 mm a pixel in focus",
    ]


@pytest.mark.parametrize(
    "line",
    [
        "netd_k = -1",
        "band_um = [14, 8]",
        "accuracy_k = nan",
        "[[lens]]\nname = 'macro'",
        "[[lens]]\nmm_per_px = 0",
        "[shutter]\ncolour = 1",
        "[shutter]\nshortest_s = 0",
    ],
)
def test_a_mistake_in_a_layout_is_told(tmp_path: Path, line: str) -> None:
    (tmp_path / "mine.toml").write_text(f'format = "Y16"\n{line}\n')
    with pytest.raises(InputError, match=r"mine\.toml is not a stream layout"):
        read_layout(tmp_path / "mine.toml")


def test_a_layout_is_kept_by_the_cameras_serial(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(MINE)
    assert kept_layout("A/1") is None
    path = keep_layout("A/1", str(tmp_path / "mine.toml"))
    assert path.parent.name == "layouts"
    kept = kept_layout("A/1")
    assert kept is not None
    assert kept.scale == Scale(0.02, 10.0)
    keep_layout("A/1", "y16-linear")
    kept = kept_layout("A/1")
    assert kept is not None
    assert kept.scale == Scale(1 / 64)
    forget_layout("A/1")
    assert kept_layout("A/1") is None
    assert kept_layout("") is None
    with pytest.raises(UsageError, match="no serial"):
        keep_layout("", "y16-linear")
    with pytest.raises(UsageError, match="no stream layout"):
        keep_layout("A/1", "nonsense")
