"""Which places of a recording are shiny: kept in it, remembered of it, or found in its frames."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from thermview.errors import ThermviewError, UsageError
from thermview.frames import Footage, Mark, Scene
from thermview.paths import made, user_data, writing
from thermview.radiometry import ASSUMED_REFLECTED_K, CameraProfile
from thermview.radiometry.shiny import ShinyMap, ShinyMeter
from thermview.recording.footage import RecordedFootage
from thermview.session.power import power_on
from thermview.session.profiles import recorded_profile
from thermview.session.still import corrected_frame, still_frames

SHINY_FRAMES = 400
SPARE_S = 0.2
"""Kept before the power: the mark of a hand is never exact."""
TAKEN_BACK = "taken back by the user"


def unpowered(
    footage: Footage, marks: Iterable[Mark], power_on_s: float | None = None
) -> tuple[float, float] | None:
    """Return (start, end), s, of the frames before the power; None without a sign of it.

    Parameters
    ----------
    footage : Footage
        Its frames and the supply's log.
    marks : iterable of Mark
        Of the session, or the footage's own.
    power_on_s : float, optional
        When the power came on, known otherwise; the earliest sign counts.
    """
    if not len(footage):
        return None
    start_s = float(footage.times_s[footage.first])
    signs = (power_on(marks, footage.supply), power_on_s)
    on_s = min((sign for sign in signs if sign is not None), default=start_s)
    return (start_s, on_s - SPARE_S) if on_s - SPARE_S > start_s else None


def find_shiny(
    footage: Footage,
    interval_s: tuple[float, float],
    *,
    scene: Scene | None = None,
    camera: CameraProfile | None = None,
    contact_k: float | None = None,
    u_camera_k: float = 0.5,
    waved: bool = True,
) -> ShinyMap:
    """Return which pixels mirror too much, from the unpowered frames of an interval.

    Parameters
    ----------
    footage : Footage
        Its frames.
    interval_s : (start, end)
        While nothing was powered, s.
    scene : Scene, optional
        In place of the footage's own; tells what is mirrored, else 23 °C is assumed.
    camera : CameraProfile, optional
        What it is known to do is taken out first.
    contact_k : float, optional
        Contact reading of the unpowered board, K.
    u_camera_k : float
        Standard uncertainty of the camera, K.
    waved : bool
        See `ShinyMeter.map`.

    Raises
    ------
    UsageError
        Brightness only, or too few frames.
    InputError
        A frame cannot be read.
    """
    if footage.info.scale.relative:
        raise UsageError("shiny places are found from temperatures; this source gives brightness")
    meter = ShinyMeter()
    for frame in still_frames(footage, interval_s, SHINY_FRAMES):
        meter.take(corrected_frame(frame, camera))
    stated_k = (footage.info.scene if scene is None else scene).reflected_k
    room_k = ASSUMED_REFLECTED_K if stated_k is None else stated_k
    return meter.map(room_k, contact_k=contact_k, u_camera_k=u_camera_k, waved=waved)


def shiny_of(
    footage: Footage, power_on_s: float | None = None, marks: Iterable[Mark] | None = None
) -> ShinyMap | None:
    """Return the shiny map of a recording, None where nothing tells of one.

    What was kept of it comes first; else it is found by what passed over the board before the
    power came on.

    Parameters
    ----------
    footage : Footage
        The recording.
    power_on_s : float, optional
        When the power came on, as found otherwise than by a mark or the supply's log.
    marks : iterable of Mark, optional
        Of the session, in place of the recording's own.
    """
    kept = kept_shiny(footage)
    if kept is not None:
        return kept
    interval_s = unpowered(footage, footage.marks if marks is None else marks, power_on_s)
    if interval_s is None or footage.info.scale.relative:
        return None
    try:
        camera = recorded_profile(footage)
        found = find_shiny(footage, interval_s, camera=camera, waved=False)
    except ThermviewError:
        return None
    return found if found.known else None


def kept_shiny(footage: Footage) -> ShinyMap | None:
    """Return the map that is remembered of a recording, else the one in it; None: neither."""
    file = _memory(footage)
    if file is not None and file.is_file():
        try:
            with np.load(file, allow_pickle=False) as stored:
                return ShinyMap(
                    stored["mask"], stored["emissivity"], bool(stored["known"]), str(stored["how"])
                )
        except (OSError, ValueError, KeyError):
            return None  # a damaged memory is no memory
    return footage.shiny if isinstance(footage, RecordedFootage) else None


def remember_shiny(footage: Footage, shiny: ShinyMap | None) -> None:
    """Remember a finished recording's map, or (None) that it has none; its file is not touched.

    Raises
    ------
    OutputError
        The user's folder refuses it.
    """
    file = _memory(footage)
    if file is None:
        return
    if shiny is None:
        nothing = np.zeros((footage.info.height_px, footage.info.width_px), dtype=np.bool_)
        shiny = ShinyMap(nothing, np.full(nothing.shape, np.nan), False, TAKEN_BACK)
    made(file.parent)
    with writing(file, force=True) as partial:
        np.savez_compressed(
            partial,
            mask=shiny.mask,
            emissivity=shiny.emissivity.astype(np.float32),
            known=np.array(shiny.known),
            how=np.array(shiny.how),
        )


def _memory(footage: Footage) -> Path | None:
    """Return where a recording's map is remembered: by its place, its beginning and its size."""
    info = footage.info
    path = Path(info.address)
    if info.live or not path.is_file():
        return None
    key = f"{path.resolve()} {info.start_time.isoformat()} {info.width_px} {info.height_px}"
    return user_data() / "shiny" / f"{hashlib.sha256(key.encode()).hexdigest()[:20]}.npz"
