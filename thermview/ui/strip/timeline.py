"""Which stretch of time the strip shows, and where a moment is on it. No Qt."""

from __future__ import annotations

import math

LEAST_SPAN_S = 0.1
_ROOM = 0.04  # of the span, kept free behind the live edge
_LIVE_SPANS_S = (10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 28800, 86400)


class Timeline:
    """The visible stretch of a film.

    Attributes
    ----------
    first_s, last_s : float
        Times of the film's first and last frame, s.
    start_s, end_s : float
        The visible stretch, s.
    whole : bool
        The whole film is shown, also as it grows.
    """

    def __init__(self) -> None:
        self.first_s = self.last_s = 0.0
        self.start_s, self.end_s = 0.0, 1.0
        self.whole = True
        self._live = False

    @property
    def span_s(self) -> float:
        """Return the length of the visible stretch, s."""
        return self.end_s - self.start_s

    def set_film(self, first_s: float, last_s: float, *, live: bool, follow: bool) -> bool:
        """Take the film's extent; return whether the visible stretch has changed.

        With `follow` a stretch that is not the whole keeps the live edge in view.
        """
        before = (self.start_s, self.end_s)
        self.first_s, self.last_s, self._live = first_s, max(last_s, first_s), live
        if self.whole:
            self.fit()
        elif follow and not self.start_s <= last_s <= self.end_s:
            self._place(last_s + _ROOM * self.span_s - self.span_s, self.span_s)
        return before != (self.start_s, self.end_s)

    def fit(self) -> None:
        """Show everything. While a film grows its stretch grows in steps, so that it stands."""
        self.whole = True
        span_s = max(self.last_s - self.first_s, LEAST_SPAN_S)
        if self._live:
            span_s = next((s for s in _LIVE_SPANS_S if s >= span_s), span_s * 1.25)
        self.start_s, self.end_s = self.first_s, self.first_s + span_s

    def zoom(self, factor: float, about_s: float) -> None:
        """Show `factor` times as much; the moment `about_s` stays where it is."""
        whole_s = max(self.last_s - self.first_s, LEAST_SPAN_S)
        span_s = max(self.span_s * factor, LEAST_SPAN_S)
        if span_s >= whole_s and factor > 1:
            self.fit()
            return
        share = (about_s - self.start_s) / self.span_s
        self.whole = False
        self._place(about_s - share * span_s, span_s)

    def pan(self, by_s: float) -> None:
        """Shift the visible stretch; it never leaves the film."""
        if not self.whole:
            self._place(self.start_s + by_s, self.span_s)

    def reveal(self, time_s: float) -> bool:
        """Turn the page when `time_s` is out of view; return whether it was."""
        if self.start_s <= time_s <= self.end_s or self.whole:
            return False
        forward = time_s > self.end_s
        self._place(time_s - (0.1 if forward else 0.9) * self.span_s, self.span_s)
        return True

    def _place(self, start_s: float, span_s: float) -> None:
        latest_s = max(self.last_s + _ROOM * span_s - span_s, self.first_s)
        self.start_s = min(max(start_s, self.first_s), latest_s)
        self.end_s = self.start_s + span_s

    # ---- pixels ----------------------------------------------------------------------------

    def x_of(self, time_s: float, width_px: float) -> float:
        """Return where a moment is, px from the left edge of a chart of this width."""
        return (time_s - self.start_s) / self.span_s * width_px

    def time_of(self, x_px: float, width_px: float) -> float:
        """Return the moment, s, at a place on a chart of this width."""
        return self.start_s + x_px / max(width_px, 1.0) * self.span_s


class ValueAxis:
    """Which value is at which height of a lane; the larger value is further up.

    Attributes
    ----------
    low, high : float
        Values at the lane's lower and upper edge.
    top_px, bottom_px : float
        The lane's edges.
    """

    def __init__(self, low: float, high: float, top_px: float, bottom_px: float) -> None:
        self.low, self.high = low, high if high > low else low + 1.0
        self.top_px, self.bottom_px = top_px, bottom_px

    @property
    def per_px(self) -> float:
        """Return how much a pixel is."""
        return (self.high - self.low) / max(self.bottom_px - self.top_px, 1.0)

    def y_of(self, value: float) -> float:
        """Return the height of a value, px."""
        return self.bottom_px - (value - self.low) / self.per_px

    def value_of(self, y_px: float) -> float:
        """Return the value at a height, px."""
        return self.low + (self.bottom_px - y_px) * self.per_px


def steady_range(
    wanted: tuple[float, float], shown: tuple[float, float] | None
) -> tuple[float, float]:
    """Return the range to show for a wanted one: kept while it fits, else with room around.

    Without it a scale that follows noisy pictures would tremble.
    """
    low, high = wanted
    span = high - low
    if shown is not None:
        fits = shown[0] <= low and high <= shown[1]
        if fits and span > 0.7 * (shown[1] - shown[0]):
            return shown
    room = 0.06 * span if span > 0 and math.isfinite(span) else 0.5
    return low - room, high + room
