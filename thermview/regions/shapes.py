"""The five shapes, in the picture's axes: x to the right, y down, pixels as floats.

Pixel (row i, column j) covers [j, j+1) x [i, i+1). Shapes are values: every change makes another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, ClassVar, Self

from thermview.errors import InputError

FARTHEST_PX = 1e6
"""No coordinate lies farther from the picture's corner: 32,767 px is the largest sensor's side
many times over, and float64 then still resolves a billionth of a pixel."""

SMALLEST_PX = 1.0
"""Dragging a handle never makes a side or a radius smaller than this."""

Point = tuple[float, float]
Box = tuple[float, float, float, float]


def _number(name: str, value: object) -> float:
    """Return `value` as a float that can be a coordinate, or raise an InputError naming it."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{name} must be a number, got {value!r}")
    if not abs(value) <= FARTHEST_PX:  # also true of NaN
        raise InputError(f"{name} must lie within ±{FARTHEST_PX:,.0f} px, got {value!s:.40}")
    return float(value)


class _Outline:
    """What the shapes share; each is a frozen dataclass of floats."""

    kind: ClassVar[str]
    _positive: ClassVar[tuple[str, ...]] = ()

    def __post_init__(self) -> None:
        for item in fields(self):  # type: ignore[arg-type]  # every subclass is a dataclass
            value = _number(item.name, getattr(self, item.name))
            if item.name in self._positive and value <= 0:
                raise InputError(f"{item.name} must be above 0, got {value:g}")
            object.__setattr__(self, item.name, value)

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Self:
        """Return the shape with x → scale_x·x + shift_x and y alike; scales are 1 or −1."""
        raise NotImplementedError

    def moved(self, dx: float, dy: float) -> Self:
        """Return the shape moved by `dx` to the right and `dy` down, px."""
        return self._mapped(1, dx, 1, dy)

    def mirrored_x(self, axis_x: float) -> Self:
        """Return the shape with left and right exchanged about the upright line x = `axis_x`."""
        return self._mapped(-1, 2 * axis_x, 1, 0.0)

    def mirrored_y(self, axis_y: float) -> Self:
        """Return the shape with top and bottom exchanged about the level line y = `axis_y`."""
        return self._mapped(1, 0.0, -1, 2 * axis_y)

    def to_json(self) -> dict[str, Any]:
        """Return the shape as it stands in a regions file."""
        names = [item.name for item in fields(self)]  # type: ignore[arg-type]
        return {"shape": self.kind} | {name: getattr(self, name) for name in names}


@dataclass(frozen=True)
class Spot(_Outline):
    """One point; measured on the one pixel that holds it."""

    kind: ClassVar[str] = "spot"
    x: float
    y: float

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Spot:
        return Spot(scale_x * self.x + shift_x, scale_y * self.y + shift_y)

    def bounds(self) -> Box:
        """Return (left, top, right, bottom), px."""
        return self.x, self.y, self.x, self.y

    def handles(self) -> tuple[Point, ...]:
        """Return the points by which the shape is dragged into form."""
        return ((self.x, self.y),)

    def with_handle(self, index: int, x: float, y: float) -> Spot:
        """Return the shape with handle `index` dragged to (x, y)."""
        return Spot(x, y)


@dataclass(frozen=True)
class Line(_Outline):
    """A straight stroke, both ends included; measured on the pixels that it crosses."""

    kind: ClassVar[str] = "line"
    x1: float
    y1: float
    x2: float
    y2: float

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Line:
        return Line(
            scale_x * self.x1 + shift_x,
            scale_y * self.y1 + shift_y,
            scale_x * self.x2 + shift_x,
            scale_y * self.y2 + shift_y,
        )

    def bounds(self) -> Box:
        """Return (left, top, right, bottom), px."""
        left, right = sorted((self.x1, self.x2))
        top, bottom = sorted((self.y1, self.y2))
        return left, top, right, bottom

    def handles(self) -> tuple[Point, ...]:
        """Return the two ends."""
        return (self.x1, self.y1), (self.x2, self.y2)

    def with_handle(self, index: int, x: float, y: float) -> Line:
        """Return the line with end `index` (0 or 1) dragged to (x, y)."""
        return replace(self, x1=x, y1=y) if index == 0 else replace(self, x2=x, y2=y)


@dataclass(frozen=True)
class Rectangle(_Outline):
    """An upright rectangle by its left top corner and size."""

    kind: ClassVar[str] = "rectangle"
    _positive: ClassVar[tuple[str, ...]] = ("width", "height")
    x: float
    y: float
    width: float
    height: float

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Rectangle:
        left = self.x if scale_x > 0 else self.x + self.width
        top = self.y if scale_y > 0 else self.y + self.height
        return replace(self, x=scale_x * left + shift_x, y=scale_y * top + shift_y)

    def bounds(self) -> Box:
        """Return (left, top, right, bottom), px."""
        return self.x, self.y, self.x + self.width, self.y + self.height

    def handles(self) -> tuple[Point, ...]:
        """Return the corners: left top, right top, right bottom, left bottom."""
        left, top, right, bottom = self.bounds()
        return (left, top), (right, top), (right, bottom), (left, bottom)

    def with_handle(self, index: int, x: float, y: float) -> Rectangle:
        """Return the rectangle with corner `index` dragged to (x, y), the opposite one fixed."""
        fixed_x, fixed_y = self.handles()[(index + 2) % 4]
        width = max(abs(x - fixed_x), SMALLEST_PX)
        height = max(abs(y - fixed_y), SMALLEST_PX)
        left = fixed_x if x >= fixed_x else fixed_x - width
        top = fixed_y if y >= fixed_y else fixed_y - height
        return Rectangle(left, top, width, height)


@dataclass(frozen=True)
class Ellipse(_Outline):
    """An upright ellipse by its centre and its two radii."""

    kind: ClassVar[str] = "ellipse"
    _positive: ClassVar[tuple[str, ...]] = ("rx", "ry")
    cx: float
    cy: float
    rx: float
    ry: float

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Ellipse:
        return replace(self, cx=scale_x * self.cx + shift_x, cy=scale_y * self.cy + shift_y)

    def bounds(self) -> Box:
        """Return (left, top, right, bottom), px."""
        return self.cx - self.rx, self.cy - self.ry, self.cx + self.rx, self.cy + self.ry

    def handles(self) -> tuple[Point, ...]:
        """Return the ends of the axes: right, bottom, left, top."""
        left, top, right, bottom = self.bounds()
        return (right, self.cy), (self.cx, bottom), (left, self.cy), (self.cx, top)

    def with_handle(self, index: int, x: float, y: float) -> Ellipse:
        """Return the ellipse with the axis end `index` dragged to (x, y), its centre fixed."""
        if index % 2 == 0:
            return replace(self, rx=max(abs(x - self.cx), SMALLEST_PX))
        return replace(self, ry=max(abs(y - self.cy), SMALLEST_PX))


@dataclass(frozen=True)
class Polygon(_Outline):
    """A closed outline of three or more corners.

    Where the outline crosses itself, a point is inside when a ray from it meets the outline an
    odd number of times: the middle of a five-pointed star drawn in one stroke is outside.
    """

    kind: ClassVar[str] = "polygon"
    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        if len(self.points) < 3:
            raise InputError(f"points must be three or more, got {len(self.points)}")
        checked = tuple(
            (_number(f"points {n} x", x), _number(f"points {n} y", y))
            for n, (x, y) in enumerate(self.points, 1)
        )
        object.__setattr__(self, "points", checked)

    def _mapped(self, scale_x: int, shift_x: float, scale_y: int, shift_y: float) -> Polygon:
        return Polygon(
            tuple((scale_x * x + shift_x, scale_y * y + shift_y) for x, y in self.points)
        )

    def bounds(self) -> Box:
        """Return (left, top, right, bottom), px."""
        xs, ys = zip(*self.points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)

    def handles(self) -> tuple[Point, ...]:
        """Return the corners."""
        return self.points

    def with_handle(self, index: int, x: float, y: float) -> Polygon:
        """Return the polygon with corner `index` dragged to (x, y)."""
        return Polygon((*self.points[:index], (x, y), *self.points[index + 1 :]))

    def to_json(self) -> dict[str, Any]:
        """Return the shape as it stands in a regions file."""
        return {"shape": self.kind, "points": [list(point) for point in self.points]}


Shape = Spot | Line | Rectangle | Ellipse | Polygon

_KINDS: dict[str, type[Spot | Line | Rectangle | Ellipse | Polygon]] = {
    shape.kind: shape for shape in (Spot, Line, Rectangle, Ellipse, Polygon)
}


def shape_from_json(entry: Mapping[str, Any]) -> Shape:
    """Read a shape from one entry of a regions file.

    Raises
    ------
    InputError
        Says which key is missing or what its value should be.
    """
    kind = entry.get("shape")
    if not isinstance(kind, str) or kind not in _KINDS:
        raise InputError(f"shape must be one of {', '.join(_KINDS)}, got {kind!r}")
    names = [item.name for item in fields(_KINDS[kind])]
    if missing := [name for name in names if name not in entry]:
        raise InputError(f"{' and '.join(missing)} of the {kind} missing")
    if kind == Polygon.kind:
        return Polygon(_points(entry["points"]))
    return _KINDS[kind](**{name: entry[name] for name in names})


def _points(value: object) -> tuple[Point, ...]:
    if not isinstance(value, list) or not all(
        isinstance(point, list) and len(point) == 2 for point in value
    ):
        raise InputError("points must be a list of [x, y] pairs")
    return tuple((x, y) for x, y in value)
