"""The measurement equation, both ways.

L_app = τw·τa·[ε·L(T_obj) + (1 − ε)·L(T_refl)] + τa·(1 − τw)·L(T_w) + (1 − τa)·L(T_air), with L the
camera's band radiance (the form of ISO 18434-1:2008, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from thermview.radiometry.planck import Floats, band_radiance
from thermview.radiometry.setting import Setting


def object_gain(setting: Setting) -> float:
    """Return the share of the object's own radiance that reaches the camera, τw·τa·ε."""
    return setting.window_transmission * setting.air_transmission * setting.emissivity


def foreign_radiance(setting: Setting) -> float:
    """Return the radiance, W/(m² sr), that is not the object's: mirrored, window's and air's."""
    band = band_radiance(setting.band)
    tau_w, tau_a = setting.window_transmission, setting.air_transmission
    mirrored = tau_w * tau_a * (1.0 - setting.emissivity) * band.radiance(setting.reflected_k)
    window = tau_a * (1.0 - tau_w) * band.radiance(setting.window_k)
    return float(mirrored + window + (1.0 - tau_a) * band.radiance(setting.air_k))


def object_temperature(apparent_k: ArrayLike, setting: Setting) -> Floats:
    """Return object temperatures, K, for apparent temperatures, K, in the shape given.

    NaN where no object could look like that: what is mirrored alone would look warmer.
    """
    if setting.is_plain:
        return np.array(apparent_k, dtype=np.float64)
    band = band_radiance(setting.band)
    own = band.radiance(apparent_k) - foreign_radiance(setting)
    return band.temperature(own / object_gain(setting))


def apparent_temperature(object_k: ArrayLike, setting: Setting) -> Floats:
    """Return apparent temperatures, K, of objects of the temperatures given, K."""
    if setting.is_plain:
        return np.array(object_k, dtype=np.float64)
    band = band_radiance(setting.band)
    return band.temperature(
        object_gain(setting) * band.radiance(object_k) + foreign_radiance(setting)
    )


def leaving_radiance(apparent_k: ArrayLike, setting: Setting) -> Floats:
    """Return what leaves the surface, own and mirrored together, W/(m² sr): no window, no air."""
    surface = replace(setting, emissivity=1.0)
    seen = band_radiance(setting.band).radiance(apparent_k) - foreign_radiance(surface)
    result: Floats = seen / object_gain(surface)
    return result
