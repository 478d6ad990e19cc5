"""What a part is made of: how its body holds heat, passes it on, and looks in infrared.

Sizes are the placement list's; the rest is plausible for its kind. Emissivities lie within the
ranges customary for the materials; none is a measured value.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from enum import Enum

from thermview.board import Part


@dataclass(frozen=True, slots=True)
class Finish:
    """A surface in 8–14 µm: emissivity, and the share of its reflection that is mirror-like."""

    emissivity: float
    mirror: float


MASK = Finish(0.89, 0.15)
BENCH = Finish(0.93, 0.0)
EPOXY = Finish(0.94, 0.05)
POLYMER = Finish(0.94, 0.05)
CERAMIC = Finish(0.91, 0.10)
FERRITE = Finish(0.85, 0.10)
BARE_CAN = Finish(0.08, 0.92)
ALUMINIUM = Finish(0.15, 0.70)
SOLDER = Finish(0.20, 0.55)


class Kind(Enum):
    """Kinds of parts that differ in heat and looks."""

    CERAMIC_CAPACITOR = "ceramic capacitor"
    TANTALUM = "tantalum capacitor"
    CAN_CAPACITOR = "can capacitor"
    RESISTOR = "resistor"
    INDUCTOR = "inductor"
    CHIP = "moulded chip"
    POWER_CHIP = "chip with a soldered tab"
    RELAY = "relay"
    CONNECTOR = "connector"
    CRYSTAL = "crystal can"


@dataclass(frozen=True, slots=True)
class Anatomy:
    """One part's body.

    Attributes
    ----------
    finish : Finish
        Of its upper face.
    thickness_mm : float
    heat_j_m3_k : float
        Heat capacity by volume, hollows included.
    link_w_k : float
        From the body to the board under it.
    capped : bool
        Ends in soldered metal caps (chip parts).
    """

    finish: Finish
    thickness_mm: float
    heat_j_m3_k: float
    link_w_k: float
    capped: bool = False


FACE_FILM_W_M2_K = 10.0
"""Loss of one face of body or board: natural convection and radiation near room temperature."""

_GAP_W_M2_K = 260.0  # air under a chip, 0.1 mm
_PIN_W_K = 0.004  # one gull-wing lead, copper alloy


def kind_of(part: Part) -> Kind:
    """Tell a part's kind by its designator's letters and its package."""
    letters = re.match(r"[A-Z]*", part.designator.upper())
    prefix = letters[0] if letters else ""
    package = part.package.upper()
    if prefix == "C":
        if re.search(r"CASE|CAPMP|TANT", package):
            return Kind.TANTALUM
        return Kind.CAN_CAPACITOR if "ELEC" in package else Kind.CERAMIC_CAPACITOR
    by_prefix = {
        "R": Kind.RESISTOR,
        "L": Kind.INDUCTOR,
        "FB": Kind.INDUCTOR,
        "K": Kind.RELAY,
        "J": Kind.CONNECTOR,
        "F": Kind.CONNECTOR,
        "Y": Kind.CRYSTAL,
        "X": Kind.CRYSTAL,
    }
    tab = re.search(r"SOT-?223|TO-?252|TO-?263|DPAK|EP$", package)
    return by_prefix.get(prefix, Kind.POWER_CHIP if tab else Kind.CHIP)


def anatomy_of(part: Part) -> Anatomy:
    """Return a part's body by its kind and size."""
    long, short = max(part.width_mm, part.height_mm), min(part.width_mm, part.height_mm)
    pins = _pins(part)
    gap = _GAP_W_M2_K * part.width_mm * part.height_mm * 1e-6
    chip = Anatomy(EPOXY, 1.5 if long > 2.5 else 1.0, 1.9e6, gap + _PIN_W_K * pins)
    return {
        Kind.CERAMIC_CAPACITOR: Anatomy(CERAMIC, 0.95 * short, 3.0e6, 0.025 * short, capped=True),
        Kind.RESISTOR: Anatomy(CERAMIC, 0.3 + 0.1 * short, 3.0e6, 0.035 * short, capped=True),
        Kind.TANTALUM: Anatomy(EPOXY, 1.9, 2.4e6, 0.02 * short),
        Kind.CAN_CAPACITOR: Anatomy(ALUMINIUM, long, 1.8e6, 0.02),
        Kind.INDUCTOR: Anatomy(FERRITE, 0.5 * short, 3.2e6, 0.012 * long),
        Kind.CHIP: chip,
        Kind.POWER_CHIP: replace(chip, link_w_k=chip.link_w_k + 0.2),
        Kind.RELAY: Anatomy(POLYMER, 12.0, 1.2e6, 0.04),
        Kind.CONNECTOR: Anatomy(POLYMER, 8.0, 1.0e6, 0.006 * long),
        Kind.CRYSTAL: Anatomy(BARE_CAN, 3.5, 1.5e6, 0.02),
    }[kind_of(part)]


def _pins(part: Part) -> int:
    """Return the number of leads: the last number of the package's name, else by its girth."""
    numbers = re.findall(r"\d+", part.package)
    named = int(numbers[-1]) if numbers else 0
    by_girth = int((part.width_mm + part.height_mm) / 1.2) + 2
    return named if 3 <= named <= 256 else by_girth
