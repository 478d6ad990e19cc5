"""The regions being edited: every change is a step that can be undone."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from typing import Any

from thermview.errors import InputError, UsageError
from thermview.regions.region import Difference, Region, RegionSet, checked_name, new_id
from thermview.regions.shapes import Shape

Step = tuple[str, RegionSet]
"""A step's label, for the user, and the set that stood before it (undo) or after it (redo)."""


class RegionDocument:
    """A set of regions, the steps that led to it, and those undone.

    Between `begin_gesture` and `end_gesture` changes gather into one step, so that a drag is
    undone at once. `on_change` callbacks run after every change, with nothing passed.
    """

    def __init__(self, start: RegionSet | None = None) -> None:
        self._current = start or RegionSet()
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        self._gesture: Step | None = None
        self.on_change: list[Callable[[], None]] = []

    @property
    def current(self) -> RegionSet:
        """Return the set as it stands."""
        return self._current

    # --- steps

    @property
    def depth(self) -> int:
        """Return how many steps there are to undo."""
        return len(self._undo)

    @property
    def can_undo(self) -> bool:
        """Tell whether there is a step to undo."""
        return bool(self._undo) or self._gesture is not None

    @property
    def can_redo(self) -> bool:
        """Tell whether there is an undone step to do again."""
        return bool(self._redo)

    @property
    def undo_label(self) -> str:
        """Return what `undo` would take back, or an empty text."""
        if self._gesture is not None:
            return self._gesture[0]
        return self._undo[-1][0] if self._undo else ""

    @property
    def redo_label(self) -> str:
        """Return what `redo` would do again, or an empty text."""
        return self._redo[-1][0] if self._redo else ""

    def undo(self) -> None:
        """Take the last step back; nothing where there is none. Ends a gesture first."""
        self.end_gesture()
        if self._undo:
            label, before = self._undo.pop()
            self._redo.append((label, self._current))
            self._show(before)

    def redo(self) -> None:
        """Do the last undone step again; nothing where there is none."""
        self.end_gesture()
        if self._redo:
            label, after = self._redo.pop()
            self._undo.append((label, self._current))
            self._show(after)

    def begin_gesture(self, label: str) -> None:
        """Start gathering changes into one step named `label`."""
        self.end_gesture()
        self._gesture = (label, self._current)

    def end_gesture(self) -> None:
        """Close the gathered step; one that changed nothing in the end is no step."""
        if self._gesture is None:
            return
        step, self._gesture = self._gesture, None
        if step[1] != self._current:
            self._undo.append(step)

    def cancel_gesture(self) -> None:
        """Take back what the open gesture changed, and forget it."""
        if self._gesture is None:
            return
        (_, before), self._gesture = self._gesture, None
        if before != self._current:
            self._show(before)

    def reset(self, regions: RegionSet) -> None:
        """Start anew from `regions` (another recording is open); nothing to undo remains."""
        self._undo.clear()
        self._redo.clear()
        self._gesture = None
        self._show(regions)

    def _change(self, label: str, after: RegionSet) -> None:
        if after == self._current:
            return
        self._redo.clear()
        if self._gesture is None:
            self._undo.append((label, self._current))
        self._show(after)

    def _show(self, regions: RegionSet) -> None:
        self._current = regions
        for callback in tuple(self.on_change):
            callback()

    # --- changes

    def add(self, shape: Shape, name: str | None = None) -> Region:
        """Add a region; its name is made unique, or the next free "R1" … where not given."""
        free = self._current.unique_name(name) if name else self._current.next_name()
        region = Region(free, shape)
        self._extend(f"add {region.name}", [region])
        return region

    def load(self, regions: RegionSet) -> None:
        """Replace everything by `regions`, as a step."""
        self._change("load regions", regions)

    def replace(self, region: Region, label: str | None = None) -> None:
        """Put `region` in the place of the one with its id.

        Raises
        ------
        KeyError
            No region has this id.
        InputError
            Its name belongs to another.
        """
        self._current.by_id(region.id)
        regions = tuple(region if old.id == region.id else old for old in self._current.regions)
        self._change(label or f"change {region.name}", replace(self._current, regions=regions))

    def set_shape(self, region_id: str, shape: Shape) -> None:
        """Give a region another shape."""
        region = self._current.by_id(region_id)
        self.replace(replace(region, shape=shape), f"reshape {region.name}")

    def move(self, ids: Collection[str], dx: float, dy: float) -> None:
        """Move regions together by `dx` to the right and `dy` down, px."""
        regions = tuple(
            replace(region, shape=region.shape.moved(dx, dy)) if region.id in ids else region
            for region in self._current.regions
        )
        self._change(f"move {self._called(ids)}", replace(self._current, regions=regions))

    def configure(self, region_id: str, **settings: Any) -> None:
        """Set what a region states besides its name and shape, such as `emissivity`.

        Raises
        ------
        InputError
            A value is out of its range; nothing changes.
        """
        region = self._current.by_id(region_id)
        self.replace(replace(region, **settings), f"settings of {region.name}")

    def rename(self, item_id: str, name: str) -> None:
        """Rename a region or a difference.

        Raises
        ------
        InputError
            The name is empty or belongs to another.
        """
        wanted = checked_name(name)
        old = self._current.names[item_id]
        if wanted != old and wanted in self._current.names.values():
            raise InputError(f"the name {wanted!r} is taken; choose another")
        current = self._current
        after = RegionSet(
            tuple(replace(r, name=wanted) if r.id == item_id else r for r in current.regions),
            tuple(replace(d, name=wanted) if d.id == item_id else d for d in current.differences),
        )
        self._change(f"rename {old} to {wanted}", after)

    def remove(self, ids: Collection[str]) -> None:
        """Delete regions and differences; a deleted region's differences go with it."""
        current = self._current
        gone = set(ids)
        after = RegionSet(
            tuple(region for region in current.regions if region.id not in gone),
            tuple(
                item
                for item in current.differences
                if not gone & {item.id, item.minuend_id, item.subtrahend_id}
            ),
        )
        self._change(f"delete {self._called(ids)}", after)

    def reorder(self, region_id: str, place: int) -> None:
        """Move a region to `place` (from 0) in the list."""
        region = self._current.by_id(region_id)
        rest = [other for other in self._current.regions if other.id != region_id]
        rest.insert(place, region)
        self._change(f"reorder {region.name}", replace(self._current, regions=tuple(rest)))

    def add_difference(self, minuend_id: str, subtrahend_id: str, name: str = "") -> Difference:
        """Add the curve "first less second"; named "FIRST − SECOND" where not given."""
        first, second = self._current.by_id(minuend_id), self._current.by_id(subtrahend_id)
        stem = name or f"{first.name} − {second.name}"
        item = Difference(self._current.unique_name(stem), first.id, second.id)
        differences = (*self._current.differences, item)
        self._change(f"add {item.name}", replace(self._current, differences=differences))
        return item

    # --- copies

    def duplicate(self, ids: Collection[str], dx: float = 8.0, dy: float = 8.0) -> list[Region]:
        """Copy regions a little aside; return the copies."""
        return self.copy_shifted(ids, dx, dy, suffix="")

    def copy_shifted(
        self, ids: Collection[str], dx: float, dy: float, suffix: str = " B"
    ) -> list[Region]:
        """Copy regions to an equal channel that lies `dx` to the right and `dy` down, px.

        The copies keep their settings; their names are the old ones with `suffix`, made unique.
        """
        return self._copy(ids, lambda shape: shape.moved(dx, dy), suffix)

    def copy_mirrored_x(
        self, ids: Collection[str], axis_x: float, suffix: str = " B"
    ) -> list[Region]:
        """Copy regions to an equal channel across the upright line x = `axis_x`."""
        return self._copy(ids, lambda shape: shape.mirrored_x(axis_x), suffix)

    def copy_mirrored_y(
        self, ids: Collection[str], axis_y: float, suffix: str = " B"
    ) -> list[Region]:
        """Copy regions to an equal channel across the level line y = `axis_y`."""
        return self._copy(ids, lambda shape: shape.mirrored_y(axis_y), suffix)

    def _copy(
        self, ids: Collection[str], changed: Callable[[Shape], Shape], suffix: str
    ) -> list[Region]:
        if unknown := set(ids) - {region.id for region in self._current.regions}:
            raise UsageError(f"only regions can be copied, not {sorted(unknown)}")
        names = self._current
        copies: list[Region] = []
        for region in self._current.regions:
            if region.id not in ids:
                continue
            name = names.unique_name(region.name + suffix)
            copy = replace(region, id=new_id(), name=name, shape=changed(region.shape))
            names = replace(names, regions=(*names.regions, copy))
            copies.append(copy)
        self._extend(f"copy {self._called(ids)}", copies)
        return copies

    def _extend(self, label: str, more: Sequence[Region]) -> None:
        regions = (*self._current.regions, *more)
        self._change(label, replace(self._current, regions=regions))

    def _called(self, ids: Collection[str]) -> str:
        """Return the name of the one thing meant, or how many there are."""
        names = [name for key, name in self._current.names.items() if key in ids]
        return names[0] if len(names) == 1 else f"{len(names)} regions"
