"""Measuring in place what a surface emits and what it mirrors."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from thermview.radiometry import ASSUMED_REFLECTED_K, Setting, from_limit, setting_for
from thermview.radiometry.emissivity import (
    Measured,
    emissivity_by_contact,
    emissivity_by_patch,
    reflected_by_reflector,
)
from thermview.regions import Region
from thermview.session.worth import Judge
from thermview.ui.desk import Desk
from thermview.ui.guides.guide import Answer, Asked, Guide, Look, look_at, uneven_words

ANY_K = (-273.0, 3000.0)
LEAST_NOISE_K = 0.01
TYPED = "type it, and confirm by Enter"


class _OfRegions(Guide):
    """Measures for the regions that were selected when it began."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._ids = [region.id for region in desk.selected_regions()]

    def _region(self) -> Region | None:
        regions = self._desk.document.current.regions
        return next((region for region in regions if region.id in self._ids), None)

    def _called(self) -> str:
        names = [r.name for r in self._desk.document.current.regions if r.id in self._ids]
        return ", ".join(names) if len(names) <= 3 else f"{len(names)} regions"

    def _configure(self, what: str, **values: object) -> None:
        """Set the regions as one step to undo."""
        document = self._desk.document
        document.begin_gesture(what)
        for region in document.current.regions:
            if region.id in self._ids:
                document.configure(region.id, **values)
        document.end_gesture()
        self._desk.say("info", f"{what}; undo takes it back")
        self._desk.selection_changed.emit()  # the fields show it


class _Emissivity(_OfRegions):
    """What patch and contact have in common."""

    def _of_surface(self) -> tuple[Region, Look, Setting] | None:
        region, frame, session = self._region(), self._desk.shown, self._desk.session
        if region is None or frame is None or session is None:
            return None
        judge = self._desk.optics.judge()
        # the emissivity in it is not used, only what is mirrored and the way to the camera
        setting = setting_for(region.emissivity or 1.0, region.reflected_k, session.scene)
        assert setting is not None
        return region, look_at(frame, region.shape, judge), setting

    def _doubts(self, region: Region, setting: Setting, look: Look) -> dict[str, float]:
        judge = self._desk.optics.judge()
        noise_k = judge.noise_k(look.pixels) or 0.05 / math.sqrt(max(look.pixels, 1))
        return {
            "u_noise_k": max(noise_k, LEAST_NOISE_K),
            "u_camera_k": camera_u_k(judge, look.mean_k),
            "u_reflected_k": judge.doubt(region, setting, "mean", look.mean_k).reflected_k,
        }

    def _answer(self, found: Measured, origin: str) -> Answer:
        if not found.usable:
            return Answer(found.reason, usable=False)
        words = f"emissivity {found.value:.2f} ± {found.u:.2f}, mostly by the {found.dominant}"

        def use() -> None:
            self._configure(
                f"emissivity of {self._called()} measured",
                emissivity=round(found.value, 4),
                emissivity_u=round(found.u, 4),
                emissivity_from=origin,
            )

        return Answer(words, True, {f"use for {self._called()}": use}, "standard uncertainty")


class PatchGuide(_Emissivity):
    """Emissivity by a patch of tape or paint beside the surface."""

    title = "emissivity by tape or paint"
    boxes = ("draw a box on the tape or paint, beside the region and as warm as it",)
    note = (
        "Board warm, some 20 K above the room or more. Power off before you stick tape or paint on "
        "it: live parts kill, hot ones burn."
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.asked = {
            "patch": Asked("the patch's own emissivity", 0.96, tip="matt black tape: about 0.96"),
            "u": Asked("±", 0.01, limits=(0.001, 0.5), decimals=3, tip="standard uncertainty"),
        }

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return the region's emissivity."""
        surface = self._of_surface()
        if surface is None:
            return Answer("select the region first", usable=False)
        region, look, setting = surface
        if words := uneven_words(looks[0]) or uneven_words(look):
            return Answer(words, usable=False)
        found = emissivity_by_patch(
            look.mean_k,
            looks[0].mean_k,
            setting,
            patch_emissivity=numbers["patch"],
            u_patch_emissivity=numbers["u"],
            **self._doubts(region, setting, look),
        )
        return self._answer(found, f"a patch beside it ({numbers['patch']:.2f})")


class ContactGuide(_Emissivity):
    """Emissivity by a contact thermometer."""

    title = "emissivity by a contact thermometer"
    note = (
        "Let the thermometer settle. Touch nothing live: mains and charged capacitors kill; use an "
        "insulated probe, or switch off and read while it is still warm."
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        unit = desk.display.unit
        first = unit.from_kelvin(323.15)
        region = self._region()
        if region is not None and desk.shown is not None:
            seen_k = look_at(desk.shown, region.shape, desk.optics.judge()).mean_k
            first = unit.from_kelvin(seen_k) if math.isfinite(seen_k) else first
        self.asked = {
            "contact": Asked(
                "the thermometer reads", first, 1, ANY_K, f" {unit.symbol}", TYPED, read=True
            ),
            "u": Asked(
                "±", 0.5, 2, (0.01, 20.0), f" {unit.difference_symbol}", "standard uncertainty"
            ),
        }

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return the region's emissivity."""
        surface = self._of_surface()
        if surface is None:
            return Answer("select the region first", usable=False)
        region, look, setting = surface
        if words := uneven_words(look):
            return Answer(words, usable=False)
        unit = self._desk.display.unit
        found = emissivity_by_contact(
            look.mean_k,
            unit.to_kelvin(numbers["contact"]),
            setting,
            u_contact_k=numbers["u"] / unit.per_kelvin,
            **self._doubts(region, setting, look),
        )
        return self._answer(
            found, f"a contact thermometer ({numbers['contact']:.1f} {unit.symbol})"
        )


class FoilGuide(_OfRegions):
    """Reflected temperature by crumpled foil."""

    title = "what is mirrored, by crumpled foil"
    boxes = ("draw a box on the crumpled aluminium foil, laid flat beside the part",)
    note = "Crumple it and smooth it out again, shiny side up. It conducts: never on a live board."

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        unit = desk.display.unit
        assert desk.session is not None
        air_k = desk.session.scene.air_k or ASSUMED_REFLECTED_K
        self.asked = {
            "air": Asked(
                "the foil itself is at",
                unit.from_kelvin(air_k),
                1,
                ANY_K,
                f" {unit.symbol}",
                "the air's temperature will do: foil emits little",
            )
        }

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return the reflected temperature."""
        desk, look = self._desk, looks[0]
        session, unit = desk.session, desk.display.unit
        assert session is not None
        setting = setting_for(1.0, None, session.scene)
        assert setting is not None
        uneven_k = look.scatter_k / math.sqrt(max(look.pixels, 1))
        found = reflected_by_reflector(
            look.mean_k,
            unit.to_kelvin(numbers["air"]),
            setting,
            u_apparent_k=math.hypot(camera_u_k(desk.optics.judge(), look.mean_k), uneven_k),
        )
        if not found.usable:
            return Answer(found.reason, usable=False)
        shown = unit.from_kelvin(found.value)
        u = found.u * unit.per_kelvin
        words = f"mirrored: {shown:.1f} ± {u:.1f} {unit.symbol}, mostly by the {found.dominant}"
        kelvin, u_k = round(found.value, 3), round(found.u, 3)

        def use_for_all() -> None:
            desk.optics.set_scene(replace(session.scene, reflected_k=kelvin, reflected_u_k=u_k))
            desk.say("info", "what is mirrored: measured for the scene; undo takes it back")

        uses = {"use for the whole scene": use_for_all}
        if self._ids:
            uses[f"only for {self._called()}"] = lambda: self._configure(
                f"what {self._called()} mirrors measured", reflected_k=kelvin, reflected_u_k=u_k
            )
        return Answer(words, True, uses, "reflected temperature, standard uncertainty")


def camera_u_k(judge: Judge, apparent_k: float) -> float:
    """Return the camera's standard uncertainty, K: the profile's, else that of a stated ± 2 K."""
    known = judge.accuracy_k(apparent_k)
    return from_limit(2.0) if known is None else known
