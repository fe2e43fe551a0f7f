"""The boards of a cabinet as they are cut: six panels that cover each other in one simple way, and the holes in them.

The front and the rear cover the whole outline; the left and the right side lie between them, as high as the cabinet;
top and bottom lie between all four. So every joint is plain, and what is not board is air: the volumes of the panels
and of the space inside add up to that of the outside.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from system.cabinet import Baffle, Cutout, Face
from system.wood import Boards

INCH = 0.0254  # m, exactly (International yard and pound agreement, 1959)
HoleKind = Literal["driver", "radiator", "port", "mouth"]


@dataclass(frozen=True, slots=True)
class Hole:
    """`count` like holes about (x, y), m from the lower left corner of the panel seen from outside.

    Round ones have a `diameter` (m; None: to be measured), slots `sides` (width, height). `least` (m) is the diameter
    that it cannot be below. A `rebate` takes the flange: its diameter and depth (m; None: to be measured).
    """

    name: str
    kind: HoleKind
    x: float
    y: float
    diameter: float | None
    least: float
    sides: tuple[float, float] | None = None
    count: int = 1
    rebate: tuple[float, float | None] | None = None

    @property
    def reach(self) -> tuple[float, float]:
        """Half its width and half its height (m), as far as they are known."""
        if self.sides is not None:
            return self.sides[0] / 2, self.sides[1] / 2
        radius = max(self.diameter or 0.0, self.least) / 2
        return radius, radius


@dataclass(frozen=True, slots=True)
class Panel:
    """The board of one face: `width` and `height` (m) seen from outside, the cabinet standing.

    `corner` is its lower left corner on the face that it belongs to; `inside` the part of it that the space inside
    meets: from and to across, from and to up (m from its own corner).
    """

    face: Face
    width: float
    height: float
    thickness: float
    corner: tuple[float, float]
    inside: tuple[float, float, float, float]
    holes: tuple[Hole, ...] = ()

    @property
    def area(self) -> float:
        """In m2, holes and all."""
        return self.width * self.height

    @property
    def volume(self) -> float:
        """In m3, holes and all."""
        return self.area * self.thickness


def sixteenths(metres: float) -> int:
    """A length in sixteenths of an inch, rounded to the nearest."""
    return math.floor(metres / INCH * 16 + 0.5)


def panels(baffle: Baffle, boards: Boards) -> tuple[Panel, ...]:
    """The six panels without holes, front first. Raises ValueError where nothing is left inside."""
    t, front, rear = boards.thickness, boards.front, boards.rear
    w, h, d = baffle.width, baffle.height, baffle.depth
    inner_w, inner_h, inner_d = w - 2 * t, h - 2 * t, d - front - rear
    if min(inner_w, inner_h, inner_d) <= 0:
        raise ValueError(f"boards of {t * 1e3:g} mm leave nothing inside")
    whole = (t, w - t, t, h - t)
    side = (0.0, inner_d, t, h - t)
    lid = (0.0, inner_w, 0.0, inner_d)
    # seen from outside, the rear is to the left of the left side and above the top's upper edge
    return (
        Panel("front", w, h, front, (0.0, 0.0), whole),
        Panel("rear", w, h, rear, (0.0, 0.0), whole),
        Panel("left", inner_d, h, t, (rear, 0.0), side),
        Panel("right", inner_d, h, t, (front, 0.0), side),
        Panel("top", inner_w, inner_d, t, (t, front), lid),
        Panel("bottom", inner_w, inner_d, t, (t, rear), lid),
    )


def drilled(bare: Iterable[Panel], holes: Sequence[tuple[Cutout, Hole]]) -> tuple[Panel, ...]:
    """The panels with their holes; those come with the cutouts of the kit, which are measured on the whole face."""
    return tuple(
        replace(panel, holes=tuple(_on(panel, cutout, hole) for cutout, hole in holes if cutout.face == panel.face))
        for panel in bare
    )


def _on(panel: Panel, cutout: Cutout, hole: Hole) -> Hole:
    return replace(hole, x=cutout.at[0] - panel.corner[0], y=cutout.at[1] - panel.corner[1])


def over_joint(panel: Panel, hole: Hole) -> float:
    """By how much (m) a hole reaches beyond what of its panel the space inside meets; below zero: it does not."""
    left, right, low, high = panel.inside
    across, up = hole.reach
    return max(left - hole.x + across, hole.x + across - right, low - hole.y + up, hole.y + up - high)


def overlaps(panel: Panel) -> list[tuple[Hole, Hole]]:
    """Round holes, or the flanges about them, that reach into each other. One wholly within another is meant so."""
    found = []
    for one, other in combinations([hole for hole in panel.holes if hole.count == 1 and hole.sides is None], 2):
        radii = [max(hole.reach[0], hole.rebate[0] / 2 if hole.rebate else 0.0) for hole in (one, other)]
        apart = math.hypot(one.x - other.x, one.y - other.y)
        if apart < sum(radii) * (1 - 1e-9) and apart + min(radii) > max(radii):
            found.append((one, other))
    return found
