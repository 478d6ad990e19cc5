"""Triggers: what makes a moment worth a mark, in plain words, and the machine that watches for it.

A rule is written as it is said::

    U3 max above 60 C
    U3 max above 60 C for 0.5 s, hysteresis 1 K, hold-off 10 s
    "U3 left" mean rise below -2 K then mark, tone
    U3 max rate above 0.5 K/s then start recording, still
    picture max above 85 C
    picture departs by 5 sigma

The first word is a region's name (in double quotes where it holds blanks, commas or quotes, or
is "picture") or `picture`, the whole of it. Time is passed in; nothing here waits or has threads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum

from thermview.analysis.departure import DepartureWatch
from thermview.errors import UsageError
from thermview.frames import Frame, Mark, MarkKind
from thermview.regions import STATISTICS, Statistic
from thermview.session.trigger_words import RuleWords, read_rule, rule_text

_TIME_ROUNDING_S = 1e-9


class Quantity(Enum):
    """What of a region is watched; the value is the word for it."""

    TEMPERATURE = "temperature"
    RISE = "rise"
    RATE = "rate"
    DEPARTURE = "departs"
    """The whole picture: any place that leaves its own trend; the threshold is in sigmas."""


class Direction(Enum):
    """Which way the threshold is crossed; the value is the word for it."""

    UP = "above"
    DOWN = "below"


class Action(Enum):
    """What a trigger does; the value is the word for it."""

    MARK = "mark"
    START_RECORDING = "start recording"
    STOP_RECORDING = "stop recording"
    STILL = "still"
    TONE = "tone"


@dataclass(frozen=True)
class TriggerRule:
    """What to watch for, and what to do then.

    Attributes
    ----------
    region : str or None
        The region's name; None is the whole picture.
    threshold : float
        K for a temperature (absolute) and a rise, K/s for a rate, sigmas for a departure.
    statistic : "min", "mean" or "max"
        Of the region's or picture's pixels.
    quantity : Quantity
    direction : Direction
    hysteresis : float
        How far on the other side of the threshold the value must have been before a crossing
        counts; K or K/s.
    duration_s : float
        How long the value must stay beyond the threshold.
    hold_off_s : float
        For how long after it fired crossings are passed over.
    actions : tuple of Action
    """

    region: str | None
    threshold: float
    statistic: Statistic = "max"
    quantity: Quantity = Quantity.TEMPERATURE
    direction: Direction = Direction.UP
    hysteresis: float = 0.0
    duration_s: float = 0.0
    hold_off_s: float = 0.0
    actions: tuple[Action, ...] = (Action.MARK,)

    def __post_init__(self) -> None:
        if not math.isfinite(self.threshold):
            raise UsageError(f"a trigger's threshold must be a number, got {self.threshold}")
        if self.quantity is Quantity.TEMPERATURE and self.threshold <= 0:
            raise UsageError(f"a temperature must be above 0 K, got {self.threshold:g} K")
        if self.quantity is Quantity.DEPARTURE and (
            self.region is not None or self.threshold <= 0 or self.hysteresis
        ):
            raise UsageError("only the picture departs, by more than 0 sigma, without hysteresis")
        for name in ("hysteresis", "duration_s", "hold_off_s"):
            value = getattr(self, name)
            if not 0 <= value < math.inf:
                word = name.removesuffix("_s").replace("_", "-")
                raise UsageError(f"a trigger's {word} must be 0 or more, got {value:g}")
        if self.statistic not in STATISTICS:
            raise UsageError(f"statistic must be min, mean or max, got {self.statistic!r}")
        if not self.actions:
            raise UsageError("a trigger must do something: " + ", ".join(a.value for a in Action))
        if self.region is not None and not self.region.strip():
            raise UsageError("a trigger must name a region, or the picture")

    def __str__(self) -> str:
        """Return the rule in words; `parse_trigger` reads them back to an equal rule."""
        return rule_text(
            RuleWords(
                self.region,
                self.threshold,
                self.statistic,
                self.quantity.value,
                self.direction.value,
                self.hysteresis,
                self.duration_s,
                self.hold_off_s,
                [] if self.actions == (Action.MARK,) else [a.value for a in self.actions],
            )
        )


@dataclass(frozen=True)
class Fired:
    """A trigger has fired.

    Attributes
    ----------
    crossed_s : float
        Time of the frame in which the value crossed the threshold: where the mark stands.
    fired_s : float
        Time of the frame in which it had stayed beyond for long enough: when the actions run.
    value : float
        The value at `fired_s`, in the threshold's unit.
    x_px, y_px : float or None
        Where, for a departure of the picture, in its axes.
    """

    rule: TriggerRule
    crossed_s: float
    fired_s: float
    value: float
    x_px: float | None = None
    y_px: float | None = None

    def mark(self) -> Mark:
        """Return the mark, at the frame of the crossing."""
        place = "" if self.x_px is None else f" at x {self.x_px:.0f}, y {self.y_px:.0f}"
        watched = str(replace(self.rule, actions=(Action.MARK,)))
        return Mark(self.crossed_s, MarkKind.TRIGGER, watched + place)


class TriggerState:
    """The machine behind one rule about a value: fed with every frame's value, it fires or not.

    - It is *armed* once the value was on the other side of the threshold by the hysteresis. A
      value that is beyond from the start has crossed nothing, so it does not fire.
    - Armed, a value strictly beyond the threshold is a crossing; it fires in the first frame in
      which the value has stayed beyond for `duration_s`. Back before that, nothing happened, and
      it is still armed.
    - Having fired it must be armed anew. Crossings within `hold_off_s` after it fired are passed
      over, also where the value stays beyond afterwards.
    - NaN (held frames, region out of view) changes nothing; the time goes on.
    """

    def __init__(self, rule: TriggerRule) -> None:
        self.rule = rule
        self._sign = 1.0 if rule.direction is Direction.UP else -1.0
        self._armed = False
        self._crossed_s: float | None = None
        self._deaf_until_s = -math.inf

    def step(self, time_s: float, value: float) -> Fired | None:
        """Take the value of the frame at `time_s`; return what fired in this frame."""
        if math.isnan(value):
            return None
        rule = self.rule
        beyond = self._sign * (value - rule.threshold)
        if beyond <= 0:
            self._crossed_s = None
            self._armed = self._armed or beyond <= -rule.hysteresis
            return None
        if not self._armed:
            return None
        if self._crossed_s is None:
            if time_s < self._deaf_until_s - _TIME_ROUNDING_S:
                self._armed = False
                return None
            self._crossed_s = time_s
        if time_s - self._crossed_s < rule.duration_s - _TIME_ROUNDING_S:
            return None
        fired = Fired(rule, self._crossed_s, time_s, value)
        self._armed, self._crossed_s = False, None
        self._deaf_until_s = time_s + rule.hold_off_s
        return fired


class DepartureState:
    """The machine behind "picture departs": fed with every frame, held ones too."""

    def __init__(self, rule: TriggerRule) -> None:
        self.rule = rule
        self._watch = DepartureWatch(sigmas=rule.threshold, duration_s=rule.duration_s)
        self._deaf_until_s = -math.inf

    def step(self, frame: Frame) -> Fired | None:
        """Take a frame; return what fired in it."""
        found = self._watch.take(frame)
        if found is None or frame.time_s < self._deaf_until_s - _TIME_ROUNDING_S:
            return None
        self._deaf_until_s = frame.time_s + self.rule.hold_off_s
        return Fired(self.rule, found.since_s, frame.time_s, found.sigmas, found.x_px, found.y_px)


def parse_trigger(text: str) -> TriggerRule:
    """Read a rule from words; see the head of this module.

    Raises
    ------
    UsageError
        Says what was expected where, and gives an example.
    """
    words = read_rule(text)
    return TriggerRule(
        words.region,
        words.threshold,
        words.statistic,
        Quantity(words.quantity),
        Direction(words.direction),
        words.hysteresis,
        words.duration_s,
        words.hold_off_s,
        tuple(Action(name) for name in words.actions) or (Action.MARK,),
    )


def renamed_rules(
    rules: tuple[TriggerRule, ...], before: Mapping[str, str], now: Mapping[str, str]
) -> tuple[TriggerRule, ...]:
    """Return rules that go on watching regions which have other names now.

    Parameters
    ----------
    before, now : mapping of str to str
        The regions' names by their ids.
    """
    renamed = {name: now[key] for key, name in before.items() if now.get(key, name) != name}
    return tuple(
        replace(rule, region=renamed.get(rule.region, rule.region)) if rule.region else rule
        for rule in rules
    )
