"""The USB cable: requests from the kernel's virtual host controller, over a socket pair.

Protocol: Documentation/usb/usbip_protocol.rst of the kernel. Our end is the device; the other end
is handed to the module ``vhci_hcd`` through sysfs, which takes root.
"""

from __future__ import annotations

import errno
import socket
import struct
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

CONTROLLER = Path("/sys/devices/platform/vhci_hcd.0")
HIGH_SPEED = 3
_SUBMIT, _UNLINK, _SUBMITTED, _UNLINKED = 1, 2, 3, 4


@dataclass(frozen=True)
class Packet:
    """One packet of an isochronous request: where it goes and how long it may be."""

    offset: int
    length: int


@dataclass(frozen=True)
class Request:
    """A request to the streaming endpoint that waits for data."""

    number: int
    length: int
    packets: tuple[Packet, ...] = ()


@dataclass(frozen=True)
class ControlRequest:
    """A request to endpoint 0, with the host's data where it sends some."""

    kind: int
    request: int
    value: int
    index: int
    length: int
    data: bytes = b""


class StalledError(Exception):
    """The device does not understand a control request."""


class Cable:
    """One plugging in of the device.

    `control` answers requests to endpoint 0; requests for pictures queue up and are taken by
    `take` and answered by `answer`. One that the host withdrew meanwhile is never answered: the
    host controller drops the whole connection over that.
    """

    def __init__(
        self,
        control: Callable[[ControlRequest], bytes],
        *,
        isochronous: bool,
        port: int = 0,
    ) -> None:
        self._control = control
        self._isochronous = isochronous
        self._port = port
        self._waiting: list[Request] = []
        self._taken: int | None = None
        self._changed = threading.Condition()
        self._sending = threading.Lock()
        self._socket, host_end = socket.socketpair(socket.AF_UNIX, socket.SOCK_STREAM)
        for end in (self._socket, host_end):
            end.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 20)
        self.plugged = True
        threading.Thread(target=self._receive, name="cable", daemon=True).start()
        words = f"{port} {host_end.fileno()} {0x10000 + port} {HIGH_SPEED}"
        (CONTROLLER / "attach").write_text(words)
        host_end.close()

    def pull(self, *, through_host: bool) -> None:
        """Unplug: by the host controller's own detaching, or by cutting the wire."""
        if through_host:
            (CONTROLLER / "detach").write_text(str(self._port))
        with self._changed:
            self.plugged = False
            self._changed.notify_all()
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def take(self, timeout_s: float = 0.5) -> Request | None:
        """Return the oldest request for data, or None when none came or the cable is out."""
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or not self.plugged, timeout_s)
            if not self._waiting or not self.plugged:
                return None
            request = self._waiting.pop(0)
            self._taken = request.number
            return request

    def answer(self, request: Request, data: bytes, lengths: tuple[int, ...] = ()) -> bool:
        """Send data for a request, packet lengths for an isochronous one; False if withdrawn."""
        with self._changed:
            if self._taken != request.number:
                return False
            self._taken = None
            rows = b"".join(
                struct.pack(">IIII", packet.offset, packet.length, length, 0)
                for packet, length in zip(request.packets, lengths, strict=True)
            )
            self._submitted(request.number, 0, data, len(data), rows)
            return True

    # -- what the host sends ------------------------------------------------------

    def _receive(self) -> None:
        try:
            while self.plugged:
                self._one_message(self._read(48))
        except (ConnectionError, OSError):
            with self._changed:
                self.plugged = False
                self._changed.notify_all()

    def _one_message(self, header: bytes) -> None:
        command, number, _, inward, endpoint = struct.unpack(">5I", header[:20])
        if command == _UNLINK:
            self._unlink(number, struct.unpack(">I", header[20:24])[0])
            return
        _, length, _, packets, _ = struct.unpack(">5i", header[20:40])
        data = self._read(length) if not inward and length > 0 else b""
        if endpoint == 0:
            self._answer_control(number, header[40:48], data, inward=bool(inward))
            return
        rows = self._read(16 * packets) if self._isochronous and packets > 0 else b""
        parts = tuple(
            Packet(offset, size) for offset, size, _, _ in struct.iter_unpack(">4I", rows)
        )
        with self._changed:
            self._waiting.append(Request(number, length, parts))
            self._changed.notify_all()

    def _answer_control(self, number: int, setup: bytes, data: bytes, *, inward: bool) -> None:
        kind, request, value, index, length = struct.unpack("<BBHHH", setup)
        try:
            reply = self._control(ControlRequest(kind, request, value, index, length, data))
            status = 0
        except StalledError:
            reply, status = b"", -errno.EPIPE
        reply = reply[:length] if inward else b""
        done = len(reply) if inward else len(data)
        self._submitted(number, status, reply, done)

    def _unlink(self, number: int, victim: int) -> None:
        with self._changed:
            known = victim == self._taken or any(r.number == victim for r in self._waiting)
            self._waiting = [r for r in self._waiting if r.number != victim]
            if victim == self._taken:
                self._taken = None
            status = -errno.ECONNRESET if known else 0
            self._send(struct.pack(">5Ii24x", _UNLINKED, number, 0, 0, 0, status))

    def _submitted(
        self, number: int, status: int, data: bytes, done: int, rows: bytes = b""
    ) -> None:
        numbers = (_SUBMITTED, number, 0, 0, 0, status, done, 0, len(rows) // 16, 0)
        self._send(struct.pack(">5I5i8x", *numbers) + data + rows)

    def _send(self, message: bytes) -> None:
        with self._sending, suppress(OSError):  # unplugged: the receiver notices
            self._socket.sendall(message)

    def _read(self, length: int) -> bytes:
        parts = bytearray()
        while len(parts) < length:
            part = self._socket.recv(length - len(parts))
            if not part:
                raise ConnectionError
            parts += part
        return bytes(parts)
