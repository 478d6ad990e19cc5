"""What is to be compared with what, and the answer: plain values that cross threads."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING

from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.places import Match
from thermview.frames import Footage
from thermview.regions import RegionSet
from thermview.session.boards import Board
from thermview.sources import OpenOptions

if TYPE_CHECKING:
    from thermview.ui.compare.films import Films

LONGEST_NAME = 40


class By(Enum):
    """What is compared."""

    PART = "parts"
    REGION = "my regions"
    PLACE = "places that warm"
    EQUAL_PARTS = "equal parts"
    EQUAL_REGIONS = "my regions as equals"


ALONE = frozenset({By.EQUAL_PARTS, By.EQUAL_REGIONS})
"""These need no known-good board."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A known-good recording: its file, and what it is called on screen.

    `path` is None for another power-up of this very recording. `span_s` is the stretch that
    counts, None for all of it; `on_s` is when its power came on, where that is known beside the
    recording; `fellows` are other good boards of the same model, which show how much good boards
    differ.
    """

    path: Path | None
    name: str
    options: OpenOptions = field(default_factory=OpenOptions)
    on_s: float | None = None
    fellows: tuple[Reference, ...] = ()
    span_s: tuple[float, float] | None = None

    @property
    def short_name(self) -> str:
        """Return the name, cut where it would take too much of a line."""
        return self.name if len(self.name) <= LONGEST_NAME else f"{self.name[: LONGEST_NAME - 2]} …"


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What is to be compared with what.

    Attributes
    ----------
    reference : Reference or None
        None where equals are compared among themselves.
    whole, footage : Footage
        Of this board: all of it, and the stretch that counts; they stay the caller's.
    board : Board or None
        Of this board's picture.
    on_s : float or None
        When this board's power came on; None: found from the frames.
    by : By
    matching : tuple of Match
        The same places in the good board's picture and in this one's; none where the camera did
        not move.
    regions : RegionSet
        Compared where `by` says so.
    """

    reference: Reference | None
    whole: Footage
    footage: Footage
    board: Board | None
    on_s: float | None
    by: By
    matching: tuple[Match, ...] = ()
    regions: RegionSet = field(default_factory=RegionSet)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """The verdicts, where each subject is in this board's picture, px, and the films.

    `range_w` and `range_k` have the least and the largest power and rise that the good boards of
    the model show of each part, brought to this board's supply level; `goods` says how many good
    boards these were. `equals` has the groups of equal parts; `odd` what is said of those parts
    that do otherwise than their equals on this board.
    """

    found: Comparison
    by: By
    places_px: dict[str, tuple[float, float]]
    films: Films
    reference: Reference | None
    range_w: dict[str, tuple[float, float]] = field(default_factory=dict)
    range_k: dict[str, tuple[float, float]] = field(default_factory=dict)
    goods: int = 1
    equals: tuple[tuple[str, ...], ...] = ()
    odd: dict[str, str] = field(default_factory=dict)

    @property
    def alone(self) -> bool:
        """Tell whether equals were compared among themselves, without a good board."""
        return self.by in ALONE

    def equals_of(self, name: str) -> tuple[str, ...]:
        """Return the other members of a part's group."""
        group = next((g for g in self.equals if name in g), ())
        return tuple(other for other in group if other != name)
