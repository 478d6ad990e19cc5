"""The words of a trigger rule: written and read. What they mean is in `triggers`."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NoReturn

from thermview.errors import UsageError
from thermview.regions import STATISTICS, Statistic
from thermview.units import celsius_from_kelvin, kelvin_from_celsius

PICTURE = "picture"
ACTIONS = ("mark", "start recording", "stop recording", "still", "tone")
_EXAMPLES = '"U3 max above 60 C for 0.5 s", "U3 mean rise above 2 K", "picture departs by 5 sigma"'

_WORD = re.compile(r'\s*(?:"((?:[^"\\]|\\.)*)"|([^\s",]+)|(,))')
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(.*)")

_DIFFERENCES = {"K": 1.0, "C": 1.0, "F": 1 / 1.8}
_UNITS: dict[str, dict[str, float]] = {
    "temperature": _DIFFERENCES,
    "rise": _DIFFERENCES,
    "rate": {f"{unit}/s": size for unit, size in _DIFFERENCES.items()},
    "departs": {"sigma": 1.0},
    "time": {"s": 1.0},
}


@dataclass
class RuleWords:
    """What the words say, in the units of `TriggerRule`."""

    region: str | None
    threshold: float = 0.0
    statistic: Statistic = "max"
    quantity: str = "temperature"
    direction: str = "above"
    hysteresis: float = 0.0
    duration_s: float = 0.0
    hold_off_s: float = 0.0
    actions: list[str] = field(default_factory=list)


def rule_text(words: RuleWords) -> str:
    """Return a rule in words that `read_rule` reads back to the same."""
    unit = {"temperature": "K", "rise": "K", "rate": "K/s", "departs": "sigma"}[words.quantity]
    text = [_quoted(words.region)]
    if words.quantity == "departs":
        text += ["departs by", f"{words.threshold!r} sigma"]
    elif words.quantity == "temperature":
        text += [words.statistic, words.direction, _celsius_text(words.threshold)]
    else:
        text += [words.statistic, words.quantity, words.direction, f"{words.threshold!r} {unit}"]
    for word, value, its_unit in (
        ("for", words.duration_s, "s"),
        ("hysteresis", words.hysteresis, unit),
        ("hold-off", words.hold_off_s, "s"),
    ):
        if value:
            text.append(f"{word} {value!r} {its_unit}")
    if words.actions:
        text.append("then " + ", ".join(words.actions))
    # whole numbers without their ".0", but nothing inside a region's name is touched
    return " ".join([text[0], *(part.replace(".0 ", " ") for part in text[1:])])


def _quoted(region: str | None) -> str:
    if region is None:
        return PICTURE
    if region != PICTURE and re.fullmatch(r'[^\s",]+', region):
        return region
    return '"' + re.sub(r'(["\\])', r"\\\1", region) + '"'


def _celsius_text(kelvin: float) -> str:
    """Return the shortest °C text that reads back as exactly this temperature, else K."""
    celsius = celsius_from_kelvin(kelvin)
    for digits in range(1, 18):
        text = f"{celsius:.{digits}g}"
        if kelvin_from_celsius(float(text)) == kelvin:
            return f"{float(text)!r} C"
    return f"{kelvin!r} K"


class _Reader:
    """The words of one rule, taken from the front."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.words: list[tuple[str, bool]] = []  # the word, and whether it was quoted
        at = 0
        while text[at:].strip():
            found = _WORD.match(text, at)
            if found is None:
                self.fail("a closing quote", text[at:].strip())
            quoted, plain, comma = found.groups()
            if quoted is not None:
                self.words.append((re.sub(r"\\(.)", r"\1", quoted, flags=re.DOTALL), True))
            else:
                self.words.append((plain or comma, False))
            at = found.end()

    def fail(self, expected: str, got: str | None = None) -> NoReturn:
        """Raise the error that says what should stand here."""
        if got is None:
            got = self.words[0][0] if self.words else "the end"
        raise UsageError(
            f"trigger {self.text!r}: expected {expected}, got {got!r}; say for example {_EXAMPLES}"
        )

    def peek(self) -> str:
        return self.words[0][0] if self.words and not self.words[0][1] else ""

    def take(self, *allowed: str) -> str:
        """Take the next word where it is one of `allowed`, else return an empty text."""
        return self.words.pop(0)[0] if self.peek() in allowed and self.words else ""

    def need(self, *allowed: str) -> str:
        return self.take(*allowed) or self.fail(" or ".join(allowed))

    def value(self, units: dict[str, float]) -> tuple[float, str]:
        """Take a number and its unit, apart or together; return both, unscaled."""
        expected = f"a number and its unit ({' or '.join(units)})"
        found = _NUMBER.fullmatch(self.peek())
        if found is None:
            self.fail(expected)
        number, unit = found.groups()
        self.words.pop(0)
        if not unit:
            unit = self.peek()
            self.words[:1] = []
        unit = unit.replace("°", "")
        if unit not in units:
            self.fail(expected, f"{number} {unit}".strip())
        return float(number), unit


def read_rule(text: str) -> RuleWords:
    """Read the words of a rule.

    Raises
    ------
    UsageError
        Something else was expected.
    """
    reader = _Reader(text)
    if not reader.words or reader.peek() == ",":
        reader.fail(f"a region's name or {PICTURE!r}")
    name, quoted = reader.words.pop(0)
    words = RuleWords(None if name == PICTURE and not quoted else name)
    if words.region is None and reader.take("departs"):
        reader.need("by")
        words.quantity = "departs"
        words.threshold = reader.value(_UNITS["departs"])[0]
    else:
        _read_value(reader, words)
    _read_further(reader, words)
    if reader.words:
        reader.fail("for, hysteresis, hold-off, then or the end")
    return words


def _read_value(reader: _Reader, words: RuleWords) -> None:
    for statistic in STATISTICS:
        if reader.take(statistic):
            words.statistic = statistic
            break
    words.quantity = reader.take("temperature", "rise", "rate") or "temperature"
    words.direction = reader.take("above", "below")
    if not words.direction:
        reader.fail("min, mean or max, then temperature, rise or rate, then above or below")
    units = _UNITS[words.quantity]
    number, unit = reader.value(units)
    if words.quantity == "temperature":
        celsius = (number - 32) / 1.8 if unit == "F" else number
        words.threshold = number if unit == "K" else kelvin_from_celsius(celsius)
    else:
        words.threshold = number * units[unit]


def _read_further(reader: _Reader, words: RuleWords) -> None:
    while True:
        reader.take(",")
        word = reader.take("for", "hysteresis", "hold-off", "then")
        if word == "for":
            words.duration_s = reader.value(_UNITS["time"])[0]
        elif word == "hold-off":
            words.hold_off_s = reader.value(_UNITS["time"])[0]
        elif word == "hysteresis":
            units = _UNITS[words.quantity]
            number, unit = reader.value(units)
            words.hysteresis = number * units[unit]
        elif word == "then":
            words.actions = _read_actions(reader)
            return
        else:
            return


def _read_actions(reader: _Reader) -> list[str]:
    actions: list[str] = []
    while True:
        word = reader.take("mark", "still", "tone") or reader.take("start", "stop")
        if word in ("start", "stop"):
            reader.need("recording")
            word = f"{word} recording"
        if not word:
            reader.fail(", ".join(ACTIONS[:-1]) + f" or {ACTIONS[-1]}")
        if word not in actions:
            actions.append(word)
        if not reader.take(",", "and"):
            return actions
