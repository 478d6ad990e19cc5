"""A video node without a kernel: answers the requests as the kernel's interface says."""

from __future__ import annotations

import errno
from collections import deque
from ctypes import Structure
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from thermview.sources import v4l2_abi as abi

_T = TypeVar("_T")
MONOTONIC = abi.BUF_FLAG_TIMESTAMP_MONOTONIC


@dataclass
class Delivered:
    """A picture that the driver has ready."""

    content: bytes
    sequence: int = 0
    stamp_s: float = 1.0
    flags: int = MONOTONIC


@dataclass
class FakeControl:
    """A control of the camera."""

    number: int
    name: bytes
    kind: int
    low: int = 0
    high: int = 10
    value: int = 5
    flags: int = 0
    choices: dict[int, bytes] = field(default_factory=dict)


class Memory:
    def __init__(self) -> None:
        self.content = b""
        self.closed = False

    def __getitem__(self, where: slice) -> bytes:
        return self.content[where]

    def close(self) -> None:
        self.closed = True


class FakeNode:
    """Plays a camera with given formats ``{code: [(width, height), …]}``."""

    def __init__(
        self,
        formats: dict[str, list[tuple[int, int]]] | None = None,
        *,
        caps: int = abi.CAP_VIDEO_CAPTURE | abi.CAP_STREAMING,
        stride: int = 0,
    ) -> None:
        self.path = Path("/dev/video7")
        self.formats = formats or {"Y16": [(8, 6)]}
        self.caps = caps
        self.stride = stride
        self.ready: deque[Delivered] = deque()
        self.refuses: dict[int, int] = {}  # request: errno
        self.controls: list[FakeControl] = []
        self.maps: list[Memory] = []
        self.queued: deque[int] = deque()
        self.out: set[int] = set()
        self.streaming = self.closed = self.gone = False
        self.rate = (1, 25)
        self.current: tuple[str, int, int] = ("", 0, 0)
        self._answers = {
            abi.QUERYCAP: self._capability,
            abi.ENUM_FMT: self._format,
            abi.ENUM_FRAMESIZES: self._size,
            abi.ENUM_FRAMEINTERVALS: self._interval,
            abi.S_FMT: self._set_format,
            abi.G_PARM: self._parameters,
            abi.S_PARM: self._set_parameters,
            abi.REQBUFS: self._request,
            abi.QUERYBUF: self._describe,
            abi.QBUF: self._queue,
            abi.DQBUF: self._dequeue,
            abi.STREAMON: self._start,
            abi.STREAMOFF: self._stop,
            abi.QUERYCTRL: self._control,
            abi.QUERYMENU: self._menu,
            abi.G_CTRL: self._get,
            abi.S_CTRL: self._set,
        }

    def ask(self, request: int, argument: Structure) -> None:
        if self.closed:
            raise OSError(errno.EBADF, "closed")
        if self.gone:
            raise OSError(errno.ENODEV, "gone")
        if request in self.refuses:
            raise OSError(self.refuses[request], "refused")
        self._answers[request](argument)  # type: ignore[operator]

    def map(self, length: int, offset: int) -> Memory:
        assert length > 0
        self.maps.append(Memory())
        return self.maps[-1]

    def wait(self, timeout_s: float) -> bool:
        return self.gone or (self.streaming and bool(self.ready))

    def close(self) -> None:
        self.closed = True

    # -- answers ---------------------------------------------------------------------------------

    def _capability(self, answer: abi.Capability) -> None:
        answer.card = b"fake camera"
        answer.capabilities = abi.CAP_DEVICE_CAPS | abi.CAP_VIDEO_CAPTURE
        answer.device_caps = self.caps

    def _format(self, answer: abi.FmtDesc) -> None:
        code = _entry(list(self.formats), answer.index)
        answer.pixelformat = abi.fourcc(code)
        answer.description = f"words for {code}".encode()

    def _size(self, answer: abi.FrmSizeEnum) -> None:
        sizes = self.formats[abi.fourcc_text(answer.pixel_format)]
        answer.width, answer.height = _entry(sizes, answer.index)
        answer.type = abi.FRMSIZE_DISCRETE

    def _interval(self, answer: abi.FrmIvalEnum) -> None:
        answer.type = abi.FRMIVAL_DISCRETE
        answer.numerator, answer.denominator = _entry([(1, 9), (1, 25)], answer.index)

    def _set_format(self, answer: abi.Format) -> None:
        code = abi.fourcc_text(answer.pixelformat)
        if code not in self.formats:
            code = next(iter(self.formats))
        sizes = self.formats[code]
        size = (answer.width, answer.height)
        width, height = size if size in sizes else sizes[0]
        self.current = (code, width, height)
        answer.pixelformat, answer.width, answer.height = abi.fourcc(code), width, height
        answer.bytesperline = self.stride or 2 * width
        answer.sizeimage = answer.bytesperline * height

    def _parameters(self, answer: abi.StreamParm) -> None:
        answer.numerator, answer.denominator = self.rate

    def _set_parameters(self, answer: abi.StreamParm) -> None:
        self.rate = (answer.numerator, answer.denominator)

    def _request(self, answer: abi.RequestBuffers) -> None:
        answer.count = min(answer.count, 4)

    def _describe(self, answer: abi.Buffer) -> None:
        answer.length = 4096
        answer.m.offset = 4096 * answer.index

    def _queue(self, answer: abi.Buffer) -> None:
        assert answer.memory == abi.MEMORY_MMAP
        self.out.discard(answer.index)
        self.queued.append(answer.index)
        answer.bytesused = answer.sequence = answer.seconds = answer.microseconds = 0  # as it does
        answer.flags = 0

    def _dequeue(self, answer: abi.Buffer) -> None:
        picture = self.ready.popleft()
        answer.index = self.queued.popleft()
        self.out.add(answer.index)
        self.maps[answer.index].content = picture.content + b"\xee" * 64  # what stood there before
        answer.bytesused = len(picture.content)
        answer.flags = picture.flags
        answer.sequence = picture.sequence
        answer.seconds = int(picture.stamp_s)
        answer.microseconds = round((picture.stamp_s - int(picture.stamp_s)) * 1e6)

    def _start(self, answer: abi.Word) -> None:
        assert answer.value == abi.BUF_TYPE_VIDEO_CAPTURE
        assert self.queued
        self.streaming = True

    def _stop(self, answer: abi.Word) -> None:
        self.streaming = False

    def _control(self, answer: abi.QueryCtrl) -> None:
        after = answer.id & ~abi.CTRL_FLAG_NEXT_CTRL
        control = _entry([c for c in self.controls if c.number > after], 0)
        answer.id, answer.type, answer.name = control.number, control.kind, control.name
        answer.minimum, answer.maximum, answer.step = control.low, control.high, 1
        answer.default_value, answer.flags = control.low, control.flags

    def _menu(self, answer: abi.QueryMenu) -> None:
        choices = self._named(answer.id).choices
        if answer.index not in choices:
            raise OSError(errno.EINVAL, "a hole")
        answer.name = choices[answer.index]

    def _get(self, answer: abi.ControlValue) -> None:
        answer.value = self._named(answer.id).value

    def _set(self, answer: abi.ControlValue) -> None:
        self._named(answer.id).value = answer.value

    def _named(self, number: int) -> FakeControl:
        return next(c for c in self.controls if c.number == number)


def _entry(entries: list[_T], index: int) -> _T:
    if index >= len(entries):
        raise OSError(errno.EINVAL, "no more")
    return entries[index]
