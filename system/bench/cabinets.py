"""Inside a cabinet: mistakes in its chambers, and how chambers that are built as drawn still differ."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from enclosures.air import Air
from enclosures.tuning import tuned_port_length
from system.kit import (
    AirSpec,
    Chamber,
    FillSpec,
    LineChamber,
    MouthSpec,
    PortSpec,
    RadiatorChamber,
    SealedChamber,
    Variant,
    VentedChamber,
)

# A leak as a fault, by the Q of its box (a usual one has 7 to 20), and a hole in a line, by its area and the
# thickness of its wall. Its size is unknown: `LEAK_SPREAD` and `HOLE_SPREAD` are standard deviations of its logarithm.
# Common practice, no source.
LEAK_Q = 3.0
LEAK_SPREAD = 0.6
HOLE_AREA = 2e-4  # m2
HOLE_SPREAD = 0.7
WALL = 15e-3  # m
# Flow resistivity goes about as the density to this power: 1.40 to 1.61 in `enclosures.materials`.
DENSITY_EXPONENT = 1.5

# How cabinets built as drawn differ: standard deviations of logarithms. Common practice, no source.
VOLUME_SPREAD = 0.04
LENGTH_SPREAD = 0.015  # of a line
LOSS_SPREAD = 0.45  # of the Q of a leak or of absorption
PORT_SPREAD = 0.06  # of a port's length: rounding, what stands before it
RADIATOR_SPREAD = 0.07  # of a radiator's compliance
LEAST_LOSS = 200.0  # a Q above this is no real box's

CHAMBER_WORDS: Mapping[type[Chamber], str] = {
    SealedChamber: "box",
    VentedChamber: "box",
    RadiatorChamber: "box",
    LineChamber: "line",
}


def inhabited(variant: Variant) -> tuple[Chamber, ...]:
    """The chambers with a driver in this variant."""
    return tuple(
        chamber for chamber in variant.cabinet.chambers if any(name in variant.hookups for name in chamber.drivers)
    )


def chamber_words(variant: Variant) -> dict[str, Chamber]:
    """The inhabited chambers by name: `box`, then `box2`, ... in file order."""
    counts: dict[str, int] = {}
    return {numbered(CHAMBER_WORDS[type(chamber)], counts): chamber for chamber in inhabited(variant)}


def opening_words(variant: Variant) -> dict[str, tuple[Chamber, int]]:
    """The openings by the names that `system.build` gives them, each with its chamber and number there."""
    counts: dict[str, int] = {}
    every = {
        numbered(opening.word, counts): (chamber, i)
        for chamber in variant.cabinet.chambers
        for i, opening in enumerate(chamber.openings)
    }
    return {word: there for word, there in every.items() if there[0] in inhabited(variant)}


def numbered(word: str, counts: dict[str, int]) -> str:
    """`port`, then `port2`, `port3`, ...; `counts` is kept by the caller."""
    counts[word] = counts.get(word, 0) + 1
    return word if counts[word] == 1 else f"{word}{counts[word]}"


# -- leaks


def _anywhere(_chamber: Chamber, _variant: Variant) -> dict[str, float]:
    return {"": 0.0}


def _along_line(chamber: LineChamber, variant: Variant) -> dict[str, float]:
    """At the closed end, and at each driver that is there, m along the line."""
    places = dict(zip(chamber.drivers, chamber.positions, strict=True))
    return {"closed end": 0.0} | {f"near {name}": at for name, at in places.items() if name in variant.hookups}


# Where a chamber may leak: each form with its place along it (m).
LEAK_PLACES: Mapping[type[Chamber], Callable[[Any, Variant], dict[str, float]]] = {
    SealedChamber: _anywhere,
    VentedChamber: _anywhere,
    RadiatorChamber: _anywhere,
    LineChamber: _along_line,
}


def leaking(chamber: Chamber, at: float, size: float = 0.0) -> Chamber:
    """The chamber with a leak `at` a place along it (m); `size` is the logarithm of how much larger than usual."""
    if not isinstance(chamber, LineChamber):
        return replace(chamber, leak=min(chamber.leak / 2, LEAK_Q) * math.exp(-size))
    hole = PortSpec(HOLE_AREA * math.exp(size), WALL, 1, "flanged", "flanged")
    at = min(at, math.fsum(each.length for each in chamber.profile))
    return replace(chamber, mouths=(*chamber.mouths, MouthSpec("flanged", hole, at=at)))


# -- filling


def refilled(chamber: Chamber, factor: float) -> Chamber:
    """All its filling at `factor` times the density that is drawn; zero for none."""
    if isinstance(chamber, LineChamber):
        sections = tuple(replace(each, fill=_denser(each.fill, factor)) for each in chamber.profile)
        return replace(chamber, profile=sections)
    return replace(chamber, fill=_denser(chamber.fill, factor))


def _denser(fill: FillSpec | None, factor: float) -> FillSpec | None:
    if fill is None or factor == 0:
        return None
    density = fill.fibre_density and fill.fibre_density * factor
    return replace(fill, flow_resistivity=fill.flow_resistivity * factor**DENSITY_EXPONENT, fibre_density=density)


def _resisting(chamber: Chamber, factor: float) -> Chamber:
    """Its filling of the same mass, `factor` times as resistive."""

    def other(fill: FillSpec | None) -> FillSpec | None:
        return fill and replace(fill, flow_resistivity=fill.flow_resistivity * factor)

    if isinstance(chamber, LineChamber):
        return replace(chamber, profile=tuple(replace(each, fill=other(each.fill)) for each in chamber.profile))
    return replace(chamber, fill=other(chamber.fill))


# -- openings


def blocked(chamber: Chamber, index: int, spec: AirSpec) -> Chamber:
    """The chamber with one of its openings closed; a box without any is sealed."""
    if isinstance(chamber, LineChamber):
        return replace(chamber, mouths=_without(chamber.mouths, index))
    if isinstance(chamber, RadiatorChamber):
        left = replace(chamber, radiators=_without(chamber.radiators, index))
        return left if left.radiators else _sealed(chamber)
    assert isinstance(chamber, VentedChamber)
    cut = cut_to_length(chamber, spec)
    left_ports = replace(cut, ports=_without(cut.ports, index))
    return left_ports if left_ports.ports else _sealed(chamber)


def _without(openings: tuple[Any, ...], index: int) -> tuple[Any, ...]:
    return openings[:index] + openings[index + 1 :]


def _sealed(chamber: VentedChamber | RadiatorChamber) -> SealedChamber:
    return SealedChamber(chamber.drivers, chamber.volume, chamber.leak, chamber.absorption, chamber.fill)


def cut_to_length(chamber: VentedChamber, spec: AirSpec) -> VentedChamber:
    """With the length of every port in place of a tuning."""
    if chamber.tuning is None:
        return chamber
    air = Air(spec.density, spec.speed_of_sound, spec.viscosity, spec.prandtl, spec.heat_ratio)
    length = tuned_port_length(chamber.volume, chamber.tuning, chamber.ports, air)
    ports = tuple(port if port.length is not None else replace(port, length=length) for port in chamber.ports)
    return replace(chamber, tuning=None, ports=ports)


# -- how like cabinets differ


@dataclass(frozen=True, slots=True)
class Difference:
    """One way in which chambers differ: the chamber `u` standard deviations off. `wide`: a leak that is a fault."""

    name: str
    changed: Callable[[float], Chamber]
    wide: bool = False


def differences(chamber: Chamber, spec: AirSpec, leak: float | None = None) -> tuple[Difference, ...]:
    """Of a chamber as it stands before any fault, or (`leak`: where along it, m) that leaks."""
    made = [Difference(name, change) for name, change in _WAYS[type(chamber)](chamber, spec).items()]
    if leak is None:
        return tuple(made)
    spread = HOLE_SPREAD if isinstance(chamber, LineChamber) else LEAK_SPREAD
    worse = Difference("leak", lambda u: leaking(chamber, leak, spread * u), wide=True)
    return (*(replace(each, changed=_then(each.changed, leak)) for each in made if each.name != "leak"), worse)


def _then(change: Callable[[float], Chamber], leak: float) -> Callable[[float], Chamber]:
    return lambda u: leaking(change(u), leak)


def _filled(chamber: Chamber) -> dict[str, Callable[[float], Chamber]]:
    fills = [fill for fill in chamber.fills if fill]
    if not fills:
        return {}
    spread = max(0.1, max(math.log(fill.spread) for fill in fills) / 2)  # its spread as two standard deviations
    return {"filling": lambda u: _resisting(chamber, math.exp(spread * u))}


def _losses(chamber: Any) -> dict[str, Callable[[float], Chamber]]:
    leak, absorption = min(chamber.leak, LEAST_LOSS), min(chamber.absorption, LEAST_LOSS)
    return {
        "leak": lambda u: replace(chamber, leak=leak * math.exp(LOSS_SPREAD * u)),
        "absorption": lambda u: replace(chamber, absorption=absorption * math.exp(LOSS_SPREAD * u)),
    }


def _volume(chamber: Any) -> Callable[[float], Chamber]:
    return lambda u: replace(chamber, volume=chamber.volume * math.exp(VOLUME_SPREAD * u))


def _sealed_ways(chamber: SealedChamber, _: AirSpec) -> dict[str, Callable[[float], Chamber]]:
    return {"volume": _volume(chamber), **_losses(chamber), **_filled(chamber)}


def _vented_ways(chamber: VentedChamber, spec: AirSpec) -> dict[str, Callable[[float], Chamber]]:
    cut = cut_to_length(chamber, spec)

    def longer(u: float) -> Chamber:
        factor = math.exp(PORT_SPREAD * u)
        ports = tuple(replace(port, length=(port.length or 0.0) * factor) for port in cut.ports)
        return replace(cut, ports=ports)

    return {"volume": _volume(cut), "port": longer, **_losses(cut), **_filled(cut)}


def _radiator_ways(chamber: RadiatorChamber, _: AirSpec) -> dict[str, Callable[[float], Chamber]]:
    def softer(u: float) -> Chamber:
        factor = math.exp(RADIATOR_SPREAD * u)
        return replace(chamber, radiators=tuple(replace(each, cms=each.cms * factor) for each in chamber.radiators))

    return {"volume": _volume(chamber), "radiator": softer, **_losses(chamber), **_filled(chamber)}


def _line_ways(chamber: LineChamber, _: AirSpec) -> dict[str, Callable[[float], Chamber]]:
    def stretched(u: float) -> Chamber:
        factor = math.exp(LENGTH_SPREAD * u)
        return replace(
            chamber,
            profile=tuple(replace(each, length=each.length * factor) for each in chamber.profile),
            positions=tuple(at * factor for at in chamber.positions),
            mouths=tuple(replace(each, at=each.at and each.at * factor) for each in chamber.mouths),
        )

    def longer(u: float) -> Chamber:
        factor = math.exp(PORT_SPREAD * u)

        def other(port: PortSpec | None) -> PortSpec | None:
            return port and replace(port, length=(port.length or 0.0) * factor)

        return replace(chamber, mouths=tuple(replace(each, port=other(each.port)) for each in chamber.mouths))

    ported = any(mouth.port for mouth in chamber.mouths)
    return {"length": stretched, **({"port": longer} if ported else {}), **_filled(chamber)}


_WAYS: Mapping[type[Chamber], Callable[[Any, AirSpec], dict[str, Callable[[float], Chamber]]]] = {
    SealedChamber: _sealed_ways,
    VentedChamber: _vented_ways,
    RadiatorChamber: _radiator_ways,
    LineChamber: _line_ways,
}
