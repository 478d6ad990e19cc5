"""Boards: parts and their placement lists, landmarks, and the view that they give."""

from thermview.board.landmark_check import LandmarkCheck, check_landmarks
from thermview.board.netlist import Netlist, Pad, load_netlist, parse_netlist, with_nets
from thermview.board.packages import body_size_mm
from thermview.board.part_map import (
    PartMap,
    Place,
    load_part_map,
    save_part_map,
)
from thermview.board.parts import Part
from thermview.board.placement import format_placement, load_placement, parse_placement
from thermview.board.search import find_parts, kind_of, nets_of
from thermview.board.side import outlines_seen, parts_seen, side_seen
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
    "LandmarkCheck",
    "Netlist",
    "Pad",
    "Part",
    "PartMap",
    "Place",
    "body_size_mm",
    "check_landmarks",
    "find_parts",
    "fit_homography",
    "format_landmarks",
    "format_placement",
    "kind_of",
    "load_landmarks",
    "load_netlist",
    "load_part_map",
    "load_placement",
    "nets_of",
    "outlines_seen",
    "parse_landmarks",
    "parse_netlist",
    "parse_placement",
    "part_outline_px",
    "parts_seen",
    "save_landmarks",
    "save_part_map",
    "side_seen",
    "view_of",
    "with_nets",
]
