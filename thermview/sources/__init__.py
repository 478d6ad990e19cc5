"""Where frames come from: cameras, recordings, stacks of pictures, the simulated board."""

from thermview.sources.catalog import (
    InputOffer,
    camera_offer,
    is_live,
    list_inputs,
    open_footage,
    open_source,
    parse_address,
    reopener,
)
from thermview.sources.options import OpenOptions

__all__ = [
    "InputOffer",
    "OpenOptions",
    "camera_offer",
    "is_live",
    "list_inputs",
    "open_footage",
    "open_source",
    "parse_address",
    "reopener",
]
