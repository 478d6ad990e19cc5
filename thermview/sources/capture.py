"""OpenCV's video capture, opened so that it neither talks nor blocks for long."""

from __future__ import annotations

import sys
from typing import Any, Protocol


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

    # its warnings would stand among the program's own lines
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    backend = cv2.CAP_V4L2 if sys.platform.startswith("linux") else cv2.CAP_ANY
    capture = cv2.VideoCapture(index, backend)
    if not capture.isOpened():
        capture.release()
        return None
    return capture


def fourcc(text: str) -> int:
    """Return the number of a four-character format code, padded with spaces."""
    return int.from_bytes(text.ljust(4)[:4].encode("ascii"), "little")


def fourcc_text(code: float) -> str:
    """Return a format code's text, empty when it is none."""
    raw = int(code).to_bytes(4, "little", signed=int(code) < 0)
    return raw.decode("ascii", "replace").strip() if raw.isascii() and raw.strip(b"\0") else ""
