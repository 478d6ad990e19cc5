"""Files about a board, told apart by what is in them: parts, nets, part maps, matching points."""

from __future__ import annotations

import json
from pathlib import Path

from thermview.board import (
    load_netlist,
    load_part_map,
    load_placement,
    save_part_map,
    with_nets,
)
from thermview.errors import InputError, UsageError
from thermview.paths import save_text, writing
from thermview.session.drawn_map import map_of, picture_view
from thermview.session.matching import MM_PER_PX, named
from thermview.ui.board.keeper import BoardKeeper
from thermview.ui.desk import Desk

LISTS = frozenset({".csv", ".pos", ".xy", ".tsv"})
NETLISTS = frozenset({".ipc", ".d356", ".356"})
ANY = (
    "placement lists, netlists, part maps (*.csv *.pos *.xy *.tsv *.txt *.ipc *.d356 *.356 *.json)"
    ";;all (*)"
)


def is_about_board(path: Path) -> bool:
    """Tell whether a file is one of these; regions in JSON are not."""
    if path.suffix.lower() != ".json":
        return path.suffix.lower() in LISTS | NETLISTS
    return bool({"parts", "landmarks"} & _keys(path))


def load(desk: Desk, path: Path) -> None:
    """Take over what a file says of the board.

    Raises
    ------
    InputError
        It is none of these, or is damaged.
    """
    keeper, suffix = desk.boards, path.suffix.lower()
    if suffix in NETLISTS:
        _load_nets(desk, path)
    elif suffix == ".json" and "landmarks" in _keys(path):
        keeper.load_points(path)
    elif suffix == ".json":
        part_map = load_part_map(path)
        keeper.take_parts(part_map.parts, part_map.places)
        drawn = any(part.size_assumed for part in part_map.parts)
        size = ", drawn at a guessed scale that their watts follow" if drawn else ""
        desk.say("info", f"{path.name}: {len(part_map.parts)} parts{size}{_next_words(keeper)}")
    else:
        parts = load_placement(path)
        keeper.take_parts(parts)
        guessed = sum(part.size_assumed for part in parts)
        size = f", {guessed} of unknown size drawn 2 mm wide" if guessed else ""
        desk.say("info", f"{path.name}: {len(parts)} parts{size}{_next_words(keeper)}")


def _load_nets(desk: Desk, path: Path) -> None:
    keeper = desk.boards
    if not keeper.parts:
        raise InputError(f"{path.name} tells nets only; load the placement list first, then this")
    netlist = load_netlist(path)
    keeper.take_parts(with_nets(keeper.parts, netlist), keeper.places)
    joined = sum(bool(part.nets) for part in keeper.parts)
    desk.say("info", f"{path.name}: nets of {joined} of {len(keeper.parts)} parts")


def _next_words(keeper: BoardKeeper) -> str:
    return "" if keeper.fit.view is not None else "; set matching points to see them on the picture"


def _keys(path: Path) -> set[str]:
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return set()
    return set(document) if isinstance(document, dict) else set()


def is_guess(desk: Desk) -> bool:
    """Tell whether nothing says how large what is drawn here is on the board."""
    return desk.boards.fit.view is None and desk.display.mm_per_px is None


def named_beside(desk: Desk, suffix: str = "") -> str:
    """Return where a file dialog begins: beside the recording, named after it with a suffix."""
    opened = desk.opened
    if opened is None or opened.path is None:
        return f"board{suffix}" if suffix else ""
    return str(opened.path.with_suffix(suffix) if suffix else opened.path.parent)


def save_map(desk: Desk, path: Path) -> None:
    """Make parts of the regions, keep them as a part map, and use them here.

    Where no matching points are set, the picture itself is the board's plane.

    Raises
    ------
    UsageError
        No region is an area.
    OutputError
        The file cannot be written.
    """
    keeper, session = desk.boards, desk.session
    assert session is not None
    points, assumed = keeper.points, False
    if keeper.fit.view is None:
        assumed = is_guess(desk)
        scale = desk.display.mm_per_px or MM_PER_PX
        points = named(picture_view(session.info.width_px, session.info.height_px, scale), ())
    view = keeper.view_of(points)
    part_map = map_of(desk.document.current.regions, view, keeper.parts, assumed=assumed)
    if not part_map.parts:
        raise UsageError("draw areas on the parts first and name them; spots become places")
    with writing(path, force=True) as partial:
        save_part_map(partial, part_map)
    keeper.take_parts(part_map.parts, part_map.places, points)
    desk.say("info", f"{len(part_map.parts)} parts kept for next time: {path}")


def beside(desk: Desk) -> tuple[Path, Path] | None:
    """Return where parts and points stand beside the open recording, None without one."""
    opened = desk.opened
    if opened is None or opened.path is None or opened.path.is_dir():
        return None
    return opened.path.with_suffix(".parts.csv"), opened.path.with_suffix(".landmarks.json")


def keep_beside(desk: Desk) -> None:
    """Write parts and points beside the recording, where the commands find them, too.

    Raises
    ------
    UsageError
        Nothing is open from a file, or the board is not known yet.
    OutputError
        The folder takes no file.
    """
    paths, board = beside(desk), desk.board
    if paths is None or board is None or board.texts is None:
        raise UsageError("this takes a recording from a file, parts and four matching points")
    for path, text in zip(paths, board.texts, strict=True):
        save_text(path, text.rstrip("\n") + "\n")
    desk.say("info", f"kept beside the recording: {paths[0].name}, {paths[1].name}")
