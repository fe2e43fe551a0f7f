"""Flow resistivity of fibrous filling from what it is made of and how densely it is packed. Plain floats, no numpy.

Each formula was fitted to samples of one kind of fibre, and builders seldom know how thick theirs is: the figure places
a filling, it does not measure it. How far it may be off is the material's `spread`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from enclosures.frozen import frozen


@frozen
class Material:
    """sigma = factor fibre_diameter^diameter_exponent density^density_exponent, all SI; `source` says whose fit.

    Real products lie between sigma/spread and sigma spread.
    """

    factor: float
    diameter_exponent: float
    density_exponent: float
    fibre_diameter: float  # m, the usual one
    source: str
    spread: float


# A flow resistivity that the user states comes from somebody's measurement. Laboratories that measured the same
# samples had a standard deviation of about 15 % (Garai & Pompoli, Acta Acustica united with Acustica 89, 2003, from
# memory); this is two of them.
STATED_SPREAD = 1.3

# The spreads are our own judgement, no source: what a fibre thinner or thicker than the usual one does to sigma
# (polyester 21 to 42 um, glass 5 to 10 um, wool 20 to 39 um), and of wool another tenth, for it is not packed evenly.
MATERIALS: Mapping[str, Material] = MappingProxyType(
    {
        "polyester": Material(25.909e-9, -2.0, 1.404, 30e-6, "Garai & Pompoli, Applied Acoustics 66, 2005", 2.0),
        "glass_fibre": Material(3.18e-9, -2.0, 1.53, 7e-6, "Bies & Hansen, Applied Acoustics 13, 1980", 2.0),
        "wool": Material(490e-6, -1.0, 1.61, 28e-6, "Ballagh, Applied Acoustics 48, 1996", 1.5),
    }
)


def flow_resistivity(material: str, density: float, fibre_diameter: float | None = None) -> float:
    """Static flow resistivity in Pa s/m2 of `material` packed to `density` (kg of fibre per m3 of space it fills).

    `fibre_diameter` (m) replaces the material's usual one. Raises ValueError for a material not in `MATERIALS` and
    for a density or diameter that is not above zero.
    """
    if material not in MATERIALS:
        raise ValueError(f"no flow resistivity is known for {material!r}; known are {', '.join(MATERIALS)}")
    known = MATERIALS[material]
    diameter = known.fibre_diameter if fibre_diameter is None else fibre_diameter
    for name, value in (("density", density), ("fibre diameter", diameter)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{material}: {name} must be above zero, not {value!r}")
    return known.factor * math.pow(diameter, known.diameter_exponent) * math.pow(density, known.density_exponent)
