"""The place of a woofer's protective capacitor on the board: the kit's own, or an imagined one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from system.circuit import carries_dc
from system.kit import Part, Place, Variant

IMAGINED = "(imagined)"  # reference and point of a place that the board does not have; no name in a kit can be this


@dataclass(frozen=True, slots=True)
class ProtectivePlace:
    """`place` with a capacitor in it, and the variant in which it is fitted; `own` where the kit's board has it."""

    place: Place
    variant: Variant
    own: bool
    woofers: tuple[str, ...]  # whose plus side an imagined place is on; none for the board's own
    state: str  # of the place in the variant as given: fit, link, omit; none for an imagined one


def protective_place(variant: Variant, input_points: tuple[str, str], woofer: str) -> ProtectivePlace:
    """The capacitor place in series with the dc path of `woofer`; where there is none, one is imagined.

    A capacitor is in series with the dc path if the woofer carries direct current with that place linked and none with
    it open, every other capacitor being open. The imagined place is on the plus side of the woofers of one chamber.
    """
    for place in variant.places.values():
        if place.part.kind == "capacitor" and _in_series(variant, input_points, woofer, place.reference):
            fitted = replace(variant, places={**variant.places, place.reference: replace(place, state="fit")})
            return ProtectivePlace(fitted.places[place.reference], fitted, True, (), place.state)
    return _imagined(variant, input_points, woofer)


def _in_series(variant: Variant, input_points: tuple[str, str], woofer: str, reference: str) -> bool:
    edges = {
        place.reference: place.between
        for place in variant.places.values()
        if place.reference != reference
        and (place.state == "link" or (place.state == "fit" and place.part.kind != "capacitor"))
    }
    edges |= {hookup.name: (hookup.plus, hookup.minus) for hookup in variant.hookups.values()}
    bridged = {**edges, reference: variant.places[reference].between}
    return carries_dc(bridged, input_points, woofer) and not carries_dc(edges, input_points, woofer)


def _imagined(variant: Variant, input_points: tuple[str, str], woofer: str) -> ProtectivePlace:
    chamber = next((c.drivers for c in variant.cabinet.chambers if woofer in c.drivers), (woofer,))
    mates = {
        name: hookup for name, hookup in variant.hookups.items() if name in chamber and hookup.driver.role == "woofer"
    }
    # woofers wired in series share the place before the first of them
    head = mates[woofer]
    passed = {head.name}
    while before := next((h for h in mates.values() if h.minus == head.plus and h.name not in passed), None):
        head = before
        passed.add(head.name)
    if _only_plus_marks_meet(variant, input_points, head.plus):  # one of two in series is turned: the other side then
        outer = head.minus
        served = {name: replace(h, minus=IMAGINED) for name, h in mates.items() if h.minus == outer}
    else:
        outer = head.plus
        served = {name: replace(h, plus=IMAGINED) for name, h in mates.items() if h.plus == outer}
    place = Place(IMAGINED, Part("capacitor", 1.0), (outer, IMAGINED))
    changed = replace(
        variant,
        places={**variant.places, IMAGINED: place},
        hookups={name: served.get(name, hookup) for name, hookup in variant.hookups.items()},
    )
    return ProtectivePlace(place, changed, False, tuple(served), "none")


def _only_plus_marks_meet(variant: Variant, input_points: tuple[str, str], point: str) -> bool:
    """Whether nothing else is at a point, so that no current would flow through a place between it and these marks."""
    others = {end for place in variant.places.values() if place.state != "omit" for end in place.between}
    others |= {*input_points, *(hookup.minus for hookup in variant.hookups.values())}
    return point not in others
