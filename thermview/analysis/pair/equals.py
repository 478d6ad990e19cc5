"""Equal parts compared among themselves: of four drivers three warm, one does not.

This needs no known-good board. Parts are equals when package, value and the pattern of their nets
agree; without nets only chips and transistors with one stated value are taken for equals, since
parts that share no more than a package do all sorts of work.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.readings import Compared
from thermview.analysis.pair.verdict import ALIKE, COLDER, HOTTER, OUT_OF_VIEW, SIGMAS, Limits
from thermview.board import Part, kind_of

Range = dict[str, tuple[float, float]]
"""Least and largest of a number, by part."""

FEWEST = 3
AGREEING = 0.6  # share of a group that must do alike before the rest is called odd
OTHERWISE = frozenset({"R", "C", "L", "D", "J", "X", "TP", "H", "FB", "F"})
GROUND = ("GND", "VSS", "0V", "AGND", "DGND", "PGND", "EARTH")
COMMON_NET = 6  # a net that joins more parts is a rail: equals share it


@dataclass(frozen=True, slots=True)
class Odd:
    """A part that does not do as its equals.

    Attributes
    ----------
    name : str
    verdict : str
        ``colder`` or ``hotter`` than its equals.
    power_w, equals_w, sigma_w : float
        Its power, the equals' median, and the difference's standard uncertainty.
    equals : tuple of str
        The parts that it is compared with.
    """

    name: str
    verdict: str
    power_w: float
    equals_w: float
    sigma_w: float
    equals: tuple[str, ...]

    @property
    def words(self) -> str:
        """Return the finding in words."""
        return odd_words(self.name, self.verdict, len(self.equals), names=self.equals)


def odd_words(
    name: str,
    verdict: str,
    equals: int,
    *,
    what: str = "equal parts",
    names: Sequence[str] = (),
) -> str:
    """Return in words that one of several does not do as its equals, how many or by name."""
    doing, not_doing = ("warm", "does not") if verdict == COLDER else ("stay cooler", "is hotter")
    listed = f" ({', '.join(names)})" if names else ""
    return f"{equals} of {equals + 1} {what} {doing}{listed}, {name} {not_doing}"


def equal_parts(parts: Sequence[Part]) -> list[tuple[str, ...]]:
    """Return groups of equal parts, three or more each, by designator."""
    joined: dict[str, int] = {}
    for part in parts:
        for net in part.nets:
            joined[net] = joined.get(net, 0) + 1
    groups: dict[tuple[str, str, str, str, tuple[str, ...]], list[str]] = {}
    for part in parts:
        kind = kind_of(part.designator)
        unknown = not part.nets and (kind in OTHERWISE or not part.value)
        if not part.package or unknown:
            continue
        key = (kind, part.package, part.value, part.side, _pattern(part, joined))
        groups.setdefault(key, []).append(part.designator)
    return [tuple(names) for names in groups.values() if len(names) >= FEWEST]


def _pattern(part: Part, joined: Mapping[str, int]) -> tuple[str, ...]:
    """Return what equals share of their nets: rails by name, other nets only by their number."""
    rails = [n for n in part.nets if joined[n] > COMMON_NET or n.upper() in GROUND]
    return (*sorted(rails), str(len(part.nets) - len(rails)))


def odd_ones(
    comparison: Comparison, groups: Iterable[tuple[str, ...]], limits: Limits | None = None
) -> list[Odd]:
    """Return the parts of the second board that do otherwise than most of their equals there."""
    limits = limits or Limits()
    by_name = {one.name: one for one in comparison.subjects if np.isfinite(one.power_bad_w)}
    found: list[Odd] = []
    for group in groups:
        members = [by_name[name] for name in group if name in by_name]
        if len(members) >= FEWEST:
            found += _odd(members, limits)
    return found


def _odd(members: list[Compared], limits: Limits) -> list[Odd]:
    power = np.array([one.power_bad_w for one in members])
    usual = float(np.median(power))
    says = [_verdict(one, usual, limits) for one in members]
    alike = [one for one, verdict in zip(members, says, strict=True) if verdict == ALIKE]
    if len(alike) < AGREEING * len(members):
        return []
    names = tuple(one.name for one in alike)
    return [
        Odd(one.name, verdict, one.power_bad_w, usual, one.sigma_w, names)
        for one, verdict in zip(members, says, strict=True)
        if verdict != ALIKE
    ]


def _verdict(one: Compared, usual_w: float, limits: Limits) -> str:
    """Return how a part does beside what its equals usually dissipate."""
    beyond = SIGMAS * one.sigma_w
    if one.power_bad_w < limits.colder_below * usual_w and usual_w - one.power_bad_w > beyond:
        return COLDER
    if one.power_bad_w > limits.hotter_above * usual_w and one.power_bad_w - usual_w > beyond:
        return HOTTER
    return ALIKE


def consensus(comparisons: Sequence[Comparison]) -> list[Compared]:
    """Return one verdict per part from several known-good boards of the model.

    The good boards' median stands for the good power and their spread joins the uncertainty; a
    part is accused where most comparisons accuse it alike.
    """
    out = []
    for same in zip(*(c.subjects for c in comparisons), strict=True):
        first = same[0]
        good = np.array([one.power_good_w for one in same])
        spread = float(np.std(good, ddof=1)) if len(same) > 1 else 0.0
        sigma_w = float(np.hypot(np.median([one.sigma_w for one in same]), spread))
        counted = {v: sum(one.verdict == v for one in same) for v in {o.verdict for o in same}}
        verdict = max(counted, key=lambda v: counted[v])
        if verdict in (COLDER, HOTTER) and 2 * counted[verdict] <= len(same):
            verdict = ALIKE
        rise_k = float(np.median([one.rise_good_k for one in same]))
        out.append(
            Compared(
                first.name, first.x_mm, first.y_mm, rise_k, first.rise_bad_k,
                float(np.median(good)), first.power_bad_w, sigma_w, verdict,
            )
        )  # fmt: skip
    return out


def range_of(seen: Sequence[Comparison], of: str) -> Range:
    """Return the least and the largest power, or rise, of each part on the good boards."""
    if len(seen) < 2:
        return {}
    values: dict[str, list[float]] = {}
    for found in seen:
        for one in found.subjects:
            if one.verdict != OUT_OF_VIEW and np.isfinite(getattr(one, of)):
                values.setdefault(one.name, []).append(getattr(one, of))
    return {name: (min(each), max(each)) for name, each in values.items()}
