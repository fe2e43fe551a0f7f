"""What meets at each point of a variant's board: joints in signal order, the common line first. Plain values."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from system.board import circuit
from system.circuit import WayRound
from system.kit import Kit, Variant

Mark = Literal["", "plus", "minus"]
INPUT = "input"  # what the amplifier's cable is called; no place or driver has its name with a mark


@dataclass(frozen=True, slots=True)
class End:
    """One end of something at a joint: the input's or a driver's with its mark, a part's, or that of a link's wire."""

    of: str
    kind: Literal["input", "part", "link", "driver"]
    mark: Mark = ""
    other: str = ""  # the point at the other end of a part or link


@dataclass(frozen=True, slots=True)
class Joint:
    """All that is soldered together at a point."""

    point: str
    ends: tuple[End, ...]


@dataclass(frozen=True, slots=True)
class Polarity:
    """Where a driver's marks go, and whether that is by its marks: plus on the hot side of the input."""

    driver: str
    plus: str
    minus: str
    way_round: WayRound
    on_purpose: bool


def joints(kit: Kit, variant: Variant) -> tuple[Joint, ...]:
    """Of the fitted and linked places, the drivers and the input: the common line, then from the hot point on."""
    hot, common = kit.input
    found: dict[str, list[End]] = {
        common: [End(INPUT, "input", "minus")],
        hot: [End(INPUT, "input", "plus")],
    }
    for reference, place in variant.places.items():
        if place.state != "omit":
            a, b = place.between
            kind: Literal["part", "link"] = "part" if place.state == "fit" else "link"
            found.setdefault(a, []).append(End(reference, kind, other=b))
            found.setdefault(b, []).append(End(reference, kind, other=a))
    for name, hookup in variant.hookups.items():
        found.setdefault(hookup.plus, []).append(End(name, "driver", "plus", hookup.minus))
        found.setdefault(hookup.minus, []).append(End(name, "driver", "minus", hookup.plus))
    return tuple(Joint(point, tuple(found[point])) for point in _order(found, hot, common))


def _order(found: dict[str, list[End]], hot: str, common: str) -> Iterator[str]:
    """Common, then outward from the hot point in steps of one part, and last what hangs on the common line only."""
    yield common
    seen, waiting = {common}, deque([hot, *found])
    while waiting:
        point = waiting.popleft()
        if point not in seen:
            seen.add(point)
            yield point
            waiting.extendleft(reversed([end.other for end in found[point] if end.kind in ("part", "link")]))


def polarities(kit: Kit, variant: Variant) -> tuple[Polarity, ...]:
    """Of each driver, in the order of the kit file."""
    made = circuit(kit.input, variant.places, variant.hookups)
    return tuple(
        Polarity(name, hookup.plus, hookup.minus, made.way_round(name), hookup.reversed_on_purpose)
        for name, hookup in variant.hookups.items()
    )
