"""What can be set on a camera while it streams: its driver's controls, its shutter, its layout."""

from __future__ import annotations

from dataclasses import replace

from thermview.sources.camera_opening import (
    Openers,
    controls_of_camera,
    set_camera_control,
    where_now,
    work_shutter,
)
from thermview.sources.cameras import FoundCamera
from thermview.sources.controls import Control
from thermview.sources.kept_layouts import forget_layout, keep_layout, kept_layout
from thermview.sources.uvc import Camera


class CameraKnobs:
    """The knobs of one camera, wherever it is plugged in now. Asking a device may take a while.

    Parameters
    ----------
    camera : Camera
        Open, or opened earlier: only who it is and how it is read are taken from it.
    openers : Openers, optional
        How devices are found and opened.
    """

    def __init__(self, camera: Camera, openers: Openers | None = None) -> None:
        self._camera = camera
        self._openers = openers or Openers()

    @property
    def layout(self) -> str:
        """Return the name of the stream layout in use."""
        return self._camera.choice.layout.name

    @property
    def reason(self) -> str:
        """Return why that layout is in use."""
        return self._camera.choice.reason

    @property
    def serial(self) -> str:
        """Return the camera's serial, empty where it has none."""
        origin = self._camera.origin
        return origin.found.serial if origin is not None else ""

    @property
    def has_shutter(self) -> bool:
        """Tell whether the layout names a control that works the shutter."""
        return bool(self._camera.choice.layout.shutter.control)

    @property
    def is_kept(self) -> bool:
        """Tell whether the layout in use is kept for this camera."""
        kept = kept_layout(self.serial)
        return kept is not None and replace(kept, name=self.layout) == self._camera.choice.layout

    def keep(self) -> None:
        """Read this camera by this layout from now on (see `keep_layout`)."""
        if not self.is_kept:
            origin = self._camera.origin
            chosen = origin.options.profile if origin is not None else None
            keep_layout(self.serial, chosen or self.layout)

    def forget(self) -> None:
        """Let this camera's layout be guessed again when it is opened next."""
        forget_layout(self.serial)

    def controls(self) -> tuple[Control, ...]:
        """Return the driver's controls as they stand now.

        Raises
        ------
        DeviceError
            The camera is not plugged in, or does not answer.
        """
        return controls_of_camera(self._found(), self._openers)

    def set(self, name: str, value: int) -> None:
        """Set one control (see `set_control`)."""
        set_camera_control(self._found(), name, value, self._openers)

    def work_shutter(self) -> None:
        """Work the shutter by the control that the layout names (see `work_shutter`)."""
        work_shutter(self._camera, self._found(), self._openers)

    def _found(self) -> FoundCamera:
        return where_now(self._camera, self._openers).found
