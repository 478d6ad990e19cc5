"""Names and texts of a recording, schema 1: the one place where they stand."""

from __future__ import annotations

from typing import Final

VERSION: Final = 1
VERSION_ATTRIBUTE: Final = "thermview_schema"
DEFAULT_BAND_UM: Final = (8.0, 14.0)

ENTRY: Final = "entry"
THERMAL: Final = "entry/thermal"
COUNTS: Final = "entry/thermal/counts"
TIME: Final = "entry/thermal/time"
CAMERA: Final = "entry/instrument/camera"
PROFILE: Final = "profile"
"""JSON text in the camera's group: what is known of it. Counts stay as it gave them."""
SCENE: Final = "entry/scene"
SUPPLY: Final = "entry/supply"
MARKS: Final = "entry/marks"
BOARD: Final = "entry/board"
SHINY: Final = "entry/shiny"
"""Which pixels mirror too much to be read, once somebody has looked; optional."""

SCALE_FACTOR: Final = "scale_factor"
ADD_OFFSET: Final = "add_offset"
FILL_VALUE: Final = "_FillValue"
RELATIVE: Final = "relative"
SIMULATED: Final = "simulated"

FLOAT_SCALE_K: Final = 1 / 64
"""K per count for sources that give floating-point numbers: 0 to 1023.98 K in uint16.

Rounding adds 1/(64·√12) K = 4.5 mK (standard deviation), a tenth of a good camera's noise; the
range holds a soldering iron. Count 0 stands for a pixel without a value (`_FillValue`, CF).
"""

SECONDS: Final = frozenset({"", "s", "sec", "second", "seconds"})
KELVIN: Final = frozenset({"", "k", "kelvin"})
CELSIUS: Final = frozenset({"c", "°c", "degc", "deg_c", "celsius", "degree_celsius"})

MAX_FRAMES: Final = 1 << 25
"""Frames a reader takes: six days at 60 per second. A larger claim is damage or malice."""

MAX_RESPONSE: Final = 1 << 16
"""Points of a camera's spectral response a reader takes."""

MAX_PIXELS: Final = 1 << 24
"""Pixels of a frame a reader takes."""

MAX_CHUNK_BYTES: Final = 1 << 29
"""Bytes that reading one frame may need decoded at once."""
