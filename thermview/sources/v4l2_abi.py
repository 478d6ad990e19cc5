"""The kernel's video interface in numbers: structures and requests of linux/videodev2.h, 64 bit.

Names follow the header without its prefixes, so that they can be looked up there.
"""

from __future__ import annotations

from ctypes import (
    Structure,
    Union,
    c_char,
    c_int32,
    c_int64,
    c_uint8,
    c_uint32,
    c_ulong,
    sizeof,
)

BUF_TYPE_VIDEO_CAPTURE = 1
MEMORY_MMAP = 1
FIELD_NONE = 1
CAP_VIDEO_CAPTURE = 0x0000_0001
CAP_STREAMING = 0x0400_0000
CAP_DEVICE_CAPS = 0x8000_0000
BUF_FLAG_ERROR = 0x0040
BUF_FLAG_TIMESTAMP_MASK = 0xE000
BUF_FLAG_TIMESTAMP_MONOTONIC = 0x2000
FRMSIZE_DISCRETE = 1
FRMIVAL_DISCRETE = 1
CTRL_FLAG_DISABLED = 0x0001
CTRL_FLAG_READ_ONLY = 0x0004
CTRL_FLAG_INACTIVE = 0x0010
CTRL_FLAG_WRITE_ONLY = 0x0040
CTRL_FLAG_NEXT_CTRL = 0x8000_0000
CTRL_TYPE_INTEGER = 1
CTRL_TYPE_BOOLEAN = 2
CTRL_TYPE_MENU = 3
CTRL_TYPE_BUTTON = 4
CTRL_TYPE_CTRL_CLASS = 6


class Capability(Structure):
    """What a node is and can do."""

    _fields_ = (
        ("driver", c_char * 16),
        ("card", c_char * 32),
        ("bus_info", c_char * 32),
        ("version", c_uint32),
        ("capabilities", c_uint32),
        ("device_caps", c_uint32),
        ("reserved", c_uint32 * 3),
    )


class FmtDesc(Structure):
    """One pixel format of a list."""

    _fields_ = (
        ("index", c_uint32),
        ("type", c_uint32),
        ("flags", c_uint32),
        ("description", c_char * 32),
        ("pixelformat", c_uint32),
        ("mbus_code", c_uint32),
        ("reserved", c_uint32 * 3),
    )


class FrmSizeEnum(Structure):
    """One picture size of a format (or, where not discrete, a range of sizes)."""

    _fields_ = (
        ("index", c_uint32),
        ("pixel_format", c_uint32),
        ("type", c_uint32),
        ("width", c_uint32),
        ("height", c_uint32),
        ("rest", c_uint32 * 4),
        ("reserved", c_uint32 * 2),
    )


class FrmIvalEnum(Structure):
    """One time per frame of a size."""

    _fields_ = (
        ("index", c_uint32),
        ("pixel_format", c_uint32),
        ("width", c_uint32),
        ("height", c_uint32),
        ("type", c_uint32),
        ("numerator", c_uint32),
        ("denominator", c_uint32),
        ("rest", c_uint32 * 4),
        ("reserved", c_uint32 * 2),
    )


class Format(Structure):
    """The stream's format, to ask for and to read back."""

    _fields_ = (
        ("type", c_uint32),
        ("_pad", c_uint32),
        ("width", c_uint32),
        ("height", c_uint32),
        ("pixelformat", c_uint32),
        ("field", c_uint32),
        ("bytesperline", c_uint32),
        ("sizeimage", c_uint32),
        ("rest", c_uint8 * 176),
    )


class StreamParm(Structure):
    """The stream's time per frame."""

    _fields_ = (
        ("type", c_uint32),
        ("capability", c_uint32),
        ("capturemode", c_uint32),
        ("numerator", c_uint32),
        ("denominator", c_uint32),
        ("rest", c_uint8 * 184),
    )


class RequestBuffers(Structure):
    """How many buffers the driver should make."""

    _fields_ = (
        ("count", c_uint32),
        ("type", c_uint32),
        ("memory", c_uint32),
        ("capabilities", c_uint32),
        ("flags", c_uint8),
        ("reserved", c_uint8 * 3),
    )


class _Where(Union):
    _fields_ = (("offset", c_uint32), ("userptr", c_ulong))


class Buffer(Structure):
    """One buffer, and what the driver says of the picture in it."""

    _fields_ = (
        ("index", c_uint32),
        ("type", c_uint32),
        ("bytesused", c_uint32),
        ("flags", c_uint32),
        ("field", c_uint32),
        ("seconds", c_int64),
        ("microseconds", c_int64),
        ("timecode", c_uint8 * 16),
        ("sequence", c_uint32),
        ("memory", c_uint32),
        ("m", _Where),
        ("length", c_uint32),
        ("reserved2", c_uint32),
        ("request_fd", c_int32),
    )


class QueryCtrl(Structure):
    """One control: name, kind, range."""

    _fields_ = (
        ("id", c_uint32),
        ("type", c_uint32),
        ("name", c_char * 32),
        ("minimum", c_int32),
        ("maximum", c_int32),
        ("step", c_int32),
        ("default_value", c_int32),
        ("flags", c_uint32),
        ("reserved", c_uint32 * 2),
    )


class QueryMenu(Structure):
    """One choice of a control that is a menu."""

    _pack_ = 1
    _fields_ = (
        ("id", c_uint32),
        ("index", c_uint32),
        ("name", c_char * 32),
        ("reserved", c_uint32),
    )


class ControlValue(Structure):
    """A control's value."""

    _fields_ = (("id", c_uint32), ("value", c_int32))


class Word(Structure):
    """A bare number, where a request takes one."""

    _fields_ = (("value", c_int32),)


_WRITE, _READ = 1, 2


def _request(direction: int, number: int, structure: type[Structure]) -> int:
    return direction << 30 | sizeof(structure) << 16 | ord("V") << 8 | number


QUERYCAP = _request(_READ, 0, Capability)
ENUM_FMT = _request(_READ | _WRITE, 2, FmtDesc)
G_FMT = _request(_READ | _WRITE, 4, Format)
S_FMT = _request(_READ | _WRITE, 5, Format)
REQBUFS = _request(_READ | _WRITE, 8, RequestBuffers)
QUERYBUF = _request(_READ | _WRITE, 9, Buffer)
QBUF = _request(_READ | _WRITE, 15, Buffer)
DQBUF = _request(_READ | _WRITE, 17, Buffer)
STREAMON = _request(_WRITE, 18, Word)
STREAMOFF = _request(_WRITE, 19, Word)
G_PARM = _request(_READ | _WRITE, 21, StreamParm)
S_PARM = _request(_READ | _WRITE, 22, StreamParm)
G_CTRL = _request(_READ | _WRITE, 27, ControlValue)
S_CTRL = _request(_READ | _WRITE, 28, ControlValue)
QUERYCTRL = _request(_READ | _WRITE, 36, QueryCtrl)
QUERYMENU = _request(_READ | _WRITE, 37, QueryMenu)
ENUM_FRAMESIZES = _request(_READ | _WRITE, 74, FrmSizeEnum)
ENUM_FRAMEINTERVALS = _request(_READ | _WRITE, 75, FrmIvalEnum)


def fourcc(text: str) -> int:
    """Return the number of a four-character format code, padded with spaces."""
    return int.from_bytes(text.ljust(4)[:4].encode("ascii"), "little")


def fourcc_text(code: float) -> str:
    """Return a format code's text, empty when it is none."""
    raw = (int(code) & 0xFFFF_FFFF).to_bytes(4, "little")
    return raw.decode("ascii").strip() if raw.isascii() and raw.strip(b"\0") else ""
