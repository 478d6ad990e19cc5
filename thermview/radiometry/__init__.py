"""Temperatures that deserve their digits: radiance, measurement equation, uncertainty, camera."""

from thermview.radiometry.equation import apparent_temperature, object_temperature
from thermview.radiometry.planck import (
    Band,
    ResponseCurve,
    band_radiance,
    spectral_radiance,
)
from thermview.radiometry.setting import ASSUMED_REFLECTED_K, Setting, setting_for
from thermview.radiometry.tables import FrameConverter, conversion, table

__all__ = [
    "ASSUMED_REFLECTED_K",
    "Band",
    "FrameConverter",
    "ResponseCurve",
    "Setting",
    "apparent_temperature",
    "band_radiance",
    "conversion",
    "object_temperature",
    "setting_for",
    "spectral_radiance",
    "table",
]
