"""Findings on shiny metal say so, and are less sure of their watts."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.analysis.heat.findings import Located, Suspect
from thermview.analysis.heat.nature import Nature
from thermview.board import Landmark, Part, fit_homography
from thermview.radiometry.shiny import ShinyMap
from thermview.session.boards import Board
from thermview.session.shiny_findings import noting_shiny

CAN = Part("Y1", "XTAL", 12.0, 12.0, width_mm=6.0, height_mm=4.0)
CHIP = Part("U1", "SOIC-8", 30.0, 12.0, width_mm=6.0, height_mm=4.0)
CORNERS = ((0.0, 0.0), (40.0, 0.0), (40.0, 24.0), (0.0, 24.0))


def board() -> Board:
    """A millimetre is a pixel; the board's y points up."""
    view = fit_homography([Landmark((x, y), (x, 24.0 - y)) for x, y in CORNERS])
    return Board((CAN, CHIP), view)


def suspect(part: str) -> Suspect:
    nothing = np.zeros(3)
    return Suspect(
        part, 1, Nature.HEATING, 1.0, 0.02, 0.004, 3.0, 50.0, 0.9, False, "rises", 0.0, 0.0,
        nothing, nothing,
    )  # fmt: skip


def located() -> Located:
    return Located(
        power_on_s=3.0,
        power_on_from="given",
        heated=True,
        suspects=(suspect("Y1"), suspect("U1")),
        elsewhere=(),
        notes=(),
        times_s=np.arange(3.0),
        rise_k=np.zeros((24, 40), np.float32),
        supply_w=None,
    )


def shiny(*, known: bool = True) -> ShinyMap:
    mask = np.zeros((24, 40), dtype=bool)
    mask[8:16, 8:16] = True
    return ShinyMap(mask, np.full(mask.shape, np.nan), known, "a hand was waved")


def test_only_what_lies_on_metal_is_doubted() -> None:
    can, chip = noting_shiny(located(), board(), shiny()).suspects
    assert "100% of it is shiny" in can.words
    assert can.power_sigma_w == pytest.approx(0.006)
    assert chip.words == "rises"
    assert chip.power_sigma_w == 0.004


def test_without_a_map_or_board_nothing_changes() -> None:
    found = located()
    assert noting_shiny(found, board(), None) is found
    assert noting_shiny(found, board(), shiny(known=False)) is found
    assert noting_shiny(found, None, shiny()) is found
