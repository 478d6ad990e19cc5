"""A true USB video camera for the kernel's own driver, made by this process. Needs root.

Run as a process of its own: ``emulated_camera.py '{"serial": "LAB1", …}'``; it takes commands,
one a line, on standard input, and answers each with a line of JSON (see `CameraProcess`).
"""

from __future__ import annotations

import json
import struct
import sys
import threading
import time
from dataclasses import dataclass, field
from typing import Any

import descriptors
from pictures import Format, wire_bytes
from wire import Cable, ControlRequest, Request, StalledError

GET_CUR, GET_MIN, GET_MAX, GET_RES, GET_LEN, GET_INFO, GET_DEF, SET_CUR = (
    *(0x81, 0x82, 0x83, 0x84, 0x85, 0x86, 0x87),
    0x01,
)
PROBE, COMMIT, BRIGHTNESS = 1, 2, 2
BULK_PAYLOAD = 16384
MICROFRAME_S = 125e-6
_CLOCK_PER_S = 48_000_000


@dataclass
class Sent:
    """A picture that went out: its number, how (``run``, ``short`` …), when its last byte did."""

    number: int
    mode: str
    at_s: float


@dataclass
class EmulatedCamera:
    """The camera: answers the driver, and sends pictures at its own rate while it streams.

    `mode` is how the next pictures go: ``run``; ``stall``: none at all; ``short``: half of the
    bytes; ``error``: whole, but with the error bit; ``freeze``: the same one again; ``flip``: one
    bit of the next one turned over, then ``run``.
    """

    identity: descriptors.Identity
    formats: tuple[Format, ...]
    isochronous: bool = False
    picture: str = "known"
    mode: str = "run"
    brightness: int = 0
    sent: list[Sent] = field(default_factory=list)
    _cable: Cable | None = None
    _format: tuple[int, int] = (1, 1)
    _streaming: threading.Event = field(default_factory=threading.Event)
    _number: int = -1
    _frozen: int | None = None
    _toggle: int = 0
    _due_s: float = 0.0

    # -- plug ------------------------------------------------------

    def plug(self) -> None:
        self._streaming.clear()
        cable = self._cable = Cable(self.control, isochronous=self.isochronous)
        threading.Thread(target=self._pump, args=(cable,), daemon=True).start()

    def pull(self, *, through_host: bool) -> None:
        assert self._cable is not None
        self._cable.pull(through_host=through_host)

    # -- control requests ------------------------------------------------------

    def control(self, asked: ControlRequest) -> bytes:  # noqa: PLR0911
        match asked.kind, asked.request:
            case 0x80, 6:
                return self._descriptor(asked.value >> 8, asked.value & 0xFF)
            case ((0x80 | 0x82), 0):  # status
                return b"\0\0"
            case 0x00, 9:  # configuration
                return b""
            case 0x01, 11:  # interface setting
                self._stream(asked.index == 1 and self.isochronous and asked.value == 1)
                return b""
            case 0x02, 1:  # how a bulk stream is stopped
                if not self.isochronous:
                    self._stream(False)
                return b""
            case ((0xA1 | 0x21), _) if asked.index == 1 and asked.value >> 8 in (PROBE, COMMIT):
                return self._negotiate(asked)
            case ((0xA1 | 0x21), _) if asked.index == descriptors.PROCESSING_UNIT << 8:
                return self._set_or_get(asked)
        raise StalledError

    @property
    def _form(self) -> Format:
        number, size = self._format
        return descriptors.by_code(self.formats)[number - 1][size - 1]

    def _descriptor(self, kind: int, index: int) -> bytes:
        match kind:
            case 1:
                return descriptors.device(self.identity)
            case 2:
                return descriptors.configuration(self.formats, isochronous=self.isochronous)
            case 3:
                return descriptors.text(self.identity, index)
            case 6:
                return descriptors.qualifier()
        raise StalledError

    def _negotiate(self, asked: ControlRequest) -> bytes:
        if asked.request == SET_CUR:
            groups = descriptors.by_code(self.formats)
            number = min(max(asked.data[2], 1), len(groups))
            self._format = (number, min(max(asked.data[3], 1), len(groups[number - 1])))
            if asked.value >> 8 == COMMIT and not self.isochronous:
                self._stream(True)
            return b""
        if asked.request == GET_INFO:
            return b"\x03"
        if asked.request == GET_LEN:
            return struct.pack("<H", 26)
        form = self._form
        payload = descriptors.MAX_PACKET if self.isochronous else BULK_PAYLOAD
        interval = descriptors.interval_100ns(form)
        return struct.pack(
            "<HBBI5HII", 1, *self._format, interval, *(0,) * 5, form.size_bytes, payload
        )

    def _set_or_get(self, asked: ControlRequest) -> bytes:
        if asked.value >> 8 != BRIGHTNESS:
            raise StalledError
        if asked.request == SET_CUR:
            (self.brightness,) = struct.unpack("<h", asked.data[:2])
            return b""
        if asked.request in (GET_INFO, GET_LEN):
            return b"\x03" if asked.request == GET_INFO else struct.pack("<H", 2)
        values = {GET_MIN: -64, GET_MAX: 64, GET_RES: 1, GET_DEF: 0, GET_CUR: self.brightness}
        return struct.pack("<h", values[asked.request])

    # -- pictures ------------------------------------------------------

    def _stream(self, on: bool) -> None:
        self._due_s = time.monotonic()
        if on:
            self._streaming.set()
        else:
            self._streaming.clear()

    def _pump(self, cable: Cable) -> None:
        send = self._send_isochronous if self.isochronous else self._send_bulk
        while cable.plugged:
            if self._streaming.wait(0.2):
                send(cable)

    def _next(self) -> tuple[bytes, str]:
        """Return the next picture's bytes and its mode, once it is due (the caller waited)."""
        form, mode = self._form, self.mode
        period_s = 1 / form.rate_hz
        late = time.monotonic() - self._due_s > period_s
        self._due_s = (time.monotonic() if late else self._due_s) + period_s
        self._number += 1
        if mode != "freeze":
            self._frozen = None
        elif self._frozen is None:
            self._frozen = self._number
        shown = self._number if self._frozen is None else self._frozen
        data = wire_bytes(shown, form, self.picture)
        if mode == "short":
            data = data[: len(data) // 2]
        elif mode == "flip":
            self.mode = "run"
            place = len(data) - 4321
            data = data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :]
        return data, mode

    def _is_due(self) -> bool:
        return self.mode != "stall" and time.monotonic() >= self._due_s

    def _header(self, begun_s: float, *, last: bool, mode: str) -> bytes:
        flags = 0x8C | self._toggle | (0x02 if last else 0) | (0x40 if mode == "error" else 0)
        now_s = time.monotonic()
        begun, now = (int(t * _CLOCK_PER_S) & 0xFFFF_FFFF for t in (begun_s, now_s))
        return struct.pack("<BBIIH", 12, flags, begun, now, int(now_s * 1000) & 0x7FF)

    def _went_out(self, mode: str) -> None:
        self._toggle ^= 1
        self.sent.append(Sent(self._number, mode, time.monotonic()))

    def _send_bulk(self, cable: Cable) -> None:
        if not self._is_due():
            time.sleep(0.002)
            return
        begun_s = time.monotonic()
        data, mode = self._next()
        step = BULK_PAYLOAD - 12
        for start in range(0, len(data), step):
            request = self._request(cable)
            if request is None:
                return
            last = start + step >= len(data)
            header = self._header(begun_s, last=last, mode=mode)
            if not cable.answer(request, header + data[start : start + step]):
                return
        self._went_out(mode)

    def _request(self, cable: Cable) -> Request | None:
        while cable.plugged and self._streaming.is_set():
            if (request := cable.take()) is not None:
                return request
        return None

    def _send_isochronous(self, cable: Cable) -> None:
        """Answer every request on its clock, with packets of a picture or empty ones."""
        clock_s = time.monotonic()
        data, mode, start, begun_s = b"", "", 0, 0.0
        while (request := self._request(cable)) is not None:
            clock_s = max(clock_s + MICROFRAME_S * len(request.packets), time.monotonic() - 0.1)
            time.sleep(max(0.0, clock_s - time.monotonic()))
            if not data and self._is_due():
                begun_s = time.monotonic()
                (data, mode), start = self._next(), 0
            parts = []
            for packet in request.packets:
                if not data:
                    parts.append(b"")
                    continue
                room = packet.length - 12
                last = start + room >= len(data)
                header = self._header(begun_s, last=last, mode=mode)
                parts.append(header + data[start : start + room])
                start += room
                if last:
                    data = b""
                    self._went_out(mode)
            if not cable.answer(request, b"".join(parts), tuple(map(len, parts))):
                return

    # -- commands ------------------------------------------------------

    def command(self, line: str) -> dict[str, Any]:
        """Do one command and return what it has to say; ``now`` is the time it was done."""
        word, _, rest = line.partition(" ")
        began_s = time.monotonic()
        answer: dict[str, Any] = {}
        match word:
            case "plug":
                self.plug()
            case "detach" | "cut":
                self.pull(through_host=word == "detach")
            case "mode":
                self.mode = rest
            case "state":
                answer = {"sent": len(self.sent), "brightness": self.brightness}
            case "sent":
                answer = {"sent": [[s.number, s.mode, s.at_s] for s in self.sent]}
            case _:
                raise ValueError(f"unknown command {line!r}")
        return answer | {"began": began_s, "now": time.monotonic()}


def main() -> None:
    """Serve commands until standard input ends."""
    setting = json.loads(sys.argv[1])
    camera = EmulatedCamera(
        descriptors.Identity(setting["serial"]),
        tuple(Format(*each) for each in setting["formats"]),
        setting.get("isochronous", False),
        setting.get("picture", "known"),
    )
    for line in sys.stdin:
        try:
            answer = camera.command(line.strip())
        except Exception as error:  # the other side must hear of it, whatever it is
            answer = {"error": repr(error)}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
