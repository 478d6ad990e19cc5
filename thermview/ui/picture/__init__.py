"""The picture: frames in colour, regions on them, stills."""

from thermview.ui.picture.still import render_still
from thermview.ui.picture.tools import ToolKind
from thermview.ui.picture.view import PictureView

__all__ = ["PictureView", "ToolKind", "render_still"]
