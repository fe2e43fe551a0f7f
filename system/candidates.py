"""Which capacitors stock offers for a protective place: singles and two in parallel, within a sensible range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from filters import stock as series
from filters.network import sweep_branch
from system.build import Build
from system.kit import Kit
from system.place import ProtectivePlace

BIG_CAPACITOR = 200e-6  # F; above, a choice is judged over its tolerance
ASSUMED_TOLERANCE = 0.10
SERIES_OFFERS = (1e-6, 10e-3)  # F, what an IEC 60063 series is taken to offer
RANGE = (1 / 8, 4.0)  # of the box resonance: where the capacitor's reactance may equal the woofers' re


@dataclass(frozen=True, slots=True)
class Candidate:
    """A capacitor for the place: `value` (F), what it is made of (F), tolerance (ratio) and voltage rating (V)."""

    value: float
    made_of: tuple[float, ...]
    tolerance: float
    voltage_rating: float | None

    @property
    def values(self) -> tuple[float, ...]:
        """The capacitances it is judged at: the nominal one, and above 200 uF the ends of its tolerance too."""
        if self.value <= BIG_CAPACITOR:
            return (self.value,)
        return (self.value, self.value * (1 - self.tolerance), self.value * (1 + self.tolerance))


def candidates(kit: Kit, model: Build, place: ProtectivePlace) -> tuple[Candidate, ...]:
    """The kit's own capacitor first (where the board has the place), then all that stock offers, by value."""
    part = place.place.part
    tolerance = part.tolerance if part.tolerance is not None else ASSUMED_TOLERANCE
    low, high = value_range(model, place)
    singles = _stock(kit, high, tolerance, part.voltage_rating)
    offered = [single for single, _ in singles if low <= single.value <= high]
    for (a, count_a), (b, _) in combinations_with_replacement(singles, 2):
        if low <= a.value + b.value <= high and (a is not b or count_a is None or count_a >= 2):
            offered.append(_in_parallel(a, b))
    own = [Candidate(part.value, part.made_of, tolerance, part.voltage_rating)] if place.own else []
    return (*own, *sorted(offered, key=lambda c: (c.value, len(c.made_of))))


def value_range(model: Build, place: ProtectivePlace) -> tuple[float, float]:
    """Lowest and highest capacitance (F) whose reactance equals the woofers' re within `RANGE` of the box resonance."""
    served, re = _served(model, place)
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
    return served, float(sum(model.coil_resistances[i] * current[i] ** 2 for i in served) / through**2)


def _resonance(model: Build, index: int) -> float:
    """The resonance (Hz) of the enclosure that holds driver `index`, or the driver's own where it has none."""
    cell = next(cell for cell in model.cells if index in cell.members)
    drivers = [driver for i in cell.members if (driver := model.drivers[i]) is not None]
    return cell.enclosure.resonance(model.air, drivers) if cell.enclosure else drivers[0].fs


def _stock(kit: Kit, highest: float, tolerance: float, rating: float | None) -> list[tuple[Candidate, int | None]]:
    """Every single capacitor in stock up to `highest`, with how many of it there are (None: enough)."""
    offers = kit.stock.capacitors
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


def _in_parallel(a: Candidate, b: Candidate) -> Candidate:
    ratings = [rating for rating in (a.voltage_rating, b.voltage_rating) if rating is not None]
    value = a.value + b.value
    return Candidate(
        value,
        (a.value, b.value),
        (a.tolerance * a.value + b.tolerance * b.value) / value,
        min(ratings) if ratings else None,
    )
