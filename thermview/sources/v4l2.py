"""Reads a camera from Linux's video interface: numbers, times and damage as the driver knows.

Buffers are mapped; a picture is copied out and its buffer given back at once. Waiting has our own
time-out, so that a silent camera never holds the reading thread.
"""

from __future__ import annotations

import errno
from contextlib import suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermview.errors import DeviceError, SourceLostError
from thermview.sources import v4l2_abi as abi
from thermview.sources.grabber import Grab, Stream
from thermview.sources.v4l2_node import Mapping, VideoNode, why_not

BUFFERS = 32
"""Pictures that the driver can hold while we are busy: 1.3 s at 25 per second; its most."""

_BYTES_PER_PIXEL = {"Y16": 2, "YUYV": 2, "GREY": 1}
CODES = frozenset(_BYTES_PER_PIXEL)
"""Formats that are read here; all others are left to OpenCV."""


class V4l2Grabber:
    """A `Grabber` on a video node, which it closes.

    Parameters
    ----------
    node : VideoNode
        Open.
    wanted : Stream
        What to ask for; size 0 × 0 takes the driver's own. What came is in `stream`.

    Raises
    ------
    DeviceError
        Busy, or without the format or size. The node is closed then.
    """

    def __init__(self, node: VideoNode, wanted: Stream) -> None:
        self._node = node
        self._maps: list[Mapping] = []
        try:
            self._format = self._agree(wanted)
            self.stream = Stream(
                wanted.code, self._format.width, self._format.height, self._rate(wanted.rate_hz)
            )
            self._row_bytes = self._format.width * _BYTES_PER_PIXEL[wanted.code]
            self._stride = max(self._format.bytesperline, self._row_bytes)
            self._map_buffers()
            node.ask(abi.STREAMON, abi.Word(abi.BUF_TYPE_VIDEO_CAPTURE))
        except OSError as error:
            self.close()
            raise DeviceError(why_not(node.path, error)) from error
        except BaseException:
            self.close()
            raise

    def grab(self, timeout_s: float) -> Grab | None:
        """Return the next picture, or None when none came in time.

        Raises
        ------
        SourceLostError
            The camera is gone.
        """
        if not self._node.wait(timeout_s):
            return None
        buffer = self._buffer()
        try:
            self._node.ask(abi.DQBUF, buffer)
        except OSError as error:
            # ready, and yet nothing to fetch: the driver has no stream any more
            raise SourceLostError(f"the camera at {self._node.path} is gone") from error
        grab = self._grab_of(buffer, self._maps[buffer.index][: buffer.bytesused])
        with suppress(OSError):  # gone just now: this picture still came, the next call will tell
            self._node.ask(abi.QBUF, buffer)  # overwrites what the driver said of the picture
        return grab

    def close(self) -> None:
        """Stop the stream and let go of the node; may be called again."""
        with suppress(OSError):  # gone, or closed already
            self._node.ask(abi.STREAMOFF, abi.Word(abi.BUF_TYPE_VIDEO_CAPTURE))
        for mapping in self._maps:
            mapping.close()  # one that stays keeps the node's number taken after an unplug
        self._maps.clear()
        self._node.close()

    # -- setting up --------------------------------------------------------------------------------

    def _agree(self, wanted: Stream) -> abi.Format:
        asked = abi.Format(
            type=abi.BUF_TYPE_VIDEO_CAPTURE,
            width=wanted.width_px,
            height=wanted.height_px,
            pixelformat=abi.fourcc(wanted.code),
            field=abi.FIELD_NONE,
        )
        self._node.ask(abi.S_FMT, asked)
        code = abi.fourcc_text(asked.pixelformat)
        fits = wanted.width_px in (0, asked.width) and wanted.height_px in (0, asked.height)
        if code != wanted.code or not fits:
            size = f" {wanted.width_px} × {wanted.height_px}" if wanted.width_px else ""
            raise DeviceError(
                f"{self._node.path} gives {code} {asked.width} × {asked.height} when asked for "
                f"{wanted.code}{size}; choose a layout that fits (see thermview inputs)"
            )
        return asked

    def _rate(self, wanted_hz: float | None) -> float | None:
        """Ask for a rate and return the one that holds, None where the driver does not say."""
        parameters = abi.StreamParm(type=abi.BUF_TYPE_VIDEO_CAPTURE)
        try:
            if wanted_hz:
                parameters.numerator, parameters.denominator = 1000, round(wanted_hz * 1000)
                self._node.ask(abi.S_PARM, parameters)
            else:
                self._node.ask(abi.G_PARM, parameters)
        except OSError as error:
            if error.errno != errno.ENOTTY:
                raise
            return None
        known = parameters.numerator and parameters.denominator
        return float(parameters.denominator / parameters.numerator) if known else None

    def _map_buffers(self) -> None:
        request = abi.RequestBuffers(
            count=BUFFERS, type=abi.BUF_TYPE_VIDEO_CAPTURE, memory=abi.MEMORY_MMAP
        )
        self._node.ask(abi.REQBUFS, request)
        for index in range(request.count):
            buffer = self._buffer(index)
            self._node.ask(abi.QUERYBUF, buffer)
            self._maps.append(self._node.map(buffer.length, buffer.m.offset))
            self._node.ask(abi.QBUF, buffer)

    def _buffer(self, index: int = 0) -> abi.Buffer:
        return abi.Buffer(index=index, type=abi.BUF_TYPE_VIDEO_CAPTURE, memory=abi.MEMORY_MMAP)

    # -- a picture ---------------------------------------------------------------------------------

    def _grab_of(self, buffer: abi.Buffer, content: bytes) -> Grab:
        whole = self._stride * (self._format.height - 1) + self._row_bytes
        clock = buffer.flags & abi.BUF_FLAG_TIMESTAMP_MASK
        exact = clock == abi.BUF_FLAG_TIMESTAMP_MONOTONIC
        return Grab(
            self._picture(content),
            buffer.seconds + buffer.microseconds * 1e-6 if exact else None,
            buffer.sequence,
            bool(buffer.flags & abi.BUF_FLAG_ERROR) or len(content) < whole,
            exact,
        )

    def _picture(self, content: bytes) -> NDArray[Any]:
        """Return the picture; what is missing of it is zeros."""
        height = self._format.height
        rows = np.frombuffer(content.ljust(self._stride * height, b"\0"), np.uint8)
        rows = rows[: self._stride * height].reshape(height, self._stride)[:, : self._row_bytes]
        if self.stream.code == "Y16":
            return np.ascontiguousarray(rows).view("<u2")
        if _BYTES_PER_PIXEL[self.stream.code] == 2:
            return rows.reshape(height, -1, 2)
        return rows
