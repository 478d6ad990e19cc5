"""Running the frames: live, replayed or for a command, through one pipeline. No Qt."""

from thermview.session.curves import CurveStore
from thermview.session.losses import Losses
from thermview.session.player import Player
from thermview.session.recorder import RecordingStatus, RecordingSummary
from thermview.session.session import Session
from thermview.session.states import EventKind, SessionEvent, SessionState
from thermview.session.triggers import TriggerRule, parse_trigger

__all__ = [
    "CurveStore",
    "EventKind",
    "Losses",
    "Player",
    "RecordingStatus",
    "RecordingSummary",
    "Session",
    "SessionEvent",
    "SessionState",
    "TriggerRule",
    "parse_trigger",
]
