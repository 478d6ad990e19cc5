"""All frames of a recording in open formats: a stack of pictures, numpy's archive, a film."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Footage, Frame
from thermview.job.pictures import (
    RegionWords,
    draw_frame,
    draw_regions,
    draw_shiny,
    label_text,
    new_figure,
    picture_size,
    pixels,
    robust_span,
    write_below,
)
from thermview.regions import RegionSet
from thermview.session.export import frame_values
from thermview.units import TemperatureUnit

Progress = Callable[[int, int], None]


def export_all(
    footage: Footage,
    path: Path,
    *,
    regions: RegionSet | None = None,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    told: Progress = lambda done, total: None,
) -> None:
    """Write all frames in the format that the name ends in.

    Parameters
    ----------
    footage : Footage
        The recording.
    path : Path
        `.tif`, `.tiff`: a page per frame, counts as recorded, the scale in the first page's
        description; `.npz`: counts, times and scale; `.mp4`: a coloured film for people.
    regions : RegionSet, optional
        Drawn in the film.
    unit : TemperatureUnit
        Of the film's scale.
    told : callable
        Called with (done, total) frames.

    Raises
    ------
    UsageError
        The name ends in none of these.
    """
    writers = {".tif": _write_tiff, ".tiff": _write_tiff, ".npz": _write_npz}
    suffix = path.suffix.lower()
    if suffix == ".mp4":
        _write_film(footage, path, regions or RegionSet(), unit, told)
    elif suffix in writers:
        writers[suffix](footage, path, told)
    else:
        raise UsageError(
            f"{path}: all frames are written as .tiff, .npz or .mp4; for {suffix or 'this'} "
            "choose one with --frame"
        )


def _frames(footage: Footage, told: Progress) -> Iterator[Frame]:
    for number in range(footage.first, len(footage)):
        yield footage.frame(number)
        told(number + 1, len(footage))


def _write_tiff(footage: Footage, path: Path, told: Progress) -> None:
    scale = footage.info.scale
    description = json.dumps(
        {
            "time_s": [round(time_s, 6) for time_s in footage.times_s.tolist()],
            "scale_factor": scale.k_per_count,
            "add_offset": scale.offset_k,
            "units": "counts" if scale.relative else "K",
        }
    )
    big = 2 * footage.info.width_px * footage.info.height_px * len(footage) > 3 * 10**9
    with tifffile.TiffWriter(path, bigtiff=big) as writer:
        for frame in _frames(footage, told):
            writer.write(
                frame.counts, description=description, metadata=None, contiguous=frame.index > 0
            )
            description = ""


def _write_npz(footage: Footage, path: Path, told: Progress) -> None:
    scale = footage.info.scale
    with path.open("wb") as file:
        np.savez_compressed(
            file,
            counts=np.stack([frame.counts for frame in _frames(footage, told)]),
            time_s=footage.times_s,
            scale_factor=np.array(scale.k_per_count),
            add_offset=np.array(scale.offset_k),
        )


def _write_film(
    footage: Footage, path: Path, regions: RegionSet, unit: TemperatureUnit, told: Progress
) -> None:
    size = picture_size(footage.frame(footage.first))
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), _rate_hz(footage), size)
    if not writer.isOpened():
        raise OSError("no encoder for .mp4 films is at hand")
    try:
        for picture in film_pictures(footage, regions, unit, told):
            writer.write(np.ascontiguousarray(picture[:, :, ::-1]))
    finally:
        writer.release()


def film_pictures(
    footage: Footage,
    regions: RegionSet,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    told: Progress = lambda done, total: None,
) -> Iterator[NDArray[np.uint8]]:
    """Yield each frame as people see it: colours on one scale, regions with their numbers, time.

    Shape (row, column, 3), red, green, blue.
    """
    first = footage.frame(footage.first)
    figure = new_figure(*picture_size(first))
    axes = figure.subplots()
    draw_frame(axes, first, unit=unit, span=_span(footage, unit), title=" ")
    words = RegionWords(footage, regions, unit)
    labels = draw_regions(axes, regions, words.of(first)) if regions.regions else {}
    draw_shiny(axes, words.shiny)
    write_below(axes, words.remarks)
    image = axes.images[0]
    figure.canvas.draw()
    figure.set_layout_engine("none")  # the layout is found; it need not be found for every frame
    kind = "simulated, " if footage.info.simulated else ""
    for frame in _frames(footage, told):
        image.set_data(frame_values(frame, unit))
        now = words.of(frame) if labels else {}
        for region in regions.regions:
            labels[region.id].set_text(label_text(region, now[region.id]))
        axes.set_title(f"{footage.info.name} ({kind}{frame.time_s:.2f} s)", fontsize=10)
        yield pixels(figure)


def _span(footage: Footage, unit: TemperatureUnit) -> tuple[float, float]:
    numbers = np.unique(np.linspace(footage.first, len(footage) - 1, 12).astype(int))
    return robust_span(
        np.concatenate([frame_values(footage.frame(n), unit).ravel() for n in numbers.tolist()])
    )


def _rate_hz(footage: Footage) -> float:
    times_s = footage.times_s
    seconds = float(times_s[-1] - times_s[0])
    return min(60.0, max(1.0, (len(footage) - 1) / seconds)) if seconds > 0 else 10.0
