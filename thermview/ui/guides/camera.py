"""Measuring the camera itself on the picture: contact readings, its spread on an edge, a palm."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from thermview.errors import UsageError
from thermview.radiometry import CameraProfile, apparent_temperature, setting_for
from thermview.radiometry.calibration import (
    Calibration,
    CalibrationKind,
    ContactPoint,
    fit_calibration,
)
from thermview.radiometry.camera_check import CheckItem, Verdict, check_hand
from thermview.radiometry.emissivity import first_order
from thermview.radiometry.size import Spread, edge_distances, spread_from_edge, spread_from_wire
from thermview.ui.desk import Desk
from thermview.ui.guides.guide import Answer, Asked, Guide, Look, cut_of, uneven_words
from thermview.ui.guides.surfaces import ANY_K, TYPED


def fitted(points: Sequence[ContactPoint]) -> Calibration | None:
    """Return the richest calibration that the readings allow; None without any.

    Readings at nearly one temperature give no slope, however many they are.
    """
    trouble: UsageError | None = None
    for kind in reversed(CalibrationKind):
        if len(points) >= kind.parameters:
            try:
                return fit_calibration(points, kind=kind)
            except UsageError as error:
                trouble = error
    if trouble is not None:
        raise trouble
    return None


class CalibrationGuide(Guide):
    """One contact reading of a dull surface."""

    title = "contact reading for the camera"
    boxes = ("draw a box on a dull, even surface that the thermometer touches",)
    note = (
        "Black tape on a metal block or a cup of water works well. One reading corrects an offset, "
        "two at different temperatures a line, three or more a curve. Never touch live parts."
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        unit = desk.display.unit
        self.asked = {
            "contact": Asked(
                "the thermometer reads",
                unit.from_kelvin(313.15),
                1,
                ANY_K,
                f" {unit.symbol}",
                TYPED,
                read=True,
            ),
            "u": Asked(
                "±", 0.5, 2, (0.01, 20.0), f" {unit.difference_symbol}", "standard uncertainty"
            ),
            "emissivity": Asked("emissivity", 0.96, tip="matt black tape: about 0.96"),
        }

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return how far the camera is off, and take it into the profile when used."""
        desk = self._desk
        session, unit = desk.session, desk.display.unit
        assert session is not None
        contact_k, u_contact_k = unit.to_kelvin(numbers["contact"]), numbers["u"] / unit.per_kelvin

        def expected(values: Mapping[str, float]) -> float:
            setting = setting_for(min(values["emissivity"], 1.0), None, session.scene)
            assert setting is not None
            return float(apparent_temperature(values["thermometer"], setting))

        expected_k, u_k, _ = first_order(
            expected,
            {"thermometer": (contact_k, u_contact_k), "emissivity": (numbers["emissivity"], 0.01)},
        )
        profile = desk.optics.profile
        undone = _before_calibration(profile, looks[0])
        if not math.isfinite(undone):
            return Answer("the camera gives no value there", usable=False)
        if words := uneven_words(looks[0]):
            return Answer(words, usable=False)
        u_k = math.hypot(u_k, looks[0].scatter_k)  # the thermometer touches one point of it
        point = ContactPoint(undone, expected_k, max(u_k, 0.01))
        off_k = undone - expected_k
        sign = "high" if off_k > 0 else "low"
        words = (
            f"the camera reads {abs(off_k) * unit.per_kelvin:.1f} {unit.difference_symbol} too "
            f"{sign} here, ± {u_k * unit.per_kelvin:.1f}"
        )

        def use() -> None:
            known = profile.calibration.points if profile.calibration is not None else ()
            desk.optics.change_profile(calibration=fitted((*known, point)))
            desk.say("info", "contact reading kept with the camera; undo takes it back")

        return Answer(words, True, {"take this reading": use})


def _before_calibration(profile: CameraProfile, look: Look) -> float:
    """Return what the camera sees, K, its own corrections undone but its error still in it."""
    kelvin = replace(profile, calibration=None).apparent(look.camera_k)
    known = kelvin[np.isfinite(kelvin)]
    return float(known.mean()) if known.size else math.nan


class EdgeGuide(Guide):
    """The camera's spread on the straight edge of a warm body."""

    title = "the camera's spread, on an edge"
    boxes = ("draw a box across one straight edge of a warm body, and little else",)
    note = (
        "A warm metal ruler or a card before a warm cup; slightly slanted is best. Focus first. "
        "Small parts are then corrected for what they lose, or called too small."
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return the spread, and keep it with the camera when used."""
        return _spread_answer(self._desk, spread_from_edge(*edge_distances(cut_of(looks[0]))))


class WireGuide(Guide):
    """The camera's spread on a hot straight wire of known width."""

    title = "the camera's spread, on a wire"
    boxes = ("draw a box across a hot straight wire on even ground, and little else",)
    note = (
        "A bare resistance wire at some volts, slightly slanted: a hot wire burns, let no tool "
        "short it. Focus first. Its width must be known; a thin one tells most."
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._mm_per_px = desk.display.mm_per_px
        unit = " px" if self._mm_per_px is None else " mm"
        self.asked = {
            "width": Asked("width of the wire", 1.0, 2, (0.01, 100.0), unit, TYPED, read=True)
        }

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return the spread, and keep it with the camera when used."""
        width_px = numbers["width"] / (self._mm_per_px or 1.0)
        across = edge_distances(cut_of(looks[0]))  # both sides of a wire have one direction
        return _spread_answer(self._desk, spread_from_wire(*across, width_px))


def _spread_answer(desk: Desk, spread: Spread) -> Answer:
    words = f"a point spreads over {spread.sigma_px:.2f} ± {max(spread.u_px, 0.01):.2f} pixels"

    def use() -> None:
        desk.optics.change_profile(spread=spread)
        desk.say("info", "spread kept with the camera; undo takes it back")

    tip = "standard deviation of a Gaussian spread, without the pixel's own square"
    return Answer(words, True, {"keep for this camera": use}, tip)


class PalmGuide(Guide):
    """A palm as a coarse standard."""

    title = "a hand near 33 °C?"
    boxes = ("hold a palm before the camera and draw a box on it",)
    note = "Common practice, no source: a bare palm is 30 to 36 °C and emits nearly fully."

    def __init__(self, then: Callable[[CheckItem], object]) -> None:
        super().__init__()
        self._then = then

    def answer(self, looks: Sequence[Look], numbers: Mapping[str, float]) -> Answer:
        """Return whether the palm looks like one."""
        item = check_hand(looks[0].values_k)
        known = item.verdict is not Verdict.UNKNOWN
        good = item.verdict is Verdict.GOOD
        return Answer(item.words, known, {"note it": lambda: self._then(item)}, good=good)
