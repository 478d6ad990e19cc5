"""The worked example without a display: what warmed most, as a page with pictures."""

from __future__ import annotations

import html
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.largest_rise import Rise, frames_between, median_image, rises_of_outlines
from thermview.board import part_outline_px
from thermview.errors import OutputError
from thermview.frames import Footage
from thermview.job.pictures import (
    draw_frame,
    draw_outlines,
    draw_rise,
    new_figure,
    picture_size,
    save,
)
from thermview.session.boards import board_of
from thermview.session.power import powered_until, quiet_interval
from thermview.sources import open_footage

WARNING = (
    "Boards under test can hurt: mains and charged capacitors kill, capacitors burst, parts burn. "
    "Local codes and licensed practice come before anything that this program shows."
)
LAST_S = 5.0  # a hand's reflection passes in less, the median of so long lets it go by


@dataclass(frozen=True, slots=True)
class DemoReport:
    """What was written: the page, its pictures, and the answer in one sentence."""

    path: Path
    pictures: tuple[Path, ...]
    words: str


def write_demo_report(recording: Path, folder: Path, *, force: bool = False) -> DemoReport:
    """Find the part with the largest rise in a recording and write a page about it.

    Parameters
    ----------
    recording : Path
        With a placement list and landmarks in it or beside it.
    folder : Path
        Made when missing; gets `report.html` and PNG pictures.
    force : bool
        Overwrite a report that stands there.

    Raises
    ------
    InputError
        The recording cannot be used.
    OutputError
        The folder cannot be written, or holds a report already.
    """
    page = folder / "report.html"
    if page.exists() and not force:
        raise OutputError(f"{page} exists already; choose another folder or give --force")
    footage = open_footage(str(recording))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return _write(footage, recording, page)
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {error.strerror or error}") from error
    finally:
        footage.close()


def _write(footage: Footage, recording: Path, page: Path) -> DemoReport:
    start_s, end_s = quiet_interval(footage)
    last_s = powered_until(footage)
    baseline = median_image(footage, frames_between(footage, start_s, end_s))
    late = median_image(footage, frames_between(footage, last_s - LAST_S, last_s))
    rise_k = late - baseline
    outlines = _outlines(footage, recording)
    rises = rises_of_outlines(rise_k, outlines)
    most = rises[0]
    words = (
        f"{most.name} shows the largest rise against the baseline: {most.rise_k:.1f} K "
        f"(median of the last {LAST_S:g} s with power). That is no proof yet that it is the source."
    )
    pictures = _draw(footage, rise_k, outlines, most.name, page.parent)
    page.write_text(_page(footage, rises, pictures, words), encoding="utf-8")
    return DemoReport(page, pictures, words)


def _outlines(footage: Footage, recording: Path) -> dict[str, NDArray[np.float64]]:
    board = board_of(footage, recording)
    if board is None:
        return {"hottest place": np.array([])}
    return {p.designator: part_outline_px(p, board.view) for p in board.parts if p.side == "top"}


def _draw(
    footage: Footage,
    rise_k: NDArray[np.float32],
    outlines: dict[str, NDArray[np.float64]],
    chosen: str,
    folder: Path,
) -> tuple[Path, ...]:
    before, after, risen = (folder / f"{name}.png" for name in ("before", "after", "rise"))
    for path, number in ((before, footage.first), (after, len(footage) - 1)):
        frame = footage.frame(number)
        figure = new_figure(*picture_size(frame))
        draw_frame(figure.subplots(), frame, title=f"simulated board, {frame.time_s:.1f} s")
        save(figure, path)
    figure = new_figure(*picture_size(frame))
    axes = figure.subplots()
    draw_rise(axes, rise_k, "simulated board: rise against the baseline")
    draw_outlines(axes, outlines, chosen)
    save(figure, risen)
    return before, after, risen


def _page(footage: Footage, rises: list[Rise], pictures: tuple[Path, ...], words: str) -> str:
    rows = "".join(
        f"<tr><td>{html.escape(rise.name)}</td><td>{rise.rise_k:.2f}</td></tr>"
        for rise in rises[:8]
    )
    images = "".join(
        f'<p><img src="{picture.name}" alt="{picture.stem}"></p>' for picture in pictures
    )
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>thermview: the worked example</title>
<style>body{{font:16px/1.5 sans-serif;max-width:60em;margin:2em auto}}td{{padding:0 1em}}</style>
<h1>The worked example</h1>
<p>{html.escape(footage.info.title)}. Everything here is simulated.</p>
<p><strong>{html.escape(words)}</strong></p>
<table><tr><th>part</th><th>mean rise, K</th></tr>{rows}</table>
{images}
<p>{html.escape(WARNING)}</p>
</html>
"""
