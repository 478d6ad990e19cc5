"""What stands between an object's temperature and what the camera would read off a black body."""

from __future__ import annotations

import math
from dataclasses import dataclass

from thermview.errors import UsageError
from thermview.frames import Scene
from thermview.radiometry.planck import DEFAULT_BAND, Band, ResponseCurve

ASSUMED_REFLECTED_K = 296.15
"""Taken for surroundings of which nothing is stated: 23 °C."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One surface and the way from it to the camera; hashable, so that tables are kept by it.

    Attributes
    ----------
    emissivity : float
        Of the surface within the band, above 0 and up to 1.
    reflected_k : float
        Temperature of what the surface mirrors, K.
    air_k, air_transmission : float
        Of the air between window and camera.
    window_k, window_transmission : float
        Of an infrared window in front of the camera (its reflection counts as its own heat).
    band : tuple of float, or ResponseCurve
        Limits in µm of a flat response, or the response.
    """

    emissivity: float = 1.0
    reflected_k: float = ASSUMED_REFLECTED_K
    air_k: float = ASSUMED_REFLECTED_K
    air_transmission: float = 1.0
    window_k: float = ASSUMED_REFLECTED_K
    window_transmission: float = 1.0
    band: Band = DEFAULT_BAND

    def __post_init__(self) -> None:
        for name in ("emissivity", "air_transmission", "window_transmission"):
            value = getattr(self, name)
            if not 0.0 < value <= 1.0:
                raise UsageError(
                    f"the {name.replace('_', ' ')} is {value}; it must be above 0 and at most 1"
                )
        for name in ("reflected_k", "air_k", "window_k"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 1.0 <= value <= 10_000.0):
                raise UsageError(
                    f"the {name.removesuffix('_k')} temperature is {value} K; "
                    "it must lie within 1 and 10000 K"
                )

    @property
    def is_plain(self) -> bool:
        """Tell whether object and apparent temperature are the same under this setting."""
        return self.emissivity == self.window_transmission == self.air_transmission == 1.0


def setting_for(
    region_emissivity: float | None, region_reflected_k: float | None, scene: Scene
) -> Setting | None:
    """Return the setting of a region: what it states itself, else what the scene states.

    Returns
    -------
    Setting or None
        None when neither states an emissivity: the reading stays an apparent temperature. With an
        emissivity but no reflected temperature, `ASSUMED_REFLECTED_K` is taken; the window is
        taken to be as warm as the air.
    """
    emissivity = region_emissivity if region_emissivity is not None else scene.emissivity
    if emissivity is None:
        return None
    air_k = _first(scene.air_k, ASSUMED_REFLECTED_K)
    return Setting(
        emissivity=emissivity,
        reflected_k=_first(region_reflected_k, scene.reflected_k, ASSUMED_REFLECTED_K),
        air_k=air_k,
        window_k=air_k,
        window_transmission=_first(scene.window_transmission, 1.0),
        air_transmission=_first(scene.air_transmission, 1.0),
        band=scene.band_um if scene.response is None else ResponseCurve(*scene.response),
    )


def _first(*values: float | None) -> float:
    return next(value for value in values if value is not None)
