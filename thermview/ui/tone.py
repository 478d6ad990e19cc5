"""A tone that climbs with the watched region's rise, so that the eyes may stay on the probe."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QIODevice, QObject

from thermview.regions import Region
from thermview.ui.desk import Desk
from thermview.ui.readings import read_region

if TYPE_CHECKING:
    from PySide6.QtMultimedia import QAudioSink

RATE_HZ = 44_100
LOWEST_HZ, HIGHEST_HZ = 220.0, 1760.0  # three octaves: from the A below middle C upwards
KELVIN_PER_OCTAVE = 10.0
LOUDNESS = 0.2  # of full scale


def tone_hz(rise_k: float) -> float:
    """Return the pitch for a rise, Hz: an octave for every 10 K, NaN for no number."""
    if not math.isfinite(rise_k):
        return math.nan
    octaves = max(rise_k, 0.0) / KELVIN_PER_OCTAVE
    return min(LOWEST_HZ * math.exp2(octaves), HIGHEST_HZ)


class Wave:
    """A sine whose pitch may change at any time without a click; silent while it is NaN."""

    def __init__(self) -> None:
        self.pitch_hz = math.nan
        self._phase = 0.0

    def samples(self, count: int) -> NDArray[np.int16]:
        """Return the next `count` samples at `RATE_HZ`."""
        if not math.isfinite(self.pitch_hz):
            return np.zeros(count, dtype=np.int16)
        step = 2 * np.pi * self.pitch_hz / RATE_HZ
        phases = self._phase + step * np.arange(1, count + 1)
        self._phase = float(phases[-1] % (2 * np.pi)) if count else self._phase
        wave: NDArray[np.int16] = (np.sin(phases) * LOUDNESS * 32767).astype(np.int16)
        return wave


class _Stream(QIODevice):
    """The wave as the endless device that the sound output reads from."""

    def __init__(self, wave: Wave) -> None:
        super().__init__()
        self._wave = wave

    def readData(self, most: int) -> bytes:
        """Return the next bytes."""
        return self._wave.samples(min(most, 4096) // 2).tobytes()

    def writeData(self, data: Any, most: int) -> int:
        """Take nothing."""
        return -1

    def bytesAvailable(self) -> int:
        """Return that there is always more."""
        return 8192 + super().bytesAvailable()


class Tone(QObject):
    """Off until asked for; watches the selected region, else the one that it watched last."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.wave = Wave()
        self.on = False
        self._watched = ""
        self._sink: QAudioSink | None = None
        self._stream: _Stream | None = None
        desk.frame_shown.connect(lambda _: self._follow())
        desk.selection_changed.connect(self._follow)

    @property
    def region(self) -> Region | None:
        """Return the watched region."""
        regions = self._desk.document.current.regions
        chosen = self._desk.selected_regions()
        if chosen:
            self._watched = chosen[0].id
        return next((r for r in regions if r.id == self._watched), None)

    def toggle(self) -> None:
        """Turn the tone on or off."""
        if self.on:
            self.stop()
            self._desk.say("info", "tone off")
            return
        if self.region is None:
            self._desk.say("info", "select the region that the tone is to follow")
            return
        trouble = self._start()
        if trouble:
            self._desk.say("warning", trouble)
        else:
            self.on = True
            self._desk.say("info", "tone on: an octave for every 10 K of rise")
            self._follow()

    def stop(self) -> None:
        """Be silent."""
        self.on = False
        if self._sink is not None:
            self._sink.stop()
            self._sink = self._stream = None

    def _start(self) -> str:
        """Open the sound output; return what is in the way, or nothing."""
        try:
            from PySide6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices
        except ImportError as error:  # a system without sound libraries
            return f"no tone: sound is not installed on this computer ({error})"
        device = QMediaDevices.defaultAudioOutput()
        if device.isNull():
            return "no tone: this computer has no sound output"
        form = QAudioFormat()
        form.setSampleRate(RATE_HZ)
        form.setChannelCount(1)
        form.setSampleFormat(QAudioFormat.SampleFormat.Int16)
        self._stream = _Stream(self.wave)
        self._stream.open(QIODevice.OpenModeFlag.ReadOnly)
        self._sink = QAudioSink(device, form)
        self._sink.setBufferSize(RATE_HZ // 5)  # a tenth of a second: it must follow
        self._sink.start(self._stream)
        return ""

    def _follow(self) -> None:
        region, session = self.region, self._desk.session
        if not self.on:
            return
        if region is None or session is None:
            self.wave.pitch_hz = math.nan
            return
        reading = read_region(session.curves, region, self._desk.shown_number)
        self.wave.pitch_hz = tone_hz(reading.rise_k)
