"""What the emulated camera says of itself: USB and video class descriptors.

Layouts: USB 2.0 chapter 9; USB Device Class Definition for Video Devices 1.1, chapter 3, and
"Uncompressed Payload" for the format descriptors.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from pictures import Format

CAMERA_TERMINAL, OUTPUT_TERMINAL, PROCESSING_UNIT = 1, 2, 3
STREAM_ENDPOINT = 0x81
MAX_PACKET = 1024
_GUID_TAIL = bytes.fromhex("000010008000 00aa00389b71")
_VIDEO, _CONTROL, _STREAMING, _COLLECTION = 0x0E, 1, 2, 3
_CLASS_INTERFACE = 0x24


@dataclass(frozen=True)
class Identity:
    """Who the camera is. The vendor number is one set aside for tests (pid.codes)."""

    serial: str
    name: str = "Bench camera"
    maker: str = "Emulated"
    vendor: int = 0x1209
    product: int = 0x0001


def device(identity: Identity) -> bytes:
    """Return the device descriptor: strings 1 to 3 are maker, name and serial."""
    numbers = (identity.vendor, identity.product, 0x0100)
    return struct.pack("<BBHBBBBHHHBBBB", 18, 1, 0x0200, 0xEF, 2, 1, 64, *numbers, 1, 2, 3, 1)


def qualifier() -> bytes:
    """Return the descriptor of the other speed."""
    return struct.pack("<BBHBBBBBB", 10, 6, 0x0200, 0xEF, 2, 1, 64, 1, 0)


def text(identity: Identity, index: int) -> bytes:
    """Return string descriptor `index`."""
    if index == 0:
        return bytes([4, 3, 0x09, 0x04])  # English (US)
    words = {1: identity.maker, 2: identity.name, 3: identity.serial}.get(index, "")
    return bytes([2 + 2 * len(words), 3]) + words.encode("utf-16-le")


def interval_100ns(form: Format) -> int:
    """Return the time per picture in the class's unit."""
    return round(1e7 / form.rate_hz)


def by_code(formats: tuple[Format, ...]) -> tuple[tuple[Format, ...], ...]:
    """Return the sizes of each format, formats in the order of their first size."""
    codes = dict.fromkeys(form.code for form in formats)
    return tuple(tuple(form for form in formats if form.code == code) for code in codes)


def configuration(formats: tuple[Format, ...], *, isochronous: bool) -> bytes:
    """Return the whole configuration: a control and a streaming interface."""
    association = bytes([8, 0x0B, 0, 2, _VIDEO, _COLLECTION, 0, 0])
    body = association + _control() + _streaming(formats, isochronous)
    return struct.pack("<BBHBBBBB", 9, 2, 9 + len(body), 2, 1, 0, 0x80, 250) + body


def _control() -> bytes:
    interface = bytes([9, 4, 0, 0, 0, _VIDEO, _CONTROL, 0, 0])
    lens = struct.pack(
        "<BBBBHBBHHHBBBB", 18, _CLASS_INTERFACE, 2, CAMERA_TERMINAL, 0x0201, *(0,) * 5, 3, 0, 0, 0
    )
    brightness = 0x01  # the first bit of the unit's controls
    unit = struct.pack(
        "<BBBBBHBBBB",
        11,
        _CLASS_INTERFACE,
        5,
        PROCESSING_UNIT,
        CAMERA_TERMINAL,
        0,
        2,
        brightness,
        0,
        0,
    )
    out = struct.pack(
        "<BBBBHBBB", 9, _CLASS_INTERFACE, 3, OUTPUT_TERMINAL, 0x0101, 0, PROCESSING_UNIT, 0
    )
    units = lens + unit + out
    header = struct.pack(
        "<BBBHHIBB", 13, _CLASS_INTERFACE, 1, 0x0100, 13 + len(units), 48_000_000, 1, 1
    )
    return interface + header + units


def _streaming(formats: tuple[Format, ...], isochronous: bool) -> bytes:
    groups = by_code(formats)
    described = b"".join(_format(number, sizes) for number, sizes in enumerate(groups, 1))
    header = struct.pack(
        "<BBBBHBBBBBBB",
        13 + len(groups),
        _CLASS_INTERFACE,
        1,
        len(groups),
        13 + len(groups) + len(described),
        STREAM_ENDPOINT,
        0,
        OUTPUT_TERMINAL,
        0,
        0,
        0,
        1,
    ) + bytes(len(groups))
    if not isochronous:
        return (
            bytes([9, 4, 1, 0, 1, _VIDEO, _STREAMING, 0, 0])
            + header
            + described
            + struct.pack("<BBBBHB", 7, 5, STREAM_ENDPOINT, 2, 512, 0)
        )
    return (  # setting 0 is silent, setting 1 streams
        bytes([9, 4, 1, 0, 0, _VIDEO, _STREAMING, 0, 0])
        + header
        + described
        + bytes([9, 4, 1, 1, 1, _VIDEO, _STREAMING, 0, 0])
        + struct.pack("<BBBBHB", 7, 5, STREAM_ENDPOINT, 5, MAX_PACKET, 1)
    )


def _format(number: int, sizes: tuple[Format, ...]) -> bytes:
    guid = sizes[0].code.encode("ascii") + _GUID_TAIL
    uncompressed = struct.pack(
        "<BBBBB16sBBBBBB", 27, _CLASS_INTERFACE, 4, number, len(sizes), guid, 16, 1, 0, 0, 0, 0
    )
    described = b"".join(_size(index, form) for index, form in enumerate(sizes, 1))
    return uncompressed + described + bytes([6, _CLASS_INTERFACE, 0x0D, 1, 1, 4])


def _size(index: int, form: Format) -> bytes:
    bits_per_s = int(form.size_bytes * 8 * form.rate_hz)
    interval = interval_100ns(form)
    return struct.pack(
        "<BBBBBHHIIIIBI",
        *(30, _CLASS_INTERFACE, 5, index, 0),
        *(form.width, form.height, bits_per_s, bits_per_s, form.size_bytes),
        *(interval, 1, interval),
    )
