"""The parts on the board as bodies with a place: what they cover, how far apart they are. Plain floats, no numpy.

The board lies flat, its first measure along x and its second along y, both from its lower left corner; z is up. A coil
is a ring, everything else a box.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from enclosures.frozen import frozen
from filters.windings import Winding, brooks_winding, likely_wire, mass_of

if TYPE_CHECKING:
    from system.kit import Place, Variant

Held = Literal["hot_melt", "glue", "tie", "screw"]
XY = tuple[float, float]
Vector = tuple[float, float, float]

HELD: Held = "hot_melt"  # how a part is held that nothing is said of
LEAST_GAP = 1e-6  # m; bodies that reach less far into each other touch


@frozen
class Spot:
    """Where a part sits and how large it is, as the kit says (m, kg); None where it says nothing.

    `at` is its middle. `angle` (rad) is that of its axis from x, None for an axis that stands up. A coil has `inner`,
    `outer` and `height` (along its axis), another part `size`: length along its axis, width, and height over the board.
    """

    at: XY
    angle: float | None = 0.0
    inner: float | None = None
    outer: float | None = None
    height: float | None = None
    size: Vector | None = None
    raised: float = 0.0  # m
    mass: float | None = None  # kg
    held: Held = HELD


@frozen
class LayoutSpec:
    """A board (m, m) and the parts that have a place on it, by reference in the kit's order."""

    board: XY
    spots: Mapping[str, Spot] = field(default_factory=dict)


@frozen
class Body:
    """A part with its place: `corners` in plan, rounded out by `round`, from `low` to `high` over the board; m, kg.

    A coil has its `winding`. `assumed` says that its size was worked out, not given; `mass` None: nobody knows.
    """

    reference: str
    spot: Spot
    corners: tuple[XY, ...]
    round: float
    low: float
    high: float
    mass: float | None
    winding: Winding | None = None
    assumed: bool = False

    @property
    def axis(self) -> Vector:
        """A unit vector."""
        angle = self.spot.angle
        return (0.0, 0.0, 1.0) if angle is None else (math.cos(angle), math.sin(angle), 0.0)

    @property
    def centre(self) -> Vector:
        return (*self.spot.at, (self.low + self.high) / 2)

    @property
    def reach(self) -> tuple[float, float, float, float]:
        """The least and the largest x, then y, that it covers."""
        xs, ys = zip(*self.corners, strict=True)
        return min(xs) - self.round, max(xs) + self.round, min(ys) - self.round, max(ys) + self.round


def body(layout: LayoutSpec, place: Place) -> Body:
    """The part of a place that the layout has, as it lies on the board."""
    spot, part = layout.spots[place.reference], place.part
    if part.kind == "coil":
        made = coil_body(place.reference, spot, part.value, part.resistance)
        return replace(made, mass=spot.mass) if part.core == "iron" else made  # what its core weighs nobody knows
    return box_body(place.reference, spot)


def bodies(layout: LayoutSpec, variant: Variant) -> tuple[Body, ...]:
    """Every fitted part that has a place on the board, in file order."""
    fitted = (place for place in variant.places.values() if place.state == "fit")
    return tuple(body(layout, place) for place in fitted if place.reference in layout.spots)


def coil_body(reference: str, spot: Spot, inductance: float, resistance: float) -> Body:
    """A coil of `inductance` (H) and dc `resistance` (ohm, zero: not known).

    Without a size it is as Brooks would wind it of the wire that has this resistance. Without an inner diameter it is
    half of the outer, as in that shape.
    """
    wire = likely_wire(inductance, resistance)
    assumed = spot.outer is None
    if spot.outer is None or spot.height is None:
        winding = brooks_winding(inductance, wire)
    else:
        inner = spot.outer / 2 if spot.inner is None else spot.inner
        winding = Winding(inner, (spot.outer - inner) / 2, spot.height)
    outer = winding.outer_diameter
    mass = mass_of(winding, wire) if spot.mass is None else spot.mass
    if spot.angle is None:
        corners: tuple[XY, ...] = (spot.at,)
        return Body(
            reference, spot, corners, outer / 2, spot.raised, spot.raised + winding.length, mass, winding, assumed
        )
    corners = _rectangle(spot.at, spot.angle, winding.length, outer)
    return Body(reference, spot, corners, 0.0, spot.raised, spot.raised + outer, mass, winding, assumed)


def box_body(reference: str, spot: Spot) -> Body:
    """A part that is no coil; its spot has a size. Raises ValueError where it has none."""
    if spot.size is None:
        raise ValueError(f"layout: {reference} has no size")
    length, width, height = spot.size
    if spot.angle is None:  # on end
        length, height = height, length
    corners = _rectangle(spot.at, spot.angle or 0.0, length, width)
    return Body(reference, spot, corners, 0.0, spot.raised, spot.raised + height, spot.mass)


def _rectangle(at: XY, angle: float, length: float, width: float) -> tuple[XY, ...]:
    c, s = math.cos(angle), math.sin(angle)
    ends = ((1, 1), (-1, 1), (-1, -1), (1, -1))
    return tuple(
        (at[0] + c * u * length / 2 - s * v * width / 2, at[1] + s * u * length / 2 + c * v * width / 2)
        for u, v in ends
    )


def off_board(body: Body, board: XY) -> float:
    """By how much a body sticks out over the board's edge (m); zero or less where it does not."""
    left, right, lower, upper = body.reach
    return max(-left, right - board[0], -lower, upper - board[1])


def gap(first: Body, second: Body) -> float:
    """The distance (m) between two bodies; below zero by as much as they reach into each other in plan."""
    level = _gap_in_plan(first, second)
    above = max(second.low - first.high, first.low - second.high)
    if above >= 0:  # one over the other, or beside it at another height
        return math.hypot(max(level, 0.0), above)
    return level


def overlap(first: Body, second: Body) -> float:
    """By how much (m) two bodies reach into each other in plan; zero or less where they do not."""
    left, right, lower, upper = first.reach
    other_left, other_right, other_lower, other_upper = second.reach
    beside = max(other_left - right, left - other_right, other_lower - upper, lower - other_upper)
    return -beside if beside >= 0 else -gap(first, second)  # most parts are well apart, and that is seen at once


def apart(first: Body, second: Body) -> bool:
    """Whether two bodies do not reach into each other."""
    return overlap(first, second) <= LEAST_GAP


def _gap_in_plan(first: Body, second: Body) -> float:
    rounds = first.round + second.round
    depth = _apart(first.corners, second.corners)
    if depth < 0:
        return depth - rounds
    sides = [*_sides(first.corners, second.corners), *_sides(second.corners, first.corners)]
    return min(_to_side(point, a, b) for point, a, b in sides) - rounds


def _sides(corners: tuple[XY, ...], others: tuple[XY, ...]) -> Iterator[tuple[XY, XY, XY]]:
    """Every corner of `corners` with every side of `others`."""
    for point in corners:
        for a, b in pairwise((*others, others[0])):
            yield point, a, b


def _to_side(point: XY, a: XY, b: XY) -> float:
    ux, uy = b[0] - a[0], b[1] - a[1]
    square = ux * ux + uy * uy
    along = ((point[0] - a[0]) * ux + (point[1] - a[1]) * uy) / square if square else 0.0
    along = min(1.0, max(0.0, along))
    return math.hypot(point[0] - a[0] - along * ux, point[1] - a[1] - along * uy)


def _apart(first: tuple[XY, ...], second: tuple[XY, ...]) -> float:
    """The largest distance between two convex shapes across a side of one (separating axes); below zero: they overlap.

    Zero or more for a shape that is a point outside of the other, or another point.
    """
    normals = []
    for corners in (first, second):
        for a, b in pairwise((*corners, corners[0])):
            length = math.hypot(b[0] - a[0], b[1] - a[1])
            if length:
                normals.append(((b[1] - a[1]) / length, (a[0] - b[0]) / length))
    if not normals:  # two circles
        return 0.0
    widest = -math.inf
    for nx, ny in normals:
        one = [x * nx + y * ny for x, y in first]
        other = [x * nx + y * ny for x, y in second]
        widest = max(widest, min(other) - max(one), min(one) - max(other))
    return widest
