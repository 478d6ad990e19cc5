"""Files that the window writes: curves, frames, proposals for their names."""

from __future__ import annotations

import time
from pathlib import Path

from thermview.paths import made, user_data, writing
from thermview.session.curve_table import write_curve_table
from thermview.session.export import colour, export_frame
from thermview.ui.desk import Desk
from thermview.ui.tasks import Task

FRAME_FILTERS = (
    "counts, 16 bit (*.tiff);;temperatures (*.csv);;numpy (*.npz);;coloured picture (*.png)"
)

REPORT_FILTERS = "page with its pictures (*.html);;for printing (*.pdf)"


def propose(desk: Desk, folder: str, suffix: str) -> Path:
    """Return a free name in the user's folder: what is open, and when."""
    place = made(user_data() / folder)
    name = Path(desk.session.info.name).stem if desk.session is not None else "thermview"
    safe = "".join(c if c.isalnum() or c in "-_" else "-" for c in name)
    stem = f"{safe} {time.strftime('%Y-%m-%d %H-%M-%S')}"
    path, number = place / f"{stem}{suffix}", 2
    while path.exists():
        path, number = place / f"{stem} {number}{suffix}", number + 1
    return path


def save_frame(desk: Desk, path: Path) -> None:
    """Write the shown frame in the format that the name ends in."""
    frame, display = desk.shown, desk.display
    if frame is None:
        return
    coloured = None
    if path.suffix.lower() == ".png":
        coloured = colour(frame, display.lut(), display.low_k, display.high_k)

    def write() -> bool:
        export_frame(frame, path, force=True, unit=display.unit, coloured=coloured)
        return True

    if desk.attempt(write):
        desk.say("info", f"frame saved: {path}")


def save_report(desk: Desk, path: Path) -> None:
    """Write the record of the work in the background; a cancelled one leaves no file."""
    session = desk.session
    if session is None or desk.shown is None:
        return
    regions, unit, number = desk.document.current, desk.display.unit, desk.shown_number
    judge, marks = desk.optics.judge(), session.marks

    def write(task: Task) -> None:
        # the drawing library takes a while to load
        from thermview.job.report import check_name, report_of
        from thermview.job.report_pages import write_pages

        check_name(path)
        report = report_of(
            session.footage,
            regions,
            judge,
            unit=unit,
            number=number,
            baseline_s=session.baseline,
            marks=marks,
            poses=session.poses,
            told=task.telling("measuring for the report", "writing the report: cancelled"),
        )
        with writing(path, force=True) as place:
            write_pages(report, place)

    desk.run_task(
        f"writing the report {path.name}", write, lambda _: desk.say("info", f"report: {path}")
    )


def save_curves(desk: Desk, path: Path) -> None:
    """Write the curves of all regions in the background; a cancelled one leaves no file."""
    session = desk.session
    if session is None:
        return
    regions, unit, total = desk.document.current, desk.display.unit, len(session.footage)
    judge = desk.optics.judge()

    def write(task: Task) -> None:
        with (
            writing(path, force=True) as place,
            place.open("w", encoding="utf-8", newline="") as stream,
        ):
            table = write_curve_table(
                session.footage,
                regions,
                stream,
                unit=unit,
                scene=session.scene,
                profile=session.camera,
                judge=judge,
                poses=session.poses,
            )
            told = task.telling("exporting the curves", "exporting the curves: cancelled")
            for done in table:
                told(done, total)

    desk.run_task(
        f"exporting the curves to {path.name}",
        write,
        lambda _: desk.say("info", f"curves saved: {path}"),
    )
