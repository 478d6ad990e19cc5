"""What must be said of surfaces beside their numbers, on screen and in everything written."""

from __future__ import annotations

from collections.abc import Iterable

from thermview.radiometry.emissivity import LACQUER_NOTE, materials
from thermview.radiometry.shiny import SHINY_BELOW
from thermview.radiometry.touch import METAL_NOTE
from thermview.regions import Region
from thermview.session.worth import Judge

MATERIAL = "material: "


def material_of(region: Region) -> str:
    """Return the name of the material that a region's emissivity was chosen by, or nothing."""
    words = region.emissivity_from
    return words.removeprefix(MATERIAL) if words.startswith(MATERIAL) else ""


def is_metal(region: Region) -> bool:
    """Tell whether a region is stated to be a surface that mirrors."""
    if region.emissivity is not None and region.emissivity < SHINY_BELOW:
        return True
    name = material_of(region)
    return any(row.metal for row in materials() if row.name == name)


def is_lacquered(region: Region) -> bool:
    """Tell whether a region is stated to be coated by a clear lacquer."""
    return "lacquer" in material_of(region)


def mirrors(region: Region, judge: Judge | None) -> bool:
    """Tell whether a region is, or lies partly on, a surface that mirrors."""
    return is_metal(region) or (judge is not None and judge.shiny_share(region) > 0.0)


def surface_remarks(regions: Iterable[Region], judge: Judge | None = None) -> list[str]:
    """Return what to say of the regions' surfaces, each remark once with the names it is for."""
    listed = list(regions)
    told = (
        (METAL_NOTE, [region.name for region in listed if mirrors(region, judge)]),
        (LACQUER_NOTE, [region.name for region in listed if is_lacquered(region)]),
    )
    return [f"{', '.join(names)}: {note}" for note, names in told if names]
