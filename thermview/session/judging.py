"""The judge of a recording, by what it says of itself: as the window has it after opening it."""

from __future__ import annotations

import math
from contextlib import suppress
from pathlib import Path

from thermview.errors import ThermviewError
from thermview.frames import Footage
from thermview.session.boards import Board, board_of
from thermview.session.power import quiet_interval
from thermview.session.profiles import recorded_profile
from thermview.session.shiny_places import shiny_of
from thermview.session.still import measure_still
from thermview.session.worth import Judge


def bodies_of(board: Board | None) -> dict[str, tuple[float, float]]:
    """Return the parts' bodies, (width, height) in mm, by designator."""
    parts = () if board is None else board.parts
    return {part.designator: (part.width_mm, part.height_mm) for part in parts}


def judge_of(footage: Footage, path: Path | None = None) -> Judge:
    """Return the judge of a recording.

    Parameters
    ----------
    footage : Footage
        The recording; its noise is measured, and shiny places are looked for, before the power.
    path : Path, optional
        Its file, beside which a placement list and landmarks may lie.
    """
    info, board, noise = footage.info, None, None
    with suppress(ThermviewError):
        board = board_of(footage, path)
    if not info.scale.relative and len(footage):
        with suppress(ThermviewError):
            noise = measure_still(footage, quiet_interval(footage)[1])[0]
    return Judge(
        scene=info.scene,
        scale=info.scale,
        profile=recorded_profile(footage),
        shiny=shiny_of(footage),
        netd_k=info.netd_k if noise is None else noise.netd_k,
        netd_freedom=math.inf if noise is None else noise.freedom,
        mm_per_px=None if board is None else board.view.mm_per_px,
        bodies_mm=bodies_of(board),
    )
