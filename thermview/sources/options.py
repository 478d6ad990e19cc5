"""What may be said when a source is opened."""

from __future__ import annotations

from dataclasses import dataclass

from thermview.frames import Scale
from thermview.recording.generic import stated_scale


@dataclass(frozen=True, slots=True)
class OpenOptions:
    """Settings for sources that do not explain themselves; None is not stated.

    Attributes
    ----------
    dataset : str or None
        The 3-D dataset in an HDF5 file that is no recording.
    scale_k, offset_k : float or None
        Apparent temperature = count × `scale_k` + `offset_k`, K.
    celsius, kelvin : bool
        Floating-point pictures are in °C, or in K.
    rate_hz : float or None
        Frames per second of pictures without times; the rate asked of a camera.
    profile : str or None
        Name of a camera's stream layout, or a path to a file of one.
    seed : int or None
        Of a simulated board's noise.
    speed : float or None
        How much faster than real time a file or a simulated board plays.
    """

    dataset: str | None = None
    scale_k: float | None = None
    offset_k: float | None = None
    celsius: bool = False
    kelvin: bool = False
    rate_hz: float | None = None
    profile: str | None = None
    seed: int | None = None
    speed: float | None = None

    def scale(self) -> Scale | None:
        """Return the scale they state, or None.

        Raises
        ------
        InputError
            They contradict each other.
        """
        return stated_scale(self.scale_k, self.offset_k, self.celsius, self.kelvin)
