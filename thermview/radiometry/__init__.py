"""Temperatures that deserve their digits: radiance, measurement equation, uncertainty, camera."""

from thermview.radiometry.equation import apparent_temperature, object_temperature
from thermview.radiometry.planck import (
    Band,
    ResponseCurve,
    band_radiance,
    spectral_radiance,
)
from thermview.radiometry.profile import (
    CameraProfile,
    load_profile,
    profile_of,
    profile_text,
    save_profile,
)
from thermview.radiometry.rise import read_rise, read_rises
from thermview.radiometry.setting import ASSUMED_REFLECTED_K, Setting, setting_for
from thermview.radiometry.tables import FrameConverter, conversion, table
from thermview.radiometry.uncertainty import (
    SOURCES,
    Doubt,
    Reading,
    Readings,
    from_limit,
    read,
    read_many,
    usual_doubt,
)

__all__ = [
    "ASSUMED_REFLECTED_K",
    "SOURCES",
    "Band",
    "CameraProfile",
    "Doubt",
    "FrameConverter",
    "Reading",
    "Readings",
    "ResponseCurve",
    "Setting",
    "apparent_temperature",
    "band_radiance",
    "conversion",
    "from_limit",
    "load_profile",
    "object_temperature",
    "profile_of",
    "profile_text",
    "read",
    "read_many",
    "read_rise",
    "read_rises",
    "save_profile",
    "setting_for",
    "spectral_radiance",
    "table",
    "usual_doubt",
]
