"""Which curve has which of the regions' colours; it stays while others come and go."""

from __future__ import annotations

from collections.abc import Container


class ColourSlots:
    """Numbers by curve; the lowest free one is given."""

    def __init__(self) -> None:
        self._slots: dict[str, int] = {}

    def slot(self, curve_id: str) -> int:
        """Return a region's or difference's colour number."""
        if curve_id not in self._slots:
            taken = set(self._slots.values())
            self._slots[curve_id] = next(n for n in range(len(taken) + 1) if n not in taken)
        return self._slots[curve_id]

    def keep(self, alive: Container[str]) -> None:
        """Free the colours of all others."""
        self._slots = {key: slot for key, slot in self._slots.items() if key in alive}
