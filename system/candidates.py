"""What stock offers for a protective place: single capacitors, two together, and a resistor with one of them."""

from __future__ import annotations

import math
from bisect import bisect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filters import stock as series
from filters.network import sweep_branch
from system import wording
from system.build import Build
from system.kit import Kit
from system.place import ProtectivePlace

Complexes = NDArray[np.complexfloating]
Together = Literal["parallel", "series"]

BIG_CAPACITOR = 200e-6  # F; above, a choice is judged over its tolerance
ASSUMED_TOLERANCE = 0.10
SERIES_OFFERS = (1e-6, 10e-3)  # F, what an IEC 60063 series is taken to offer
RANGE = (1 / 8, 4.0)  # of the box resonance: where the capacitor's reactance may equal the woofers' re
NEAR = 0.10  # capacitors closer than this do the same for a woofer


@dataclass(frozen=True, slots=True)
class Wiring:
    """How a resistor stands with a capacitor: in words and as a sign, and the impedance of the `whole` from both.

    `tried` are the lowest and highest resistor that make sense, as multiples of the woofers' re: what lies across must
    let the capacitor act and still keep some bass, what lies in series may take a few decibels.
    """

    words: str
    sign: str
    whole: Callable[[Complexes, Complexes], Complexes]
    in_series: bool
    tried: tuple[float, float]


WIRINGS: Mapping[str, Wiring] = {
    "across": Wiring("across it", "||", lambda c, r: c * r / (c + r), False, (1.0, 20.0)),
    "in_series": Wiring("in series", "+", lambda c, r: c + r, True, (0.05, 0.5)),
}


@dataclass(frozen=True, slots=True)
class Damping:
    """A resistor with the capacitor: `value` (ohm), its `wiring` (a key of `WIRINGS`), power `rating` (W) if any."""

    value: float
    wiring: str
    rating: float | None = None

    @property
    def words(self) -> str:
        return wording.part_value("resistor", self.value)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A capacitor for the place: `value` (F), what it is made of (F), tolerance (ratio) and voltage rating (V).

    `how` says how its members stand together; `damping` is the resistor with it.
    """

    value: float
    made_of: tuple[float, ...]  # F
    tolerance: float
    voltage_rating: float | None  # V
    how: Together = "parallel"
    damping: Damping | None = None

    @property
    def words(self) -> str:
        """`220 uF (100 uF + 120 uF)`, `150 uF with 22 ohm across it`."""
        members = " and ".join(map(wording.farads, self.made_of))
        text = wording.group(self.value, self.made_of)
        if self.how == "series":
            text = f"{wording.farads(self.value)} ({members} in series)"
        if self.damping is None:
            return text
        return f"{text} with {self.damping.words} {WIRINGS[self.damping.wiring].words}"

    @property
    def short(self) -> str:
        """The value alone, with its resistor: `220 uF`, `150 uF || 22 ohm`."""
        text = wording.farads(self.value)
        return f"{text} {WIRINGS[self.damping.wiring].sign} {self.damping.words}" if self.damping else text

    @property
    def values(self) -> tuple[float, ...]:
        """The capacitances it is judged at: the nominal one, and above 200 uF the ends of its tolerance too."""
        if self.value <= BIG_CAPACITOR:
            return (self.value,)
        return (self.value, self.value * (1 - self.tolerance), self.value * (1 + self.tolerance))


def candidates(kit: Kit, model: Build, place: ProtectivePlace) -> tuple[Candidate, ...]:
    """The kit's own capacitor first (where the board has the place), then all that stock offers, by value.

    These are single ones and two in parallel.
    """
    part = place.place.part
    low, high = value_range(model, place)
    singles = _stock(kit, high, place) if low <= high else []
    offered = [single for single, _ in singles if low <= single.value <= high]
    offered += (pair for pair in _pairs(singles, _in_parallel) if low <= pair.value <= high)
    rating = part.voltage_rating
    own = [Candidate(part.value, part.made_of, _tolerance(place), rating, part.made_of_how)] if place.own else []
    return (*own, *sorted(offered, key=lambda c: (c.value, len(c.made_of))))


def in_series(kit: Kit, model: Build, place: ProtectivePlace, offered: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Two in series where stock is sparse: of values that nothing `offered` is near, rising, none near another."""
    low, high = value_range(model, place)
    there = sorted(candidate.value for candidate in offered)
    pairs = _pairs(_stock(kit, math.inf, place) if low <= high else [], _in_series)
    kept: list[Candidate] = []
    for pair in sorted(pairs, key=lambda c: (c.value, c.made_of)):
        place_among = bisect(there, pair.value)
        neighbours = [*there[max(0, place_among - 1) : place_among + 1], *(c.value for c in kept[-1:])]
        if low <= pair.value <= high and not any(alike(pair.value, value) for value in neighbours):
            kept.append(pair)
    return tuple(kept)


def alike(one: float, other: float) -> bool:
    """Whether two capacitances do the same for a woofer."""
    return abs(one / other - 1) <= NEAR


def damped(kit: Kit, model: Build, place: ProtectivePlace, candidate: Candidate) -> Iterator[Candidate]:
    """The candidate with every resistor in stock that makes sense, in each of `WIRINGS`."""
    _, re = _served(model, place)
    for name, wiring in WIRINGS.items():
        low, high = (ratio * re for ratio in wiring.tried)
        for value, rating in _resistors(kit, low, high):
            yield replace(candidate, damping=Damping(value, name, rating))


def _resistors(kit: Kit, low: float, high: float) -> list[tuple[float, float | None]]:
    """Value (ohm) and power rating (W) of the resistors in stock from `low` to `high`."""
    offers = kit.stock.resistors
    if isinstance(offers, str):
        return [(value, None) for value in series.values(offers, low, high)]
    return [(offer.value, offer.rating) for offer in offers if low <= offer.value <= high and offer.in_stock != 0]


def value_range(model: Build, place: ProtectivePlace) -> tuple[float, float]:
    """Lowest and highest capacitance (F) whose reactance equals the woofers' re within `RANGE` of the box resonance.

    The lowest is infinite and the highest zero where no current flows through the place, so that none makes sense.
    """
    served, re = _served(model, place)
    if not served:
        return math.inf, 0.0
    resonance = _resonance(model, served[0])
    lowest, highest = RANGE
    return 1 / (2 * math.pi * highest * resonance * re), 1 / (2 * math.pi * lowest * resonance * re)


def _served(model: Build, place: ProtectivePlace) -> tuple[list[int], float]:
    """The woofers that draw direct current through the linked place, and their re together as the place sees it.

    Every driver is its re and the frequency next to nothing: the heat in the woofers over the square of the current
    through the place, whichever way they are wired.
    """
    reference = place.place.reference
    index = [e.reference for e in model.network.elements].index(reference)
    re = np.diag(model.coil_resistances).astype(complex)[None]
    solution = sweep_branch(model.network, reference, np.zeros((1, 1), complex), np.array([1e-5]), re)
    current = np.abs(solution.load_current[0, 0])
    through = abs(solution.element_current[0, 0, index])
    served = [i for i, data in enumerate(model.data) if data.role == "woofer" and current[i] > 1e-3 * through]
    if not served or through <= 1e-9 * current.max():  # parts on the way to them are left out, or it is on no way
        return [], 0.0
    return served, float(sum(model.coil_resistances[i] * current[i] ** 2 for i in served) / through**2)


def _resonance(model: Build, index: int) -> float:
    """The resonance (Hz) of the enclosure that holds driver `index`, or the driver's own where it has none."""
    cell = next(cell for cell in model.cells if index in cell.members)
    drivers = [driver for i in cell.members if (driver := model.drivers[i]) is not None]
    return cell.enclosure.resonance(model.air, drivers) if cell.enclosure else drivers[0].fs


Counted = tuple[Candidate, int | None]  # a single capacitor, and how many of it there are (None: enough)


def _tolerance(place: ProtectivePlace) -> float:
    tolerance = place.place.part.tolerance
    return ASSUMED_TOLERANCE if tolerance is None else tolerance


def _stock(kit: Kit, highest: float, place: ProtectivePlace) -> list[Counted]:
    """Every single capacitor in stock up to `highest`; what stock does not say of one is that of the place's part."""
    offers, tolerance, rating = kit.stock.capacitors, _tolerance(place), place.place.part.voltage_rating
    if isinstance(offers, str):
        top = min(highest, SERIES_OFFERS[1])
        return [(Candidate(v, (v,), tolerance, rating), None) for v in series.values(offers, SERIES_OFFERS[0], top)]
    return [
        (
            Candidate(
                offer.value,
                (offer.value,),
                offer.tolerance if offer.tolerance is not None else tolerance,
                offer.rating if offer.rating is not None else rating,
            ),
            offer.in_stock,
        )
        for offer in offers
        if offer.value <= highest and offer.in_stock != 0
    ]


def _pairs(singles: Sequence[Counted], join: Callable[[Candidate, Candidate], Candidate]) -> Iterator[Candidate]:
    """Every two of stock, and two of the same where there are two."""
    for (a, count), (b, _) in combinations_with_replacement(singles, 2):
        if a is not b or count is None or count >= 2:
            yield join(a, b)


def _in_parallel(a: Candidate, b: Candidate) -> Candidate:
    ratings = [rating for rating in (a.voltage_rating, b.voltage_rating) if rating is not None]
    value = a.value + b.value
    return Candidate(
        value,
        (a.value, b.value),
        (a.tolerance * a.value + b.tolerance * b.value) / value,
        min(ratings) if ratings else None,
    )


def _in_series(a: Candidate, b: Candidate) -> Candidate:
    """Volts divide as 1/C: the pair bears what the first of the two to reach its rating lets it, within tolerance."""
    value = a.value * b.value / (a.value + b.value)
    ratings = [
        mine.voltage_rating * (1 + mine.value * (1 - mine.tolerance) / (other.value * (1 + other.tolerance)))
        for mine, other in ((a, b), (b, a))
        if mine.voltage_rating is not None
    ]
    return Candidate(
        value,
        (a.value, b.value),
        (a.tolerance * b.value + b.tolerance * a.value) / (a.value + b.value),
        min(ratings) if ratings else None,
        "series",
    )
