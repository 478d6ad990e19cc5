"""What must be said of the shown picture: held, damaged, stale, a band highlighted, focus."""

from __future__ import annotations

import math

from thermview.analysis.sharpness import sharpness
from thermview.frames import Frame, FrameFlag
from thermview.session.states import SessionState
from thermview.ui.desk import Desk
from thermview.ui.display import Display
from thermview.ui.keys import Keys

_STALE = {
    SessionState.STALLED: "no new picture from the camera",
    SessionState.RECONNECTING: "looking for the camera again",
    SessionState.FAILED: "the camera is gone",
}


def is_stale(desk: Desk) -> bool:
    """Tell whether the picture passes for live and is not."""
    session = desk.session
    if session is None or not session.is_live or session.state not in _STALE:
        return False
    return desk.shown_number >= len(session.footage) - 1


def notices(desk: Desk) -> list[str]:
    """Return what must be known of the shown picture, in words."""
    frame, words = desk.shown, []
    if frame is None:
        return []
    if desk.session is not None and is_stale(desk):
        words.append(f"{_STALE[desk.session.state]}: this is the last one")
    if frame.shutter:
        words.append("shutter: picture held")
    if frame.flags & FrameFlag.DAMAGED:
        words.append("damaged picture: not measured")
    if said := desk.following.words(Keys(desk.settings).key("follow")):
        words.append(said)
    if desk.display.isotherm is not None:
        words.append(band_words(desk.display))
    return words


def kind_words(desk: Desk) -> str:
    """Return what the numbers are, where that must be said: apparent, averaged."""
    session, words = desk.session, []
    if session is None or desk.display.relative:
        return ""
    stated = [region.emissivity is not None for region in desk.document.current.regions]
    if session.scene.emissivity is None and not (stated and all(stated)):
        words.append("apparent: no emissivity stated")
    if desk.optics.averaging:
        words.append("picture averaged")
    return " · ".join(words)


def band_words(display: Display) -> str:
    """Return which band is highlighted: ``highlighted: above 60.0 °C``."""
    assert display.isotherm is not None
    low_k, high_k = display.isotherm
    if math.isinf(high_k):
        return f"highlighted: {display.level_text(low_k)} and above"
    if math.isinf(low_k):
        return f"highlighted: {display.level_text(high_k)} and below"
    return f"highlighted: {display.level_text(low_k)} to {display.level_text(high_k)}"


def focus_words(frame: Frame, sharpest: float) -> tuple[str, float]:
    """Return the sharpness in % of the sharpest so far, in words, and the sharpest."""
    now = sharpness(frame.counts)
    if not math.isfinite(now) or frame.held:
        return "–", sharpest
    best = max(now, sharpest)
    return f"{100.0 * now / best if best > 0 else 0.0:.0f} % of the best", best
