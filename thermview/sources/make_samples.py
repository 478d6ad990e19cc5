"""Makes the worked example's recordings anew: ``python -m thermview.sources.make_samples [DIR]``.

The same program makes the same recordings; everything in them is simulated.
"""

from __future__ import annotations

import itertools
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

from thermview.board import format_landmarks, format_placement, part_outline_px, save_landmarks
from thermview.frames import Mark, MarkKind
from thermview.paths import sample_recordings
from thermview.recording.writer import Writer
from thermview.regions import Polygon, Rectangle, Region, RegionSet, save_regions
from thermview.simulation.scene import STORIES
from thermview.simulation.story import Run, Story
from thermview.sources.simulated import simulated_info

SENSOR = (192, 144, 6.25)
"""Columns, rows and frames per second: keeps a recording to a few MB."""
SEED = 7
START = datetime(2026, 3, 2, 9, 30, tzinfo=timezone(timedelta(hours=1)))
REGIONS = {
    "short": ("C12", "U2", "U3", "Y1"),
    "good": ("U1", "U2", "U3", "U5", "U6", "K1"),
    "cold-drivers": ("U1", "U2", "U3", "U5", "U6", "K1"),
}
"""Parts that the example measures."""

_README = """# Worked example (simulated)

Recordings of the valve-driver board of a greenhouse irrigation controller, 120 × 80 mm. Board,
camera and supply are simulated: every picture here is computed, none was filmed.
`python -m thermview.sources.make_samples` makes these files anew.

| file | story |
| --- | --- |
{rows}

Beside each recording stand its placement list (`.parts.csv`), landmarks (`.landmarks.json`) and
regions on some parts (`.regions.json`). Each begins with four seconds without power; the supply's
readings are in the recording. Drift, a shutter event, noise and the mirrored room are
part of the simulation.
"""
_STORY_WORDS = {
    "short": "the 3.3 V rail, shorted by ceramic capacitor C12, is fed from a current-limited "
    "supply in steps of 100 mA; the worker's hand is mirrored in Y1's can and in C1",
    "good": "a good board is switched on; its two driver packages U5 and U6 start 2 s later",
    "cold-drivers": "another board of the same model, whose driver package U6 stays cold",
}


def make_samples(folder: Path) -> list[Path]:
    """Write all stories' recordings and what goes with them; return the recordings' paths."""
    folder.mkdir(parents=True, exist_ok=True)
    made = [write_story(make(), folder) for make in STORIES.values()]
    rows = "\n".join(f"| `{name}.h5` | {_STORY_WORDS[name]} |" for name in STORIES)
    (folder / "README.md").write_text(_README.format(rows=rows), encoding="utf-8")
    return made


def write_story(story: Story, folder: Path) -> Path:
    """Write one story's recording, placement list, landmarks and regions."""
    story = story.sized(*SENSOR)
    path = folder / f"{story.name}.h5"
    info = simulated_info(story, address=path.name, live=False, start=START)
    placement = format_placement(story.circuit.parts)
    (folder / f"{story.name}.parts.csv").write_text(placement, encoding="utf-8")
    save_landmarks(folder / f"{story.name}.landmarks.json", story.landmarks())
    save_regions(folder / f"{story.name}.regions.json", regions_of(story))
    still = itertools.repeat(0.0).__next__  # a flush at the end only, so that bytes are the same
    with Writer(path, info, force=True, clock=still) as writer:
        writer.set_board(placement, format_landmarks(story.landmarks()))
        run = Run(story, SEED)
        for frame in run.frames():
            writer.take(frame)
            writer.take_supply(run.supply())
        if story.name != "short":
            writer.add_mark(Mark(4.2, MarkKind.POWER_ON, "by key"))
    return path


def regions_of(story: Story) -> RegionSet:
    """Return regions on the example's parts, and one on bare board."""
    regions = []
    for name in REGIONS[story.name]:
        part = story.circuit.parts[story.circuit.number(name)]
        outline = part_outline_px(part, story.view)
        points = tuple((round(float(x), 2), round(float(y), 2)) for x, y in outline)
        regions.append(Region(name, Polygon(points)))
    left, top = (round(float(v)) for v in story.view.board_to_pixel((60.0, 33.0)))
    regions.append(Region("bare board", Rectangle(left, top, 9.0, 6.0), statistic="mean"))
    return RegionSet(tuple(regions))


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else sample_recordings()
    for recording in make_samples(target):
        print(f"{recording}  {recording.stat().st_size / 1e6:.1f} MB")
