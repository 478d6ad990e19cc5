"""What the shiny map says of findings: metal shows the room, and little of its own warmth."""

from __future__ import annotations

from dataclasses import replace

from thermview.analysis.heat.findings import Located, Suspect
from thermview.board import outlines_seen
from thermview.radiometry.shiny import ShinyMap
from thermview.regions import Polygon
from thermview.session.boards import Board
from thermview.session.worth import MOSTLY, shiny_share

WIDER = 1.5
"""How much less sure watts are that only the board around a part tells.

Errors in stated standard uncertainties, metal cans beside dull parts on random simulated boards
(the way of `benchmarks/bench_shiny_watts.py`): 1.8, 1.5, 1.5 times at the quantiles 50, 68, 80 %
over 38 cans, 1.3 and 1.1 times at the first two over 13 others. So it is known to some 0.3.
"""


def noting_shiny(located: Located, board: Board | None, shiny: ShinyMap | None) -> Located:
    """Return an answer that says which suspects lie on metal too shiny to read.

    Their power then rests on the board around them, so that it is less sure.
    """
    if board is None or shiny is None or not shiny.known:
        return located
    outlines = outlines_seen(board.parts, board.view)

    def noted(suspect: Suspect) -> Suspect:
        outline = outlines.get(suspect.part)
        if outline is None:
            return suspect
        shape = Polygon(tuple((float(x), float(y)) for x, y in outline.tolist()))
        share = shiny_share(shiny, shape)
        if share <= MOSTLY:
            return suspect
        words = f"{suspect.words}; {share:.0%} of it is shiny: its watts come from the board around"
        return replace(suspect, words=words, power_sigma_w=WIDER * suspect.power_sigma_w)

    return replace(located, suspects=tuple(noted(suspect) for suspect in located.suspects))
