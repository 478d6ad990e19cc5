"""What a guided measurement is: boxes to draw, numbers to type, an answer to use. No widgets."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Frame
from thermview.regions import RegionPixels, Shape
from thermview.session.measure import converter, repair_for
from thermview.session.worth import Judge

UNEVEN_K = 3.0
"""Standard deviation over a box that lies on more than one surface: a judgement, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What the camera sees in a shape: true apparent temperatures, K."""

    shape: Shape
    values_k: NDArray[np.float64]
    camera_k: NDArray[np.float64]
    """As the camera itself says, before its calibration."""
    box: tuple[int, int]
    """Rows and columns of the box around the shape."""

    @property
    def mean_k(self) -> float:
        """Return the mean, K; NaN where nothing has a value."""
        known = self.values_k[np.isfinite(self.values_k)]
        return float(known.mean()) if known.size else math.nan

    @property
    def scatter_k(self) -> float:
        """Return the scatter over the pixels, K."""
        known = self.values_k[np.isfinite(self.values_k)]
        return float(known.std()) if known.size else math.nan

    @property
    def pixels(self) -> int:
        """Return how many pixels have a value."""
        return int(np.isfinite(self.values_k).sum())


@dataclass(frozen=True, slots=True)
class Asked:
    """A number to type: its words, first value, decimals, limits, unit and explanation.

    One that is `read` off an instrument has no first value to go by: it must be typed.
    """

    words: str
    value: float
    decimals: int = 2
    limits: tuple[float, float] = (0.01, 1.0)
    suffix: str = ""
    tip: str = ""
    read: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """The result in words, whether it may be used, and what can be done with it, by words.

    A result that may be used is not always a `good` one.
    """

    words: str
    usable: bool
    uses: Mapping[str, Callable[[], object]] = field(default_factory=dict)
    tip: str = ""
    good: bool = True


class Guide:
    """One guided measurement.

    Attributes
    ----------
    title : str
        What is measured.
    boxes : sequence of str
        What to draw a box on, one after another; may be none.
    asked : mapping of str to Asked
        Numbers to type, by name.
    note : str
        What to heed.
    """

    title = ""
    boxes: Sequence[str] = ()
    note = ""

    def __init__(self) -> None:
        self.asked: dict[str, Asked] = {}

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return what the boxes (in their order) and numbers give; all boxes are drawn."""
        raise NotImplementedError


def uneven_words(look: Look) -> str:
    """Return what is wrong with a place that is not of one temperature; empty where it is."""
    if look.scatter_k > UNEVEN_K:
        return f"not even: it scatters by {look.scatter_k:.1f} K; draw it on one surface only"
    return ""


def look_at(frame: Frame, shape: Shape, judge: Judge) -> Look:
    """Return what a shape's pixels show in a frame, bad pixels filled."""
    repair = repair_for(judge.profile, frame.shape)
    counts = frame.counts if repair is None else repair.repair(frame.counts)
    pixels = RegionPixels.of(shape, frame.shape)
    part = counts.ravel()[pixels.indices]
    convert = converter(frame.scale, None, judge.profile)
    camera_k = frame.scale.kelvin(part)
    values_k = camera_k if convert is None else convert(part).astype(np.float64)
    return Look(shape, values_k, camera_k, (pixels.box.height, pixels.box.width))


def cut_of(look: Look) -> NDArray[np.float64]:
    """Return a box's apparent temperatures, K, shape (row, column)."""
    rows, columns = look.box
    if rows * columns != look.values_k.size:
        raise UsageError("only an upright box can be cut out of the picture")
    return look.values_k.reshape(rows, columns)
