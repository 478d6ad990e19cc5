"""What is known of one camera, kept between sessions: what it corrects itself, and its errors."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from numpy.typing import ArrayLike

from thermview.errors import InputError, ThermviewError
from thermview.paths import save_text
from thermview.radiometry.calibration import Calibration, CalibrationKind, ContactPoint
from thermview.radiometry.equation import apparent_temperature
from thermview.radiometry.planck import Floats, ResponseCurve
from thermview.radiometry.setting import Setting
from thermview.radiometry.size import Spread

_VERSION = 1


@dataclass(frozen=True, slots=True)
class CameraProfile:
    """One camera's profile; hashable, so that tables are kept by it.

    Attributes
    ----------
    name : str
        Of the camera, for people.
    applied : Setting or None
        What the camera has corrected already before it gives a number. It is undone first, so
        that an emissivity set inside the camera is not applied a second time. None: nothing.
    calibration : Calibration or None
        Taken off the apparent temperature after that.
    spread : Spread or None
        Measured blur.
    netd_k, accuracy_k : float or None
        Measured noise; stated accuracy as a standard uncertainty.
    bad_pixels : tuple of int
        Flat indices, row-major, of pixels to repair.
    """

    name: str = ""
    applied: Setting | None = None
    calibration: Calibration | None = None
    spread: Spread | None = None
    netd_k: float | None = None
    accuracy_k: float | None = None
    bad_pixels: tuple[int, ...] = ()

    def apparent(self, camera_k: ArrayLike) -> Floats:
        """Return true apparent temperatures, K, for what the camera says, K."""
        undone = apparent_temperature(camera_k, self.applied or Setting())
        return undone if self.calibration is None else self.calibration.apply(undone)

    def words(self) -> str:
        """Return, for people, all that is done to the camera's numbers."""
        words = [self.already_corrected()]
        if self.calibration is not None:
            number = len(self.calibration.points)
            words.append(
                f"its error taken off by {number} contact reading{'s' if number > 1 else ''} "
                f"({self.calibration.kind.value})"
            )
        if self.bad_pixels:
            words.append(f"{len(self.bad_pixels)} bad pixels filled from their neighbours")
        return "; ".join(words)

    @property
    def corrects(self) -> bool:
        """Tell whether temperatures differ from what the camera says."""
        plain = self.applied is None or self.applied.is_plain
        return self.calibration is not None or not plain

    def already_corrected(self) -> str:
        """Return, for people, what the camera has corrected itself."""
        if self.applied is None or self.applied.is_plain:
            return "the camera corrects nothing itself"
        return (
            f"the camera applies emissivity {self.applied.emissivity:g} itself "
            f"(surroundings {self.applied.reflected_k - 273.15:.1f} °C); undone here first"
        )


def profile_text(profile: CameraProfile) -> str:
    """Return a profile as JSON text."""
    document = {"thermview_camera_profile": _VERSION, **asdict(profile)}
    if profile.calibration is not None:
        document["calibration"]["kind"] = profile.calibration.kind.value
    return json.dumps(document, indent=1) + "\n"


def profile_of(text: str, where: str) -> CameraProfile:
    """Return the profile that a JSON text holds.

    Raises
    ------
    InputError
        It is no profile of this version; `where` says which text that was.
    """
    try:
        document = json.loads(text)
        if document.pop("thermview_camera_profile") != _VERSION:
            raise ValueError("of another version")
        return _profile(document)
    except (ValueError, KeyError, TypeError, AttributeError, ThermviewError) as error:
        raise InputError(f"the camera profile {where} cannot be used: {error}") from error


def save_profile(path: Path, profile: CameraProfile) -> None:
    """Write a profile as JSON; an older one stays whole until the new one is.

    Raises
    ------
    OutputError
        The place refuses it.
    """
    save_text(path, profile_text(profile))


def load_profile(path: Path) -> CameraProfile:
    """Read a profile.

    Raises
    ------
    InputError
        It cannot be read or is no profile of this version.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise InputError(f"the camera profile {path} cannot be used: {error}") from error
    return profile_of(text, str(path))


def _profile(document: dict[str, Any]) -> CameraProfile:
    applied, calibration, spread = (document[k] for k in ("applied", "calibration", "spread"))
    return CameraProfile(
        name=str(document["name"]),
        applied=None if applied is None else _setting(applied),
        calibration=None if calibration is None else _calibration(calibration),
        spread=None if spread is None else Spread(**spread),
        netd_k=document["netd_k"],
        accuracy_k=document["accuracy_k"],
        bad_pixels=tuple(int(i) for i in document["bad_pixels"]),
    )


def _setting(fields: dict[str, Any]) -> Setting:
    band = fields.pop("band")
    if isinstance(band, dict):
        curve = ResponseCurve(tuple(band["wavelength_um"]), tuple(band["response"]))
        return Setting(**fields, band=curve)
    return Setting(**fields, band=(float(band[0]), float(band[1])))


def _calibration(fields: dict[str, Any]) -> Calibration:
    low, high = fields["band_um"]
    return Calibration(
        CalibrationKind(fields["kind"]),
        tuple(float(x) for x in fields["parameters"]),
        tuple(tuple(float(x) for x in row) for row in fields["covariance"]),
        tuple(ContactPoint(**point) for point in fields["points"]),
        (float(low), float(high)),
    )
