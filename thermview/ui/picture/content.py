"""What the desk wants drawn over the picture, gathered for the canvas and for stills."""

from __future__ import annotations

import math

from thermview.errors import UsageError
from thermview.regions import Statistic
from thermview.ui.desk import Desk
from thermview.ui.picture.layer import Content
from thermview.ui.picture.readings import extremes, read_region
from thermview.ui.theme import DARK


def content_of(desk: Desk, *, selected: bool = True) -> Content:
    """Return regions with their numbers in the shown frame, and the markers.

    A frame must be shown. With `selected` False nothing is drawn as selected.
    """
    frame, session, judge = desk.shown, desk.session, desk.optics.judge()
    assert frame is not None
    assert session is not None
    pictured = desk.optics.pictured() or frame

    def zero_of(region_id: str, statistic: Statistic) -> float:
        try:
            return session.curves.zero(region_id, statistic)
        except UsageError:  # drawn so lately that it has no curve yet
            return math.nan

    regions = desk.document.current.regions
    return Content(
        regions,
        [read_region(region, frame, judge, desk.display, zero_of) for region in regions],
        desk.colour,
        lambda region_id: DARK.region_colour(desk.colour_slot(region_id)),
        desk.selected if selected else (),
        extremes(pictured, desk.display, judge) if desk.display.markers else (),
    )
