"""Where a camera's profile is kept: in the user's folder by its name, and in recordings."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from thermview.errors import InputError
from thermview.frames import Footage, SourceInfo
from thermview.paths import made, user_data
from thermview.radiometry import CameraProfile, load_profile, profile_of, save_profile
from thermview.recording.footage import RecordedFootage


def recorded_profile(footage: Footage) -> CameraProfile | None:
    """Return the profile kept in a recording, None where there is none that can be used."""
    if not isinstance(footage, RecordedFootage) or footage.profile_json is None:
        return None
    try:
        return profile_of(footage.profile_json, f"in {footage.path.name}")
    except InputError:
        return None


def camera_name(info: SourceInfo) -> str:
    """Return what a camera is known by: its description with its serial number, else its name."""
    return info.camera or info.name


def profile_path(info: SourceInfo) -> Path:
    """Return the file of a camera's profile in the user's folder."""
    name = camera_name(info)
    safe = "".join(c if c.isalnum() or c in "-_" else "-" for c in name)[:40]
    code = hashlib.sha256(name.encode()).hexdigest()[:8]
    return user_data() / "cameras" / f"{safe}-{code}.json"


def kept_profile(info: SourceInfo) -> CameraProfile | None:
    """Return the profile kept for a camera, None where there is none.

    Raises
    ------
    InputError
        There is one, and it cannot be used.
    """
    path = profile_path(info)
    return load_profile(path) if path.is_file() else None


def keep_profile(info: SourceInfo, profile: CameraProfile) -> Path:
    """Keep a camera's profile for the next time, under the camera's name; return its file.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    path = profile_path(info)
    made(path.parent)
    save_profile(path, replace(profile, name=profile.name or camera_name(info)))
    return path
