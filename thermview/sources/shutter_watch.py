"""Recognises a camera's shutter: the same picture, bit by bit, for longer than is ordinary."""

from __future__ import annotations

from thermview.frames.standstill import Standstill
from thermview.sources.layouts import Shutter

HUNG_S = 3.0
"""No shutter stays closed so long."""


class ShutterWatch:
    """Looks at every frame, in order; holds no pictures. See `Standstill`."""

    def __init__(self, shutter: Shutter) -> None:
        self._shutter = shutter
        self._still = Standstill(shutter.shortest_s)
        self._told = False

    def look(self, time_s: float, *, repeated: bool) -> bool:
        """Tell whether the shutter holds this frame."""
        if not self._shutter.freezes:
            return False
        self._told &= repeated
        return self._still.look(time_s, repeated=repeated)

    def warning(self) -> str:
        """Return words where the picture stands still for longer than any shutter, once."""
        if not self._still.closed or self._still.lasted_s <= HUNG_S or self._told:
            return ""
        self._told = True
        return (
            f"the picture has stood still for {HUNG_S:.0f} s, longer than a shutter does: "
            "the camera hangs; unplug it and plug it in again"
        )
