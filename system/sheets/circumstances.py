"""What the sentence under every picture says of its circumstances: variant, space, volts, distance, smoothing."""

from __future__ import annotations

from collections.abc import Sequence

from system import wording
from system.kit import Variant
from system.sheets.texts import placement_text

PLAIN = "not smoothed"
ANY = "at any volts"
SMALL = "on a small signal"
LATER = "above zero the current comes later"  # of the phase of an impedance


def heard(variant: Variant, volts: float | str = ANY, metres: float | None = None, smoothing: str = PLAIN) -> str:
    """Of sound at the listening point, or so many `metres` away; a drive other than V rms comes in words."""
    return heard_all([variant], volts, metres, smoothing)


def heard_all(
    variants: Sequence[Variant], volts: float | str = ANY, metres: float | None = None, smoothing: str = PLAIN
) -> str:
    """Of several in one picture; how far away they are heard stands once where it is the same."""
    drive = volts if isinstance(volts, str) else f"{volts:g} V"
    far = [f"{each.listening.distance if metres is None else metres:g} m" for each in variants]
    places = [f"{each.name}, {placement_text(each.placement)}" for each in variants]
    if len(set(far)) == 1:
        return f"{'; '.join(places)}: {drive}, {far[0]}, {smoothing}"
    told = "; ".join(f"{place}, {distance}" for place, distance in zip(places, far, strict=True))
    return f"{told}: {drive}, {smoothing}"


def bare(name: str, what: str) -> str:
    """Of a driver by itself."""
    return f"{name}: {what}, {SMALL}, {PLAIN}"


def seen(names: Sequence[str], what: str, volts: str = ANY, smoothing: str = PLAIN) -> str:
    """Of what is the same in any room and from everywhere: impedance, volts, what moves."""
    return f"{wording.listed(names)}: {what}, {volts}, in any room, {smoothing}"
