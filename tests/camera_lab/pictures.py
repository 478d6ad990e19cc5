"""The pictures that the emulated camera sends: each known to the last bit from its number."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Raw = NDArray[np.uint16]


@dataclass(frozen=True)
class Format:
    """A pixel format of the camera: its wire code, size, and rate."""

    code: str
    width: int
    height: int
    rate_hz: float = 25.0

    @property
    def size_bytes(self) -> int:
        return 2 * self.width * self.height

    @property
    def double(self) -> bool:
        """Twice the height: a picture for people above, raw counts below."""
        return self.code == "YUY2" and self.height > self.width


def known(number: int, width: int, height: int) -> Raw:
    """Return picture `number` (row, column): all 16 bits used, the number in pixel (0, 0)."""
    picture = _ground(width, height) + np.uint16(number * 13849 & 0xFFFF)
    picture[0, 0] = number & 0xFFFF
    return picture


@lru_cache(maxsize=4)
def _ground(width: int, height: int) -> Raw:
    place = np.arange(width * height, dtype=np.uint32)
    return ((place * 25173 + (place >> 5)) & 0xFFFF).astype("<u2").reshape(height, width)


def room(number: int, width: int, height: int) -> Raw:
    """Return a picture of a room at 23 °C with a warm spot, in counts of 1/64 K, with noise."""
    y, x = np.mgrid[:height, :width]
    spot_k = 20.0 * np.exp(-((x - 100) ** 2 + (y - 80) ** 2) / 200)
    noise_k = np.random.default_rng(number).normal(0, 0.05, x.shape)
    picture: Raw = np.rint((296.15 + spot_k + noise_k) * 64).astype("<u2")
    return picture


def wire_bytes(number: int, form: Format, kind: str) -> bytes:
    """Return picture `number` as the camera sends it; `kind` is ``known`` or ``room``."""
    make = known if kind == "known" else room
    if form.code == "Y16 ":
        return make(number, form.width, form.height).tobytes()
    rows = form.height // 2 if form.double else form.height
    raw = make(number, form.width, rows)
    grey = np.full((rows, form.width, 2), 128, np.uint8)
    grey[..., 0] = raw >> 8
    return grey.tobytes() + (raw.tobytes() if form.double else b"")
