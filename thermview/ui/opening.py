"""Open an address: the session, with what lies beside a recording. Runs outside Qt's thread."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from thermview.board import Landmark, Part, load_placement, outlines_seen
from thermview.errors import ThermviewError
from thermview.paths import made, sample_recordings, save_text, user_data
from thermview.recording.generic import picture_datasets
from thermview.recording.hdf5 import open_for_reading, reading
from thermview.recording.probe import probe
from thermview.recording.reader import is_recording
from thermview.regions import Polygon, RegionSet, load_regions, save_regions
from thermview.session.boards import Board, board_of
from thermview.session.kept_marks import keep_marks, recall_marks
from thermview.session.matching import judge, named
from thermview.session.power import power_on, quiet_interval
from thermview.session.session import Session
from thermview.session.triggers import TriggerRule, parse_trigger
from thermview.sources import OpenOptions, is_live, open_footage, open_source, reopener
from thermview.sources.catalog import HDF5_SUFFIXES, parse_address
from thermview.sources.knobs import CameraKnobs
from thermview.sources.uvc import Camera
from thermview.ui.board.memory import kept

MARKS = ".marks.json"
RETRY_S = 0.2  # how often to look whether a camera that was unplugged is back


@dataclass(slots=True)
class Opened:
    """What opening an address gave."""

    address: str
    options: OpenOptions
    session: Session
    path: Path | None = None
    board: Board | None = None
    placed: tuple[tuple[Part, ...], tuple[Landmark, ...]] = ((), ())
    """Parts and matching points that are no board yet: one or the other is lacking."""
    regions: RegionSet = field(default_factory=RegionSet)
    triggers: tuple[TriggerRule, ...] = ()
    remarks: list[str] = field(default_factory=list)
    knobs: CameraKnobs | None = None
    """Of a camera."""

    @property
    def memory(self) -> Path:
        """Return the file beside which everything about this input is remembered."""
        return memory_of(self.address)


def open_address(
    address: str, options: OpenOptions, report: Callable[[str, float], None]
) -> Opened:
    """Open a recording, a stack or a live input; the session is not started yet.

    Raises
    ------
    ThermviewError
        It cannot be opened. Trouble with what lies beside it is only a remark.
    """
    report(f"opening {address}", -1.0)
    if is_live(address):
        source = open_source(address, options)
        session = Session.live(source, reopen=reopener(source, address, options), retry_s=RETRY_S)
        opened = Opened(address, options, session)
        opened.knobs = CameraKnobs(source) if isinstance(source, Camera) else None
        opened.board = _board_of(opened, source, None)
    else:
        path = Path(address)
        footage = open_footage(address, options)
        session = Session.replay(footage)
        opened = Opened(address, options, session, path)
        opened.board = _board_of(opened, footage, path)
        _recall_marks(opened)
        report("taking the zero", -1.0)
        zero_before_power(session)
    opened.regions = _regions_of(opened)
    opened.triggers = _triggers_of(opened)
    return opened


def opened_words(session: Session) -> str:
    """Return what was opened, in one line."""
    info = session.info
    words = [f"{info.title or info.name}: {info.width_px} × {info.height_px} pixels"]
    if info.rate_hz:
        words.append(f"{info.rate_hz:.3g} frames per second")
    if info.simulated and not info.notes:
        words.append("simulated")
    # what a note says to give is an option of the command line; here a menu does it
    words += [note.split(": give")[0].split("; give")[0] for note in info.notes]
    return " · ".join(words)


def _board_of(opened: Opened, origin: object, path: Path | None) -> Board | None:
    """Return the remembered board, else the one that the source brings along or lies beside it."""
    try:
        board = _remembered_board(opened) or board_of(origin, path)
        if board is None and path is not None and not any(opened.placed):
            parts_file = path.with_suffix(".parts.csv")
            opened.placed = (load_placement(parts_file) if parts_file.is_file() else (), ())
    except ThermviewError as error:
        opened.remarks.append(f"the board's placement list is not used: {error}")
        return None
    if board is not None and board.texts is not None:
        opened.session.set_board(*board.texts)
    return board


def _remembered_board(opened: Opened) -> Board | None:
    """Return what the user has made of this recording's board the last time."""
    parts, landmarks = kept(opened.memory)
    if parts and judge(named(landmarks, parts)).view is not None:
        return Board.of(parts, landmarks)
    opened.placed = (parts, landmarks)
    return None


def memory_of(address: str) -> Path:
    """Return the file that remembers what was drawn on this input or recording."""
    path = Path(address)
    key = str(path.resolve()) if path.exists() else address
    folder = user_data() / "regions"
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:20]}.json"


def remember(opened: Opened, regions: RegionSet, triggers: tuple[TriggerRule, ...]) -> None:
    """Store regions and triggers, and a finished recording's marks, for its next opening.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    file = opened.memory
    made(file.parent)
    save_regions(file, regions)
    lines = "".join(f"{rule}\n" for rule in triggers)
    save_text(file.with_suffix(".triggers"), lines)
    if opened.path is not None:
        keep_marks(file.with_suffix(MARKS), opened.session)


def _recall_marks(opened: Opened) -> None:
    try:
        recall_marks(opened.memory.with_suffix(MARKS), opened.session)
    except ThermviewError as error:
        opened.remarks.append(f"the remembered marks are not used: {error}")


def _triggers_of(opened: Opened) -> tuple[TriggerRule, ...]:
    file = opened.memory.with_suffix(".triggers")
    try:
        lines = file.read_text(encoding="utf-8").splitlines() if file.is_file() else []
        return tuple(parse_trigger(line) for line in lines)
    except (OSError, UnicodeDecodeError, ThermviewError) as error:
        opened.remarks.append(f"the remembered triggers are not used: {error}")
        return ()


def _regions_of(opened: Opened) -> RegionSet:
    """Return the remembered regions, else those in the file beside the recording."""
    _, rest = parse_address(opened.address)
    example = sample_recordings() / f"{rest}.regions.json"
    beside = example if opened.path is None else opened.path.with_suffix(".regions.json")
    for file in (opened.memory, beside):
        if not file.is_file():
            continue
        try:
            regions = load_regions(file)
        except ThermviewError as error:
            opened.remarks.append(f"the regions in {file.name} are not used: {error}")
            continue
        if file == example and opened.board is not None:
            return _on_parts(regions, opened.board)
        return regions
    return RegionSet()


def _on_parts(regions: RegionSet, board: Board) -> RegionSet:
    """Return the example's regions for another camera: those on parts, put where these are now."""
    outlines = outlines_seen(board.parts, board.view)
    return RegionSet(
        tuple(
            replace(region, shape=Polygon(tuple((x, y) for x, y in outlines[region.name].tolist())))
            for region in regions.regions
            if region.name in outlines
        )
    )


def datasets_of(path: Path) -> list[str] | None:
    """Return the datasets to choose from in an HDF5 file that is no recording, else None.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    if path.suffix.lower() not in HDF5_SUFFIXES or not path.is_file():
        return None
    probe(path)
    with open_for_reading(path) as file, reading(path, "the file"):
        return None if is_recording(file) else picture_datasets(file)


def zero_before_power(session: Session) -> str | None:
    """Take the time before the power as the zero of rises, unless there is a zero already.

    Without any sign of power, a recording's first second is taken and a live source is left
    alone.

    Returns
    -------
    str or None
        The session's warning, where the board was not still.
    """
    footage = session.footage
    if len(footage) < 2 or session.baseline is not None:
        return None
    start_s, end_s = quiet_interval(footage)
    on_s = power_on(session.marks, session.supply)
    if session.is_live and (on_s is None or end_s >= on_s):
        return None
    return session.zero_now(end_s, end_s - start_s)
