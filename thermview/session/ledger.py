"""What the parts of one session share: curves, marks, events and loss counts."""

from __future__ import annotations

from dataclasses import dataclass, field

from thermview.frames import SourceInfo
from thermview.session.curves import CurveStore
from thermview.session.losses import LossCounter
from thermview.session.markbook import MarkBook
from thermview.session.states import EventBox, EventKind, SessionEvent


@dataclass(frozen=True, slots=True, eq=False)
class Ledger:
    """The session's books; each is safe from any thread."""

    info: SourceInfo
    curves: CurveStore = field(default_factory=CurveStore)
    marks: MarkBook = field(default_factory=MarkBook)
    events: EventBox = field(default_factory=EventBox)
    losses: LossCounter = field(default_factory=LossCounter)

    @property
    def now_s(self) -> float:
        """Return the time of the newest frame, s; 0 before the first."""
        times = self.curves.times_s
        return float(times[-1]) if times.size else 0.0

    def tell(self, kind: EventKind, text: str, data: object = None) -> None:
        """Add an event at the newest frame's time."""
        self.events.add(SessionEvent(kind, self.now_s, text, data))
