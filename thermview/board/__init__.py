"""Boards: parts and their placement lists, landmarks, and the view that they give."""

from thermview.board.packages import body_size_mm
from thermview.board.parts import Part
from thermview.board.placement import format_placement, load_placement, parse_placement
from thermview.board.side import parts_seen, side_seen
from thermview.board.view import (
    BoardView,
    Landmark,
    fit_homography,
    format_landmarks,
    load_landmarks,
    parse_landmarks,
    part_outline_px,
    save_landmarks,
    view_of,
)

__all__ = [
    "BoardView",
    "Landmark",
    "Part",
    "body_size_mm",
    "fit_homography",
    "format_landmarks",
    "format_placement",
    "load_landmarks",
    "load_placement",
    "parse_landmarks",
    "parse_placement",
    "part_outline_px",
    "parts_seen",
    "save_landmarks",
    "side_seen",
    "view_of",
]
