"""The one list of sources, and the one way to name them, on the command line and in the window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from thermview.errors import InputError, UsageError
from thermview.frames import Footage, FrameSource
from thermview.recording.generic import open_hdf5
from thermview.recording.hdf5 import check_regular_file, open_for_reading, reading
from thermview.recording.reader import is_recording, open_recording
from thermview.sources.cameras import FoundCamera, find_cameras
from thermview.sources.options import OpenOptions
from thermview.sources.replay import FootagePlayer
from thermview.sources.stack import SUFFIXES, open_stack

STORIES = {
    "short": "a rail shorted by a ceramic capacitor, fed in steps",
    "good": "a good board powering up",
    "cold-drivers": "a board whose driver chips stay cold",
}
"""Stories of the simulated board: name and what happens."""

HDF5_SUFFIXES = frozenset({".h5", ".hdf5", ".hdf", ".he5", ".nxs", ".nx5"})


@dataclass(frozen=True, slots=True)
class InputOffer:
    """One thing that can be opened: its address, name, kind, more to know, a camera's serial."""

    address: str
    name: str
    kind: str
    details: tuple[str, ...] = ()
    serial: str = ""


class AddressKind(Enum):
    """What an address names."""

    CAMERA = "camera"
    REPLAY = "replay"
    SIMULATED = "simulated"
    FILE = "file"


def parse_address(address: str) -> tuple[AddressKind, str]:
    """Split an address into its kind and the camera's number or name, the story, or the path.

    Raises
    ------
    UsageError
        An unknown story, or no camera or file named; the message lists what there is.
    """
    if not address.strip():
        raise UsageError("no input is named; give a file, camera:0 or simulated:short")
    head, colon, rest = address.partition(":")
    if head == "camera" and colon:
        if not rest.strip():
            raise UsageError(
                f"{address!r} names no camera; give camera:0, camera:1 … or its serial or name"
            )
        return AddressKind.CAMERA, rest.strip()
    if head == "replay" and colon and not Path(address).exists():
        if not rest:
            raise UsageError(f"{address!r} names no recording; give replay:FILE")
        return AddressKind.REPLAY, rest
    if head == "simulated" and (colon or not Path(address).exists()):
        story = rest or "short"
        if story not in STORIES:
            known = ", ".join(f"simulated:{name}" for name in STORIES)
            raise UsageError(f"there is no simulated board {story!r}; there are {known}")
        return AddressKind.SIMULATED, story
    return AddressKind.FILE, address


def is_live(address: str) -> bool:
    """Tell whether an address names a live source: a camera, a simulated board, a replay."""
    return parse_address(address)[0] is not AddressKind.FILE


def list_inputs() -> list[InputOffer]:
    """Return the cameras found and the simulated boards."""
    cameras = [camera_offer(camera) for camera in find_cameras()]
    boards = [
        InputOffer(f"simulated:{story}", f"simulated board: {words}", "simulated")
        for story, words in STORIES.items()
    ]
    return cameras + boards


def camera_offer(camera: FoundCamera) -> InputOffer:
    """Return a camera as an offer."""
    return InputOffer(camera.address, camera.name, "camera", camera.details, camera.serial)


def open_source(address: str, options: OpenOptions | None = None) -> FrameSource:
    """Open an address as a stream of frames; a file plays at its own pace.

    Raises
    ------
    UsageError, InputError
        The address or the file cannot be used.
    DeviceError
        The camera is missing, busy or not permitted.
    """
    options = options or OpenOptions()
    kind, rest = parse_address(address)
    if kind is AddressKind.CAMERA:
        from thermview.sources.camera_opening import open_camera

        return open_camera(rest, options)
    if kind is AddressKind.SIMULATED:
        from thermview.sources.simulated import open_simulated

        return open_simulated(rest, seed=options.seed, speed=options.speed)
    return FootagePlayer(open_footage(rest, options), options.speed or 1.0)


def reopener(
    source: FrameSource, address: str, options: OpenOptions | None = None
) -> Callable[[], FrameSource]:
    """Return what opens a source anew after it was lost, for `Session.live`.

    A camera is found again by its serial, whatever its number is by then.
    """
    from thermview.sources.uvc import Camera

    if isinstance(source, Camera):
        from thermview.sources.camera_opening import camera_again

        return camera_again(source)
    return lambda: open_source(address, options)


def open_footage(address: str, options: OpenOptions | None = None) -> Footage:
    """Open a file or a folder of pictures as frames by number.

    Raises
    ------
    InputError
        One line that says why it cannot be used.
    UsageError
        The address names a live source.
    """
    options = options or OpenOptions()
    kind, _ = parse_address(address)
    if kind is not AddressKind.FILE:
        raise UsageError(f"{address} is live and has no recorded frames; record it first")
    path = Path(address)
    if path.is_dir() or path.suffix.lower() in SUFFIXES:
        return open_stack(path, options)
    _check_nameable(path)
    scale = options.scale()
    if options.dataset or not _holds_recording(path):
        return open_hdf5(path, options.dataset, scale=scale, rate_hz=options.rate_hz)
    return open_recording(path, scale=scale)


def _check_nameable(path: Path) -> None:
    if path.exists() or path.suffix.lower() in HDF5_SUFFIXES:
        check_regular_file(path)
        return
    raise InputError(
        f"{path} is neither a file nor an input; what can be opened: a recording (.h5), "
        "pictures (.tif, .png, .npy or a folder of them), camera:0, simulated:short "
        "(thermview inputs lists them)"
    )


def _holds_recording(path: Path) -> bool:
    with open_for_reading(path) as file, reading(path, "the file"):
        return ("entry" in file and "thermal" in file["entry"]) or is_recording(file)
