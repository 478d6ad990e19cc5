"""OpenCV's video capture as a grabber: Windows, macOS, and formats that the direct reader lacks.

It hides lost and damaged pictures, so both can only be told from times here.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any, Protocol

from thermview.errors import SourceLostError
from thermview.sources.grabber import Grab, Stream
from thermview.sources.hush import hush_opencv
from thermview.sources.v4l2_abi import fourcc, fourcc_text

_FAST_FAILURE_S = 0.2
_FAST_FAILURES_MEAN_LOST = 20


class Capture(Protocol):
    """What is used of OpenCV's capture, so that tests can put one of their own in its place."""

    def read(self) -> tuple[bool, Any]: ...  # noqa: D102
    def set(self, prop: int, value: float) -> bool: ...  # noqa: D102
    def get(self, prop: int) -> float: ...  # noqa: D102
    def release(self) -> None: ...  # noqa: D102


def open_capture(index: int) -> Capture | None:
    """Open camera `index`, or return None when it does not open.

    On Linux a silent camera then blocks a read for one second: see `thermview/__init__.py`.
    """
    import cv2

    hush_opencv()
    backend = cv2.CAP_V4L2 if sys.platform.startswith("linux") else cv2.CAP_ANY
    capture = cv2.VideoCapture(index, backend)
    if not capture.isOpened():
        capture.release()
        return None
    return capture


class OpenCvGrabber:
    """A `Grabber` on OpenCV's capture, which it releases.

    A grab waits as long as the capture does (one second on Linux), whatever its time-out.

    Parameters
    ----------
    capture : Capture
        Open.
    wanted : Stream
        What to ask for; a capture says yes to all, so what came shows in the pictures. Without a
        code 16-bit raw is tried, else OpenCV converts to colour.
    present : callable
        Tells whether the device is still there.
    """

    def __init__(
        self,
        capture: Capture,
        wanted: Stream,
        *,
        present: Callable[[], bool] = lambda: True,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        self._capture = capture
        self._present = present
        self._clock = clock
        self._sleep = sleep
        self._released = False
        self._fast_failures = 0
        self._ask_for(wanted)
        self.stream = self._agreed()

    def grab(self, timeout_s: float) -> Grab | None:
        """Return the next picture, or None when none came.

        Raises
        ------
        SourceLostError
            The camera is gone.
        """
        import cv2

        began = self._clock()
        good, picture = self._capture.read()
        if good and picture is not None:
            self._fast_failures = 0
            return Grab(picture, self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0)
        self._nothing_came(self._clock() - began, timeout_s)
        return None

    def close(self) -> None:
        """Let go of the camera; may be called again."""
        if not self._released:
            self._released = True
            self._capture.release()

    def _nothing_came(self, took_s: float, timeout_s: float) -> None:
        """Tell a stall (the wait was long) from an unplugged camera (it fails at once)."""
        self._fast_failures = self._fast_failures + 1 if took_s < _FAST_FAILURE_S else 0
        if not self._present() or self._fast_failures >= _FAST_FAILURES_MEAN_LOST:
            raise SourceLostError("the camera is gone")
        if self._fast_failures:
            self._sleep(min(timeout_s, 0.05))

    def _ask_for(self, wanted: Stream) -> None:
        import cv2

        capture = self._capture
        capture.set(cv2.CAP_PROP_CONVERT_RGB, 0)
        capture.set(cv2.CAP_PROP_FOURCC, fourcc(wanted.code or "Y16"))
        if not wanted.code and fourcc_text(capture.get(cv2.CAP_PROP_FOURCC)) != "Y16":
            capture.set(cv2.CAP_PROP_CONVERT_RGB, 1)  # else packed video comes as bare bytes
        if wanted.width_px and wanted.height_px:
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, wanted.width_px)
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, wanted.height_px)
        if wanted.rate_hz:
            capture.set(cv2.CAP_PROP_FPS, wanted.rate_hz)

    def _agreed(self) -> Stream:
        import cv2

        get = self._capture.get
        rate_hz = get(cv2.CAP_PROP_FPS)
        return Stream(
            fourcc_text(get(cv2.CAP_PROP_FOURCC)),
            max(0, int(get(cv2.CAP_PROP_FRAME_WIDTH))),
            max(0, int(get(cv2.CAP_PROP_FRAME_HEIGHT))),
            rate_hz if 0 < rate_hz < 10_000 else None,
        )
