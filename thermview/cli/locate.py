"""`thermview locate`: which parts dissipate, how much, how sure."""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermview.cli.options import (
    add_format,
    add_input,
    add_output,
    open_options,
    output,
    period_or_auto,
    print_json,
    progress,
)
from thermview.errors import UsageError

if TYPE_CHECKING:
    from typing import TextIO

    import numpy as np
    from numpy.typing import NDArray

    from thermview.analysis.heat.locate import Located, Place, Suspect
    from thermview.frames import Footage
    from thermview.session.boards import Board
    from thermview.session.meant_warm import Warm

PATCH_PX = 3.0
"""Radius of a matt patch that is pointed at."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser)
    parser.add_argument(
        "--parts", type=Path, metavar="P.csv", help="placement list; with --landmarks"
    )
    parser.add_argument(
        "--landmarks", type=Path, metavar="L.json", help="places known on board and picture"
    )
    parser.add_argument(
        "--power-on", type=float, metavar="S", help="when the power came on, s from the start"
    )
    parser.add_argument(
        "--period",
        type=period_or_auto,
        metavar="S",
        help="of a pulsed supply, s; auto: as its log or else the pictures tell",
    )
    parser.add_argument(
        "--lead-ohm",
        type=float,
        default=0.0,
        metavar="R",
        help="resistance of the leads between supply and board, both together, ohm: what they "
        "take is taken off the board's upper limit V*I",
    )
    parser.add_argument(
        "--meant-warm",
        default="",
        metavar="REF,X:Y,…",
        help="parts, and places on no listed part (mm on the board; pixels without a placement "
        "list), that rightly warm, beside those remembered of this board model",
    )
    parser.add_argument(
        "--remember", action="store_true", help="remember them for boards of this model"
    )
    parser.add_argument(
        "--unremembered", action="store_true", help="leave out what is remembered of this model"
    )
    parser.add_argument(
        "--matt-patch",
        metavar="X:Y",
        help="a spot of matt tape or paint, pixels, that the power does not warm: what it does is "
        f"the camera's drift (it covers {PATCH_PX:g} pixels around)",
    )
    parser.add_argument("--plot", type=Path, metavar="OUT.png", help="a picture of the findings")
    add_format(parser)
    add_output(parser)


def run(options: argparse.Namespace) -> int:
    """Analyse the recording and print the findings."""
    from thermview.analysis.heat.locate import locate
    from thermview.analysis.leads import MOST_OHM
    from thermview.analysis.period import period_of
    from thermview.session.finding import with_expected
    from thermview.session.shiny_findings import noting_shiny
    from thermview.session.shiny_places import shiny_of
    from thermview.sources import open_footage

    if (options.parts is None) != (options.landmarks is None):
        raise UsageError("--parts and --landmarks belong together; give both or neither")
    if not 0 <= options.lead_ohm <= MOST_OHM:
        raise UsageError(f"--lead-ohm is {options.lead_ohm:g}; give 0 to {MOST_OHM:g} ohm")
    footage = open_footage(options.recording, open_options(options))
    try:
        board = _board(footage, options)
        warm = _warm(options, board, footage)
        matt_patch = _matt_patch(options.matt_patch, footage)
        _check_power_on(options.power_on, footage)
        period_s = options.period
        if period_s is not None and math.isnan(period_s):
            with progress("looking for the period") as told:
                period_s = period_of(footage, told)
        with progress("looking") as told:
            located = locate(
                footage,
                board.parts if board else (),
                board.view if board else None,
                power_on_s=options.power_on,
                period_s=period_s,
                lead_ohm=options.lead_ohm,
                matt_patch=matt_patch,
                progress=told,
            )
        located = with_expected(located, warm)
        located = noting_shiny(located, board, shiny_of(footage, located.power_on_s))
        if options.plot is not None:
            from thermview.board import outlines_seen
            from thermview.job.findings import draw_findings
            from thermview.job.pictures import new_figure, save
            from thermview.paths import writing

            outlines = outlines_seen(board.parts, board.view) if board else {}
            with writing(options.plot, force=options.force) as path:
                figure = new_figure(1100, 1100)
                draw_findings(figure, footage, located, outlines)
                save(figure, path)
    finally:
        footage.close()
    with output(options) as stream:
        if options.format == "json":
            print_json(as_document(located, period_s), stream)
        else:
            _print_words(located, stream, period_s)
    return 0


def _board(footage: Footage, options: argparse.Namespace) -> Board | None:
    from thermview.board import fit_homography, load_landmarks, load_placement
    from thermview.session.boards import Board, board_of

    if options.parts is not None:
        view = fit_homography(load_landmarks(options.landmarks))
        return Board(load_placement(options.parts), view)
    return board_of(footage, Path(options.recording))


def _warm(options: argparse.Namespace, board: Board | None, footage: Footage) -> frozenset[Warm]:
    """Return what is meant to be warm: named here, or remembered of this board model."""
    from thermview.session.meant_warm import parse_warm, recall, remember

    size_px = footage.info.width_px, footage.info.height_px
    warm = parse_warm(options.meant_warm, board, size_px)
    if board is None:
        if options.remember:
            raise UsageError("--remember takes a placement list: models are known by it")
        return warm
    if not options.unremembered:
        warm |= recall(board)
    if options.remember:
        remember(board, warm)
    return warm


def _matt_patch(text: str | None, footage: Footage) -> NDArray[np.bool_] | None:
    """Return where the patch is, shape (row, column)."""
    if text is None:
        return None
    from thermview.regions import Ellipse, pixel_mask

    size = footage.info.height_px, footage.info.width_px
    try:
        x, y = (float(word) for word in text.split(":"))
    except ValueError:
        x = y = -1.0
    if not (0 <= x <= size[1] and 0 <= y <= size[0]):
        raise UsageError(
            f"--matt-patch is {text!r}; give X:Y in pixels of the picture, X up to {size[1]} and "
            f"Y up to {size[0]}"
        )
    return pixel_mask(Ellipse(x, y, PATCH_PX, PATCH_PX), size)


def _check_power_on(power_on_s: float | None, footage: Footage) -> None:
    if power_on_s is None or not len(footage):
        return
    first_s, last_s = float(footage.times_s[0]), float(footage.times_s[-1])
    if not first_s <= power_on_s <= last_s:
        raise UsageError(
            f"--power-on is {power_on_s:g} s; the recording lasts from {first_s:g} to {last_s:g} s"
        )


def as_document(located: Located, period_s: float | None = None) -> dict[str, Any]:
    """Return the findings in the contract's form; with the period that was given or found."""
    told = {} if period_s is None else {"period_s": _rounded(period_s, 4)}
    return {
        **told,
        "power_on_s": _rounded(located.power_on_s, 3),
        "power_on_from": located.power_on_from,
        "heated": located.heated,
        "suspects": [_suspect(s) for s in located.suspects],
        "elsewhere": [_place(p) for p in located.elsewhere],
        "supply_W": _rounded(located.supply_w, 6),
        "notes": list(located.notes),
    }


def _suspect(suspect: Suspect) -> dict[str, Any]:
    return {
        "part": suspect.part,
        "rank": suspect.rank,
        "nature": suspect.nature.value,
        "rise_K": _rounded(suspect.rise_k, 4),
        "power_W": _rounded(suspect.power_w, 7),
        "power_sigma_W": _rounded(suspect.power_sigma_w, 7),
        "onset_s": _rounded(suspect.onset_s, 3),
        "snr": _rounded(suspect.snr, 2),
        "likely": _rounded(suspect.likely, 3),
        "expected": suspect.expected,
        "x_px": _rounded(suspect.x_px, 2),
        "y_px": _rounded(suspect.y_px, 2),
        "evidence": suspect.words,
    }


def _place(place: Place) -> dict[str, Any]:
    known = place.x_mm is not None
    where = {"x_mm": _rounded(place.x_mm, 2), "y_mm": _rounded(place.y_mm, 2)} if known else {}
    return {
        **where,
        "x_px": _rounded(place.x_px, 2),
        "y_px": _rounded(place.y_px, 2),
        **({"radius_mm": _rounded(place.radius_mm, 2)} if known else {}),
        **({} if place.sigma_mm is None else {"sigma_mm": _rounded(place.sigma_mm, 2)}),
        "nature": place.nature.value,
        "rise_K": _rounded(place.rise_k, 4),
        "power_W": _rounded(place.power_w, 7),
        "power_sigma_W": _rounded(place.power_sigma_w, 7),
        "snr": _rounded(place.snr, 2),
        "expected": place.expected,
        **_path(place),
    }


def _path(place: Place) -> dict[str, Any]:
    """Return the course of a glowing track, and its end; nothing for other places."""
    if not place.path_px:
        return {}
    known = bool(place.path_mm)
    course = [[round(x, 2), round(y, 2)] for x, y in place.path_mm or place.path_px]
    return {"path_mm" if known else "path_px": course, "end": course[-1]}


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)


@dataclass(frozen=True, slots=True)
class _Line:
    rank: str
    name: str
    power: str
    words: str


def _print_words(located: Located, stream: TextIO, period_s: float | None) -> None:
    when = "not found" if located.power_on_s is None else f"{located.power_on_s:.2f} s"
    source = f" ({located.power_on_from})" if located.power_on_from else ""
    print(f"power on: {when}{source}", file=stream)
    if period_s is not None:
        print(f"period: {period_s:.4g} s", file=stream)
    if not located.heated:
        print("nothing in view warms beyond noise, drift and reflections", file=stream)
    for suspect in located.suspects:
        line = _Line(
            rank=f"{suspect.rank}",
            name=suspect.part,
            power=suspect.power_text,
            words=suspect.nature.value + (", meant to be warm" if suspect.expected else ""),
        )
        print(f"{line.rank:>3} {line.name:8} {line.power:>18}  {line.words}", file=stream)
        print(f"{'':13}{suspect.words}", file=stream)
    for place in located.elsewhere:
        known = place.x_mm is not None
        off = "" if place.sigma_mm is None else f" ± {place.sigma_mm:.1f}"
        where = (
            f"{place.x_mm:.1f}, {place.y_mm:.1f}{off} mm"
            if known
            else f"{place.x_px:.1f}, {place.y_px:.1f} px"
        )
        if place.path_px:
            where = f"a glowing track that ends at {where}"
        warm = ", meant to be warm" if place.expected else ""
        listed = "not on a listed part: " if known else ""
        rise = f"rises {place.rise_k:.2g} K"
        print(f"  – {listed}{where}, {place.nature.value}{warm}, {rise}", file=stream)
    for note in located.notes:
        print(f"note: {note}", file=stream)
