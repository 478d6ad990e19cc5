"""The strip: chart and scrubber in one, on the picture's own colour scale."""

from thermview.ui.strip.view import StripView

__all__ = ["StripView"]
