"""How the coils of a variant are coupled as they lie on the board."""

from __future__ import annotations

from itertools import combinations

from filters.coils import PlacedCoil, coupling_coefficient
from system.circuit import coupling_is_passive
from system.findings import KitError
from system.kit import Coupling, Kit, Variant
from system.outline import Body, LayoutSpec, apart, bodies

NONE = 1e-6  # a coefficient that is none: coils with their axes square to each other


def air_coils(layout: LayoutSpec, variant: Variant) -> tuple[Body, ...]:
    """The fitted coils whose field can be told: an iron core leads it where no formula here follows."""
    here = bodies(layout, variant)
    return tuple(each for each in here if each.winding and variant.places[each.reference].part.core != "iron")


def placed(coil: Body) -> PlacedCoil:
    """A coil of the board. Raises ValueError for a part that is none."""
    if coil.winding is None:
        raise ValueError(f"layout: {coil.reference} is no coil")
    return PlacedCoil(coil.winding, coil.centre, coil.axis)


def stray_couplings(kit: Kit, variant: Variant) -> tuple[Coupling, ...]:
    """Of every pair of air coils on the board that the kit's own `coupled` does not name; none without a layout.

    All coils are taken as wound alike, so that current into the first point runs right-handed about the axis (up, or as
    it is turned). Parts that reach into each other are choices for one place, and not coupled. Raises KitError where no
    coils could have these beside what the kit gives itself.
    """
    if kit.layout is None:
        return ()
    named = {frozenset(coupling.coils) for coupling in variant.couplings}
    found = (
        Coupling((a.reference, b.reference), coupling_coefficient(placed(a), placed(b)))
        for a, b in combinations(air_coils(kit.layout, variant), 2)
        if frozenset((a.reference, b.reference)) not in named and apart(a, b)
    )
    stray = tuple(coupling for coupling in found if abs(coupling.coefficient) > NONE)
    pairs = {coupling.coils: coupling.coefficient for coupling in (*variant.couplings, *stray)}
    names = list(dict.fromkeys(name for coils in pairs for name in coils))
    if stray and variant.couplings and not coupling_is_passive(names, pairs):
        told = f"{variant.name}: coils {', '.join(names)} as laid out and as coupled together would give energy"
        raise KitError(
            [kit.finding("error", "coupling_not_passive", "layout", told, "check crossover.coupled")], kit.name
        )
    return stray
