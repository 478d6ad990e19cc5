"""Places on the picture: shapes, the pixels that belong to them, statistics, edits, their file."""

from thermview.regions.document import RegionDocument
from thermview.regions.file import load_regions, save_regions
from thermview.regions.masks import pixel_indices, pixel_mask
from thermview.regions.measure import NO_STATS, RegionPixels, RegionStats, measure
from thermview.regions.region import STATISTICS, Difference, Region, RegionSet, Statistic
from thermview.regions.shapes import (
    Ellipse,
    Line,
    Polygon,
    Rectangle,
    Shape,
    Spot,
    shape_from_json,
)

__all__ = [
    "NO_STATS",
    "STATISTICS",
    "Difference",
    "Ellipse",
    "Line",
    "Polygon",
    "Rectangle",
    "Region",
    "RegionDocument",
    "RegionPixels",
    "RegionSet",
    "RegionStats",
    "Shape",
    "Spot",
    "Statistic",
    "load_regions",
    "measure",
    "pixel_indices",
    "pixel_mask",
    "save_regions",
    "shape_from_json",
]
