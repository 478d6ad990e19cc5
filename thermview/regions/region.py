"""Regions with their names and settings, differences of two of them, and sets of both."""

from __future__ import annotations

import re
import uuid
from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from thermview.errors import InputError
from thermview.regions.shapes import Shape

Statistic = Literal["min", "mean", "max"]
STATISTICS: tuple[Statistic, ...] = ("min", "mean", "max")


def new_id() -> str:
    """Return an id that no region or difference has had before."""
    return uuid.uuid4().hex[:12]


def checked_name(name: object) -> str:
    """Return `name` without blanks around it, or raise an InputError."""
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"name must be a text of at least one letter, got {name!r}")
    if not name.isprintable():
        raise InputError(f"name must be one line of readable characters, got {name!r}")
    return name.strip()


@dataclass(frozen=True)
class Region:
    """One place that is measured.

    Attributes
    ----------
    name : str
        Unique in its set; heads the region's columns in exports.
    shape : Shape
        In the picture's axes, px.
    emissivity : float or None
        Of the surface, above 0 to 1; None: the scene's.
    reflected_k : float or None
        Temperature that the surface mirrors, K; None: the scene's.
    limit_k : float or None
        Temperature that the region should stay below, K.
    statistic : "min", "mean" or "max"
        What its number on the picture shows.
    emissivity_u, reflected_u_k : float or None
        Standard uncertainties of the two; None: what is usual.
    emissivity_from : str
        Where the emissivity comes from, for people; empty: stated by hand.
    body_mm : (float, float) or None
        Width and height of the part in the region, mm; None: the placement list's, if any.
    id : str
        Stays the same through every edit.
    """

    name: str
    shape: Shape
    emissivity: float | None = None
    reflected_k: float | None = None
    limit_k: float | None = None
    statistic: Statistic = "max"
    emissivity_u: float | None = None
    reflected_u_k: float | None = None
    emissivity_from: str = ""
    body_mm: tuple[float, float] | None = None
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", checked_name(self.name))
        if self.emissivity is not None and not 0 < self.emissivity <= 1:
            raise InputError(f"emissivity must be above 0 and at most 1, got {self.emissivity:g}")
        for name, kelvin in (("reflected", self.reflected_k), ("limit", self.limit_k)):
            if kelvin is not None and not 0 < kelvin < 1e5:
                raise InputError(f"{name} temperature must be above 0 K, got {kelvin:g} K")
        for name, u in (("emissivity", self.emissivity_u), ("reflected", self.reflected_u_k)):
            if u is not None and not 0 <= u < 1e5:
                raise InputError(f"uncertainty of {name} must be 0 or more, got {u:g}")
        if self.body_mm is not None and not all(0 < side < 1e4 for side in self.body_mm):
            raise InputError(f"the part's sides must be above 0 mm, got {self.body_mm}")
        if self.statistic not in STATISTICS:
            raise InputError(
                f"statistic must be one of {', '.join(STATISTICS)}, got {self.statistic!r}"
            )


@dataclass(frozen=True)
class Difference:
    """A curve of its own: one region less another, K."""

    name: str
    minuend_id: str
    subtrahend_id: str
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", checked_name(self.name))
        if self.minuend_id == self.subtrahend_id:
            raise InputError("a difference needs two different regions")


@dataclass(frozen=True)
class RegionSet:
    """Regions and differences in the order of their list; names and ids are unique.

    Raises
    ------
    InputError
        Two things share a name, or a difference names a region that is not in the set.
    """

    regions: tuple[Region, ...] = ()
    differences: tuple[Difference, ...] = ()

    def __post_init__(self) -> None:
        names = self.names
        if len(names) < len(self.regions) + len(self.differences):
            raise InputError("two regions share an id")
        for name, number in Counter(names.values()).items():
            if number > 1:
                raise InputError(f"the name {name!r} is taken; names must differ")
        ids = {region.id for region in self.regions}
        for item in self.differences:
            if not {item.minuend_id, item.subtrahend_id} <= ids:
                raise InputError(f"difference {item.name!r} refers to a region that is not there")

    def __len__(self) -> int:
        return len(self.regions)

    @property
    def names(self) -> dict[str, str]:
        """Return the name of every id, regions first."""
        return {region.id: region.name for region in self.regions} | {
            item.id: item.name for item in self.differences
        }

    def by_id(self, region_id: str) -> Region:
        """Return the region with this id; KeyError where there is none."""
        for region in self.regions:
            if region.id == region_id:
                return region
        raise KeyError(region_id)

    def by_name(self, name: str) -> Region:
        """Return the region of this name.

        Raises
        ------
        InputError
            There is none; the message lists those there are.
        """
        for region in self.regions:
            if region.name == name:
                return region
        known = ", ".join(region.name for region in self.regions) or "none"
        raise InputError(f"there is no region {name!r}; regions here: {known}")

    def unique_name(self, stem: str) -> str:
        """Return `stem` where it is free, else the first free of "stem 2", "stem 3" …"""
        taken = set(self.names.values())
        if stem not in taken:
            return stem
        base = re.sub(r" \d+$", "", stem)
        number = 2
        while f"{base} {number}" in taken:
            number += 1
        return f"{base} {number}"

    def next_name(self, letter: str = "A") -> str:
        """Return the first free of "A1", "A2" … for an area just drawn: no designator of a part."""
        taken = set(self.names.values())
        number = 1
        while f"{letter}{number}" in taken:
            number += 1
        return f"{letter}{number}"
