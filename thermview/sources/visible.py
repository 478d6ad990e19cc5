"""A second, visible camera beside the thermal one: its newest picture in grey, for looking at."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import DeviceError
from thermview.sources.cameras import FoundCamera, find_camera
from thermview.sources.capture import Capture, open_capture

PAUSE_S = 0.1  # between two pictures: more often the board under them does not change
MOST_FAILURES = 30
JOIN_S = 3.0


class VisibleCamera:
    """Reads a camera in a thread of its own and keeps the newest picture.

    Parameters
    ----------
    found : FoundCamera
    opener : callable
        Opens a camera by its number, None when it does not open.
    pause_s : float
        Between two pictures.

    Raises
    ------
    DeviceError
        It cannot be opened.
    """

    def __init__(
        self,
        found: FoundCamera,
        opener: Callable[[int], Capture | None] = open_capture,
        pause_s: float = PAUSE_S,
    ) -> None:
        capture = None if found.trouble else opener(found.index)
        if capture is None:
            trouble = found.trouble or "it is busy; close the program that uses it"
            raise DeviceError(f"{found.address} ({found.name}): {trouble}")
        self.found = found
        self._capture, self._pause_s = capture, pause_s
        self._newest: NDArray[np.uint8] | None = None
        self._over = threading.Event()
        self.lost = False
        self._thread = threading.Thread(target=self._run, name="visible camera", daemon=True)
        self._thread.start()

    def take(self) -> NDArray[np.uint8] | None:
        """Return the newest picture, grey, shape (row, column), once; None without a new one."""
        newest, self._newest = self._newest, None
        return newest

    def close(self) -> None:
        """Let go of the camera, once a read under way has returned."""
        self._over.set()
        self._thread.join(JOIN_S)

    def _run(self) -> None:
        failures = 0
        while not self._over.is_set() and failures < MOST_FAILURES:
            good, picture = self._capture.read()
            if good and picture is not None:
                failures = 0
                self._newest = grey_of(picture)
            else:
                failures += 1
            self._over.wait(self._pause_s)
        self.lost = not self._over.is_set()
        self._capture.release()


def open_visible(address: str) -> VisibleCamera:
    """Open the camera that an address such as ``camera:1`` names.

    Raises
    ------
    DeviceError
        There is none, or it cannot be opened.
    """
    return VisibleCamera(find_camera(address.removeprefix("camera:")))


def grey_of(picture: NDArray[Any]) -> NDArray[np.uint8]:
    """Return a colour picture (blue, green, red) in grey, weighted as ITU-R BT.601 does."""
    import cv2

    if picture.ndim == 3 and picture.shape[2] == 3:
        return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    plain = picture[..., 0] if picture.ndim == 3 else picture
    return np.ascontiguousarray(plain, dtype=np.uint8)
