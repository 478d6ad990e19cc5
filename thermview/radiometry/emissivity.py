"""Emissivity from a table or measured in place, and the reflected temperature, with uncertainty."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from thermview.errors import InputError
from thermview.paths import resource
from thermview.radiometry.equation import leaving_radiance
from thermview.radiometry.planck import band_radiance
from thermview.radiometry.setting import Setting
from thermview.radiometry.uncertainty import from_limit

EMISSIVITY_LIMIT: Final = 0.1
"""Standard uncertainty above which a measured emissivity is not worth entering."""

LACQUER_NOTE: Final = (
    "Clear lacquers and coatings are opaque to the camera: the reading is the coat's, at the "
    "coat's emissivity, and not of the metal under it."
)


@dataclass(frozen=True, slots=True)
class Material:
    """One row of the table: range of emissivity and where it comes from."""

    name: str
    low: float
    high: float
    metal: bool
    basis: str
    source: str
    note: str = ""

    @property
    def emissivity(self) -> float:
        """Return the middle of the range."""
        return (self.low + self.high) / 2.0

    @property
    def u(self) -> float:
        """Return the standard uncertainty: the range taken as rectangular (JCGM 100 4.3.7)."""
        return from_limit((self.high - self.low) / 2.0)


@lru_cache(maxsize=1)
def materials() -> tuple[Material, ...]:
    """Return the table of materials met on boards.

    Raises
    ------
    InputError
        The program's own table is missing or damaged.
    """
    path = resource("materials.toml")
    try:
        rows = tomllib.loads(path.read_text(encoding="utf-8"))["material"]
        return tuple(Material(**row) for row in rows)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"the table of materials {path} is damaged: {error}") from error


@dataclass(frozen=True, slots=True)
class Measured:
    """A value found in place, its standard uncertainty and largest source, and if it is of use."""

    value: float
    u: float
    dominant: str
    usable: bool
    reason: str


def emissivity_by_patch(
    apparent_k: float,
    patch_apparent_k: float,
    setting: Setting,
    *,
    patch_emissivity: float = 0.96,
    u_patch_emissivity: float = 0.01,
    u_noise_k: float = 0.05,
    u_camera_k: float = 0.0,
    u_reflected_k: float = 1.0,
) -> Measured:
    """Return a surface's emissivity from a patch of known emissivity at the same temperature.

    ε = ε_patch · (M − L_refl) / (M_patch − L_refl), M being what leaves each surface. The camera's
    own error is the same in both readings and largely cancels.

    Parameters
    ----------
    apparent_k, patch_apparent_k : float
        Means over the bare surface and over the patch beside it, K.
    setting : Setting
        Reflected temperature, window and air (its emissivity is not used).
    patch_emissivity, u_patch_emissivity : float
        Of the tape or paint.
    u_noise_k, u_camera_k, u_reflected_k : float
        Standard uncertainties of each reading, of the camera, of the reflected temperature, K.
    """

    def solve(x: Mapping[str, float]) -> float:
        room = replace(setting, reflected_k=x["reflected temperature"])
        mirrored = float(band_radiance(room.band).radiance(room.reflected_k))
        bare = float(leaving_radiance(x["noise"] + x["camera"], room)) - mirrored
        patch = float(leaving_radiance(x["noise of the patch"] + x["camera"], room)) - mirrored
        return x["patch"] * bare / patch if patch else math.nan

    return _emissivity(
        solve,
        {
            "noise": (apparent_k, u_noise_k),
            "noise of the patch": (patch_apparent_k, u_noise_k),
            "camera": (0.0, u_camera_k),
            "reflected temperature": (setting.reflected_k, u_reflected_k),
            "patch": (patch_emissivity, u_patch_emissivity),
        },
    )


def emissivity_by_contact(
    apparent_k: float,
    contact_k: float,
    setting: Setting,
    *,
    u_contact_k: float = 0.5,
    u_noise_k: float = 0.05,
    u_camera_k: float = 0.0,
    u_reflected_k: float = 1.0,
) -> Measured:
    """Return a surface's emissivity from a contact thermometer's reading of it.

    ε = (M − L_refl) / (L(contact) − L_refl). Parameters as for `emissivity_by_patch`.
    """

    def solve(x: Mapping[str, float]) -> float:
        room = replace(setting, reflected_k=x["reflected temperature"])
        band = band_radiance(room.band)
        mirrored = float(band.radiance(room.reflected_k))
        own = float(band.radiance(x["contact"])) - mirrored
        seen = float(leaving_radiance(x["noise"] + x["camera"], room)) - mirrored
        return seen / own if own else math.nan

    return _emissivity(
        solve,
        {
            "noise": (apparent_k, u_noise_k),
            "camera": (0.0, u_camera_k),
            "reflected temperature": (setting.reflected_k, u_reflected_k),
            "contact": (contact_k, u_contact_k),
        },
    )


def reflected_by_reflector(
    apparent_k: float,
    reflector_k: float,
    setting: Setting,
    *,
    reflector_emissivity: float = 0.05,
    u_reflector_emissivity: float = 0.02,
    u_reflector_k: float = 2.0,
    u_apparent_k: float = 0.3,
) -> Measured:
    """Return the reflected temperature, K, from a diffuse reflector laid beside the part.

    Crumpled and flattened aluminium foil, as in ASTM E1933's reflector method (scope seen):
    L_refl = (M − ε_r·L(T_r)) / (1 − ε_r).

    Parameters
    ----------
    apparent_k : float
        Mean over the foil, K.
    reflector_k : float
        The foil's own temperature, K: the air's will do.
    setting : Setting
        Window and air.
    u_apparent_k : float
        Standard uncertainty of `apparent_k`: the camera's error and the foil's unevenness.
    """
    band = band_radiance(setting.band)

    def solve(x: Mapping[str, float]) -> float:
        eps = x["reflector"]
        own = eps * float(band.radiance(x["reflector's temperature"]))
        leaving = float(leaving_radiance(x["camera"], setting))
        return float(band.temperature((leaving - own) / (1.0 - eps)))

    value, u, dominant = first_order(
        solve,
        {
            "camera": (apparent_k, u_apparent_k),
            "reflector": (reflector_emissivity, u_reflector_emissivity),
            "reflector's temperature": (reflector_k, u_reflector_k),
        },
    )
    good = math.isfinite(value) and math.isfinite(u)
    return Measured(value, u, dominant, good, "" if good else "the foil gives no value here")


def first_order(
    function: Callable[[Mapping[str, float]], float],
    inputs: Mapping[str, tuple[float, float]],
) -> tuple[float, float, str]:
    """Propagate standard uncertainties through a function (JCGM 100 5.1.2, independent inputs).

    Parameters
    ----------
    function : callable
        From the inputs' values by name.
    inputs : mapping of name to (value, standard uncertainty)
        Sensitivities are central differences over half an uncertainty.

    Returns
    -------
    value, u, dominant : float, float, str
        `dominant` names the input with the largest contribution.
    """
    values = {name: value for name, (value, _) in inputs.items()}
    shares = {}
    for name, (value, u) in inputs.items():
        step = u / 2.0
        up, down = (function({**values, name: value + d}) for d in (step, -step))
        shares[name] = abs(up - down)  # (up − down) / (2 · step) · u
    return function(values), math.hypot(*shares.values()), max(shares, key=lambda n: shares[n])


def _emissivity(
    solve: Callable[[Mapping[str, float]], float], inputs: Mapping[str, tuple[float, float]]
) -> Measured:
    value, u, dominant = first_order(solve, inputs)
    reason = ""
    if not (math.isfinite(value) and math.isfinite(u)) or u > EMISSIVITY_LIMIT:
        reason = (
            f"uncertain, mostly by the {dominant}: the surface is too near the reflected "
            "temperature; warm it and try again"
        )
    elif value > 1.0 + 2.0 * u:
        reason = f"comes out as {value:.2f}, above 1: the two are not at one temperature"
    elif value <= 0.0:
        reason = f"comes out as {value:.2f}, not above 0: the reflected temperature is not right"
    return Measured(min(value, 1.0), u, dominant, not reason, reason)
