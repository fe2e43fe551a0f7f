"""A line inside its cabinet: straight legs and folds, the boards between the legs, and whether all of it goes in.

Bends count as round: their outer corners are blocked, or left square and lost.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

from system.cabinet import SectionSpec
from system.wood import Piece

HALF_TURN = math.radians(135)  # a bend by more than this has a board between its legs
NEARLY = 0.001  # m: what is too long by less goes in


def corners(section: SectionSpec) -> float:
    """The space (m3) in the square outer corners of a bend, which counts as round.

    A turn by phi in a corner between two tangents of the outer wall's circle leaves r2^2 (tan(phi/2) - phi/2) of area;
    a turn by more than a right angle has more than one corner.
    """
    bend = section.bend
    if bend is None:
        return 0.0
    count = math.ceil(bend.angle / (math.pi / 2) - 1e-9)
    turn = bend.angle / count
    radius = bend.inner_radius + bend.across
    return count * radius**2 * (math.tan(turn / 2) - turn / 2) * section.area / bend.across


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight run of a line between bends: its sections' numbers, `length` (m), and the widest of them."""

    sections: tuple[int, ...]
    length: float
    largest: SectionSpec


def legs(profile: Sequence[SectionSpec]) -> list[Leg | int]:
    """A line's straight runs and, by their numbers, the bends between them, in order."""
    found: list[Leg | int] = []
    run: list[int] = []
    for number, section in enumerate((*profile, None)):
        if section is not None and section.bend is None:
            run.append(number)
            continue
        if run:
            sections = [profile[i] for i in run]
            largest = max(sections, key=lambda each: max(each.area, each.end_area))
            found.append(Leg(tuple(run), math.fsum(each.length for each in sections), largest))
            run = []
        if section is not None:
            found.append(number)
    return found


def fold_boards(profile: Sequence[SectionSpec]) -> list[tuple[int, Piece]]:
    """The board between the legs of each fold, by the number of the bend.

    It is as long as the longer leg beside it, its rounded end in the bend included, as wide as the line, and twice the
    inner radius thick.
    """
    order = legs(profile)
    found = []
    for place, bend_at in enumerate(order):
        if isinstance(bend_at, Leg):
            continue
        section = profile[bend_at]
        assert section.bend is not None
        beside = [leg.length for leg in order[max(0, place - 1) : place + 2] if isinstance(leg, Leg)]
        if section.bend.angle >= HALF_TURN and beside:
            radius = section.bend.inner_radius
            found.append((bend_at, Piece(max(beside) + radius, section.area / section.bend.across, 2 * radius)))
    return found


def fold_volume(board: Piece) -> float:
    """Of a board between the legs of a fold, its end rounded by half its thickness, m3."""
    lost = (2 - math.pi / 2) * (board.thickness / 2) ** 2 * board.width  # beside the half circle
    return board.volume - lost


@dataclass(frozen=True, slots=True)
class Room:
    """What a run of a line takes (m): `along` its legs, `across` them in the plane of its folds, and its `width`.

    Of a leg whose sides are not told only the largest `area` (m2) counts; then `across` and `width` are zero.
    """

    along: float
    across: float
    width: float
    area: float

    def goes_into(self, inside: tuple[float, float, float]) -> bool:
        """Whether it lies in a space of these sizes (m) in any direction along its edges."""
        return any(
            self.along <= one + NEARLY
            and self.across <= two + NEARLY
            and self.width <= three + NEARLY
            and self.area <= (two + NEARLY) * (three + NEARLY)
            for one, two, three in permutations(inside)
        )


def rooms(profile: Sequence[SectionSpec]) -> list[Room]:
    """What the line takes, run by run: legs joined by folds lie side by side and are one run; other bends part runs."""
    found: list[Room] = []
    run: list[Leg | SectionSpec] = []
    for each in legs(profile):
        part = each if isinstance(each, Leg) else profile[each]
        if isinstance(part, SectionSpec) and not _folds(part):
            found += [_room([*run, part])] if run else []  # the bend's outer half lies beyond the leg
            run = [part]
        else:
            run.append(part)
    if any(isinstance(part, Leg) for part in run) or not found:
        found.append(_room(run))
    return found


def _folds(section: SectionSpec) -> bool:
    return section.bend is not None and section.bend.angle >= HALF_TURN


def _room(run: Sequence[Leg | SectionSpec]) -> Room:
    """Legs go to and fro from each fold; every bend reaches by its outer radius beyond its legs."""
    place, way, low, high = 0.0, 1, 0.0, 0.0
    across = width = area = 0.0
    for number, part in enumerate(run):
        if isinstance(part, Leg):
            place += way * part.length
            reach = place
            area = max(area, part.largest.area, part.largest.end_area) if part.largest.sides is None else area
            if part.largest.sides is not None:  # a taper is taken to change the depth
                wide = part.largest.sides[0]
                across += max(part.largest.area, part.largest.end_area) / wide
                width = max(width, wide)
        else:
            assert part.bend is not None
            outer = part.bend.inner_radius + part.bend.across
            width = max(width, part.area / part.bend.across)
            before = number == 0 and not _folds(part)  # a run begins in the bend that parts it from the last
            reach = place - way * outer if before else place + way * outer
            if _folds(part):
                across += 2 * part.bend.inner_radius
                way = -way
        low, high = min(low, reach), max(high, reach)
    return Room(high - low, across, width, area)
