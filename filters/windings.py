"""Air coils as they are wound: wire, its resistance and what it takes up, Wheeler's formula, and Brooks's shape.

Plain floats without numpy: the kit reader asks for the size of a coil. Exact inductance is in `filters.coils`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

COPPER_RESISTIVITY = 0.017241e-6  # ohm m at 20 degC: annealed copper, 0.017241 ohm mm2/m (IEC 60028)
COPPER_DENSITY = 8890.0  # kg/m3 at 20 degC (IEC 60028)
INCH = 0.0254  # m
# Of a winding of square section whose inner radius is the side of the square: H per square of turns and m of mean
# radius (Brooks, Bull. Bur. Stand. 7, 1931; from memory).
BROOKS = 1.6994e-6
# Bare diameters of round wire, mm: the preferred sizes of IEC 60317-0-1 (series R 20, from memory).
METRIC = (0.4, 0.45, 0.5, 0.56, 0.63, 0.71, 0.8, 0.9, 1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15)
AWG = tuple(range(8, 27))
# A turn by hand takes 5 % more room than its wire both ways, and layers do not nest; common practice, no source.
LOOSE = 1.05
USUAL_WIRE = 1e-3  # m, of a coil whose resistance nobody tells; common practice, no source
_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Winding:
    """A coil of rectangular section: `inner_diameter`, `depth` (across the layers) and `length` (along the axis), m."""

    inner_diameter: float
    depth: float
    length: float
    turns: float = 1.0

    def __post_init__(self) -> None:
        """Raise ValueError for a measure or a number of turns that is not above zero."""
        for name in ("inner_diameter", "depth", "length", "turns"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"winding: {name} must be above zero and finite, not {value!r}")

    @property
    def outer_diameter(self) -> float:
        return self.inner_diameter + 2 * self.depth

    @property
    def mean_radius(self) -> float:
        return (self.inner_diameter + self.depth) / 2

    @property
    def wire_length(self) -> float:
        """Without its ends, m: every turn has the mean circumference on average."""
        return 2 * math.pi * self.mean_radius * self.turns

    @property
    def volume(self) -> float:
        """Of the winding, wire and air between, m3 (Pappus)."""
        return 2 * math.pi * self.mean_radius * self.depth * self.length


def wheeler(winding: Winding) -> float:
    """Inductance in H: L[uH] = 0.8 a^2 n^2/(6 a + 9 b + 10 c), inches, with a the mean radius, b length, c depth.

    Wheeler, Proc. IRE 16(10), 1928: about 1 % where the three terms below are alike.
    """
    a, b, c = winding.mean_radius / INCH, winding.length / INCH, winding.depth / INCH
    return 0.8e-6 * a**2 * winding.turns**2 / (6 * a + 9 * b + 10 * c)


def awg(gauge: int) -> float:
    """Bare diameter in m of an American wire gauge: 0.127 mm 92^((36 - n)/39) (ASTM B258)."""
    return float(0.127e-3 * 92 ** ((36 - gauge) / 39))


def overall_diameter(diameter: float) -> float:
    """With its enamel, m: 0.09 mm times the root of the bare diameter in mm more.

    Within 1 % of the largest that IEC 60317-0-1 allows of grade 2, 0.5 to 2.5 mm (from memory).
    """
    return diameter + 0.09e-3 * math.sqrt(diameter / 1e-3)


def pitch(diameter: float) -> float:
    """The room that one turn of bare `diameter` (m) takes along and across the winding, m."""
    return LOOSE * overall_diameter(diameter)


def wire_area(diameter: float) -> float:
    return math.pi * diameter**2 / 4


def wire_resistance(length: float, diameter: float) -> float:
    """At direct current and 20 degC, ohm: rho l/A."""
    return COPPER_RESISTIVITY * length / wire_area(diameter)


def wire_mass(length: float, diameter: float) -> float:
    """Of the copper, kg."""
    return COPPER_DENSITY * length * wire_area(diameter)


def mass_of(winding: Winding, diameter: float) -> float:
    """Of the copper (kg) in a winding that is full of wire of bare `diameter` (m), whatever its turns are."""
    return COPPER_DENSITY * winding.volume * wire_area(diameter) / pitch(diameter) ** 2


def brooks_turns(inductance: float, diameter: float) -> float:
    """Turns of wire of bare `diameter` (m) that have `inductance` (H) in Brooks's shape, not rounded.

    The side of the section is c = p sqrt(N) for a pitch p, the mean radius 1.5 c, so L = 1.5 BROOKS p N^2.5.
    """
    return float((inductance / (1.5 * BROOKS * pitch(diameter))) ** 0.4)


def brooks_winding(inductance: float, diameter: float) -> Winding:
    """Brooks's shape of wire of bare `diameter` (m) with `inductance` (H)."""
    turns = brooks_turns(inductance, diameter)
    side = pitch(diameter) * math.sqrt(turns)
    return Winding(2 * side, side, side, turns)


def brooks_resistance(inductance: float, diameter: float) -> float:
    """At direct current, ohm, of Brooks's shape of wire of bare `diameter` (m) with `inductance` (H)."""
    return wire_resistance(brooks_winding(inductance, diameter).wire_length, diameter)


def wire_for(inductance: float, resistance: float) -> float:
    """Bare diameter (m) of the wire with which Brooks's shape has `inductance` (H) and `resistance` (ohm), not rounded.

    Raises ValueError where it would be thinner than 10 um or thicker than 100 mm.
    """
    low, high = 1e-5, 0.1
    if not brooks_resistance(inductance, high) < resistance < brooks_resistance(inductance, low):
        raise ValueError(f"no wire makes {inductance:g} H with {resistance:g} ohm")
    for _ in range(_ROUNDS):  # the thicker the wire the less its resistance
        middle = math.sqrt(low * high)
        low, high = (middle, high) if brooks_resistance(inductance, middle) > resistance else (low, middle)
    return math.sqrt(low * high)


@functools.lru_cache(maxsize=1024)
def likely_wire(inductance: float, resistance: float) -> float:
    """Bare diameter (m) of the wire such a coil is wound of; the usual where its resistance is not known (zero)."""
    try:
        return wire_for(inductance, resistance)
    except ValueError:
        return USUAL_WIRE
