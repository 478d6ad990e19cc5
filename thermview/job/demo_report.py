"""The worked example without a display: what heats, how much, how sure, as a page with pictures."""

from __future__ import annotations

import html
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Located
from thermview.analysis.heat.largest_rise import frames_between, median_image
from thermview.analysis.heat.locate import locate
from thermview.analysis.heat.nature import Nature
from thermview.board import outlines_seen
from thermview.cautions import BOARDS_HURT
from thermview.errors import InputError, OutputError
from thermview.frames import Footage
from thermview.job.findings import draw_findings
from thermview.job.pictures import (
    RegionWords,
    draw_frame,
    draw_outlines,
    draw_rise,
    new_figure,
    picture_size,
    save,
)
from thermview.radiometry.touch import METAL_NOTE
from thermview.regions import Polygon, Region, RegionSet
from thermview.session.boards import Board, board_of
from thermview.session.power import powered_until, quiet_interval
from thermview.sources import open_footage
from thermview.units import TemperatureUnit

MOST_LISTED = 8
LAST_S = 5.0  # a hand's reflection passes in less, the median of so long lets it go by
NOT_TOLD = "nothing in view warms beyond noise, drift and reflections"


@dataclass(frozen=True, slots=True)
class DemoReport:
    """What was written: the page, its pictures, and the answer in one sentence."""

    path: Path
    pictures: tuple[Path, ...]
    words: str


def write_demo_report(recording: Path, folder: Path, *, force: bool = False) -> DemoReport:
    """Find what dissipates in a recording and write a page about it.

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
        board = board_of(footage, recording)
        if board is None:
            raise InputError(f"{recording} has no placement list and landmarks; put them beside it")
        folder.mkdir(parents=True, exist_ok=True)
        return _write(footage, board, page)
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {error.strerror or error}") from error
    finally:
        footage.close()


def _write(footage: Footage, board: Board, page: Path) -> DemoReport:
    located = locate(footage, board.parts, board.view)
    outlines = outlines_seen(board.parts, board.view)
    words = answer_words(located, {p.designator: p.value for p in board.parts})
    pictures = _draw(footage, located, outlines, page.parent)
    temperatures = _temperatures(footage, located, outlines)
    page.write_text(_page(footage, located, pictures, words, temperatures), encoding="utf-8")
    return DemoReport(page, pictures, words)


def answer_words(located: Located, values: dict[str, str]) -> str:
    """Return the answer in a sentence or two: part, power, certainty, evidence."""
    heating = [s for s in located.suspects if s.nature is Nature.HEATING]
    if not located.heated or not heating:
        return f"In this recording {NOT_TOLD}."
    first = heating[0]
    value = f" ({values[first.part]})" if values.get(first.part) else ""
    others = "no other part does" if len(heating) == 1 else f"{len(heating) - 1} other parts do too"
    return (
        f"{first.part}{value} dissipates {first.power_text} ({first.snr:.0f} times what noise "
        f"would show): it {first.words.rstrip('.')}. Heat of its own: {others}."
    )


def _draw(
    footage: Footage,
    located: Located,
    outlines: dict[str, NDArray[np.float64]],
    folder: Path,
) -> tuple[Path, ...]:
    names = ("before", "after", "rise", "findings")
    before, after, risen, found = (folder / f"{name}.png" for name in names)
    start_s, end_s = quiet_interval(footage)
    last_s = powered_until(footage)
    late_frames = frames_between(footage, last_s - LAST_S, last_s)
    for path, number in ((before, footage.first), (after, late_frames[-1])):
        frame = footage.frame(number)
        figure = new_figure(*picture_size(frame))
        draw_frame(figure.subplots(), frame, title=f"simulated board, {frame.time_s:.1f} s")
        save(figure, path)
    rise_k = median_image(footage, late_frames)
    rise_k = rise_k - median_image(footage, frames_between(footage, start_s, end_s))
    figure = new_figure(*picture_size(frame))
    axes = figure.subplots()
    draw_rise(axes, rise_k, "simulated board: rise against the baseline")
    draw_outlines(axes, outlines, located.suspects[0].part if located.heated else "")
    save(figure, risen)
    figure = new_figure(1100, 1100)
    draw_findings(figure, footage, located, outlines)
    save(figure, found)
    return before, after, risen, found


def _temperatures(
    footage: Footage, located: Located, outlines: dict[str, NDArray[np.float64]]
) -> dict[str, str]:
    """Return what each suspect's hottest pixel is at before the power goes off, with its worth."""
    regions = RegionSet(
        tuple(
            Region(s.part, Polygon(tuple((x, y) for x, y in outlines[s.part].tolist())))
            for s in located.suspects[:MOST_LISTED]
        )
    )
    last_s = powered_until(footage)
    frame = footage.frame(frames_between(footage, last_s - LAST_S, last_s)[-1])
    words = RegionWords(footage, regions, TemperatureUnit.CELSIUS).of(frame)
    return {region.name: words[region.id] for region in regions.regions}


def _page(
    footage: Footage,
    located: Located,
    pictures: tuple[Path, ...],
    words: str,
    temperatures: dict[str, str],
) -> str:
    rows = "".join(
        f"<tr><td>{s.rank}</td><td>{html.escape(s.part)}</td><td>{s.power_text}</td>"
        f"<td>{html.escape(temperatures.get(s.part, ''))}</td>"
        f"<td>{s.nature.value}</td><td>{html.escape(s.words)}</td></tr>"
        for s in located.suspects[:MOST_LISTED]
    )
    notes = "".join(f"<li>{html.escape(note)}</li>" for note in located.notes)
    images = "".join(
        f'<p><img src="{picture.name}" alt="{picture.stem}"></p>' for picture in pictures
    )
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>thermview: the worked example</title>
<style>body{{font:16px/1.5 sans-serif;max-width:70em;margin:2em auto}}td,th{{padding:0 1em;
text-align:left;vertical-align:top}}img{{max-width:100%}}</style>
<h1>The worked example</h1>
<p>{html.escape(footage.info.title)}. Everything here is simulated.</p>
<p><strong>{html.escape(words)}</strong></p>
<table><tr><th></th><th>part</th><th>power, ± one standard uncertainty</th>
<th>hottest pixel at the end, ± one standard uncertainty</th><th>nature</th>
<th>evidence</th></tr>{rows}</table>
<ul>{notes}</ul>
{images}
<p>{html.escape(METAL_NOTE)}</p>
<p>{html.escape(BOARDS_HURT)}</p>
</html>
"""
