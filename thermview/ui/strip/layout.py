"""Where the strip's lanes are: marks on top, curves, differences, supply, the time below."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QRectF

from thermview.ui.strip.content import Lane

LEFT_PX = 68
RIGHT_PX = 168
RAIL_PX = 22
TIME_PX = 22
BAR_PX = 14
_BETWEEN_PX = 5
_SUPPLY_PX = (24.0, 46.0)  # least and most height of a supply lane
_LEAST_PX = 60.0  # of the main lane


@dataclass(frozen=True, slots=True)
class Lanes:
    """The lanes' rectangles, logical px; `of` holds those with curves, from the top."""

    rail: QRectF
    of: dict[Lane, QRectF]
    time: QRectF

    @property
    def main(self) -> QRectF:
        """Return the lane of the regions' curves, which is always there."""
        return self.of[Lane.MAIN]

    @property
    def left(self) -> float:
        """Return the left edge of the plotted stretch, px."""
        return self.main.left()

    @property
    def width(self) -> float:
        """Return the width of the plotted stretch, px."""
        return self.main.width()

    @property
    def plot(self) -> QRectF:
        """Return what all lanes with curves cover."""
        foot = list(self.of.values())[-1].bottom()
        return QRectF(self.left, self.main.top(), self.width, foot - self.main.top())

    @property
    def bar(self) -> QRectF:
        """Return the colour bar, which is the axis of the main lane."""
        left = self.main.left() - BAR_PX - 3
        return QRectF(left, self.main.top(), BAR_PX, self.main.height())


def lay_out(width: float, height: float, wanted: frozenset[Lane]) -> Lanes:
    """Share out a chart of this size, px, to the main lane and the other wanted ones."""
    plot_width = max(width - LEFT_PX - RIGHT_PX, 20.0)
    room = max(height - RAIL_PX - TIME_PX, 20.0)
    supply_px = min(max(room * 0.1, _SUPPLY_PX[0]), _SUPPLY_PX[1])
    heights = {
        Lane.DIFFERENCE: max(room * 0.22, 40.0),
        Lane.VOLTAGE: supply_px,
        Lane.CURRENT: supply_px,
    }
    others = {lane: px for lane, px in heights.items() if lane in wanted}
    spare_px = room - len(others) * _BETWEEN_PX
    if others:  # the main lane comes first where there is little room
        shrink = min((spare_px - min(_LEAST_PX, spare_px / 2)) / sum(others.values()), 1.0)
        others = {lane: px * shrink for lane, px in others.items()}
    main_px = spare_px - sum(others.values())
    of = {}
    top = float(RAIL_PX)
    for lane, lane_px in {Lane.MAIN: main_px, **others}.items():
        of[lane] = QRectF(LEFT_PX, top, plot_width, lane_px)
        top += lane_px + _BETWEEN_PX
    return Lanes(
        rail=QRectF(LEFT_PX, 0, plot_width, RAIL_PX),
        of=of,
        time=QRectF(LEFT_PX, height - TIME_PX, plot_width, TIME_PX),
    )
